"""Files nobody should be afraid of: whatever they hold, the answer is facts or a rejection in plain words."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from meshcheck.gcode import reader
from meshcheck.gcode.dialect import DIALECTS
from meshcheck.gcode.facts import GcodeFacts, GcodeRejected
from meshcheck.gcode.problems import _IN_A_LINE
from meshcheck.gcode.reader import read_gcode
from meshcheck.materials import MATERIALS
from meshcheck.types import Machine

PLA = MATERIALS["PLA"]


def read(data: bytes | str, dialect: str = "printer-ms") -> GcodeFacts:
    text = data.encode() if isinstance(data, str) else data
    return read_gcode(text, DIALECTS[dialect], Machine(), PLA)


CASES = [
    ("no_moves", ""),
    ("no_moves", "; nothing but words\nM104 S200"),
    ("no_moves", "<html><body>Not found</body></html>"),
    ("no_moves", "solid part\n facet normal 0 0 1\n"),
    ("nul", b"G1 X1 F60\x00\nG1 X2"),
    ("nul", bytes(1000)),
    ("line_long", "G1 X1 F60\nG1 " + " ".join(f"{c}1.{'1' * 30}" for c in "XYZEIJKRPSDHL")),
    ("line_long", "G1 X1 F60 ;" + "x" * 70_000),
    ("symbol", "G1 X1.2.3 F60"),
    ("number", "G1 F60 Y-\n"),
    ("number", "G1 X99999999999999999999 F60"),
    ("number", "G1 X" + "9" * 45 + " F60"),
    ("number", "G X1 F60"),
    ("symbol", "G1 X1 F60 #3=4"),
    ("symbol", "G1 X[1+2] F60"),
    ("symbol", "G1 X1 F60 \xc3\xa9"),
    ("twice", "G1 X1 X2 F60"),
    ("checksum", "N1 G1 X1 F60*3"),
    ("checksum", "N1 G1 X1 F60*"),
    ("comment", "G1 X1 F60 (open"),
    ("crowded", "G90 " * 13),
    ("feed_mode", "G93\nG1 X1 F60"),
    ("feed_mode", "G1 X1 F60\nG95"),
    ("word", "G5 X1 Y1 F60"),
    ("word", "G81 X1 Z-1 R1 F60"),
    ("word", "G38.2 Z-1 F60"),
    ("feed", "G1 X1"),
    ("feed", "G1 X1 F0"),
    ("feed", "G1 X1 F-100"),
    ("axis", "G1 A10 F60"),
    ("no_motion", "F60\nX10"),
    ("no_motion", "G1 F60 X"),
    ("no_motion", "G1 X1 F60\nG80\nX2"),
    ("arc", "G1 F60\nG2 X5 Y5"),
    ("arc", "G1 F60\nG2 X10 Y0 I1 J0"),
    ("arc", "G1 F60\nG3 X10 R1"),
    ("arc", "G1 F60\nG3 R5"),
    ("arc", "G1 F60\nG3 I0 J0"),
    ("far", "G1 X20000 F60"),
    ("far", "G1 E20000 F60"),
    ("far", "G1 X1 F60\nM220 S0"),
    ("dwell", "G4 P-5"),
    ("dwell", "G4 S999999"),
    ("volumetric", "M200 D1.75\nG1 X1 F60"),
    ("tool", "T99\nG1 X1 F60"),
    ("tool", "T-1\nG1 X1 F60"),
]


@pytest.mark.parametrize(("code", "data"), CASES, ids=[f"{code} {str(data)[:24]!r}" for code, data in CASES])
def test_every_problem_has_its_words(code: str, data: bytes | str) -> None:
    with pytest.raises(GcodeRejected) as caught:
        read(data)
    assert caught.value.code == code
    assert caught.value.message.endswith(".")
    assert caught.value.mend


def test_the_line_is_named() -> None:
    with pytest.raises(GcodeRejected, match=r"^Line 4 asks for G93: feed by inverse time"):
        read("; one\nG1 X1 F60\nG1 X2\nG93\n")


@pytest.mark.parametrize(
    ("code", "text"), [("extruder", "G1 X1 E1 F60"), ("twice", "hello world"), ("word", "G29"), ("symbol", "{}")]
)
def test_without_printer_words_they_are_refused(code: str, text: str) -> None:
    with pytest.raises(GcodeRejected) as caught:
        read(text, "rs274")
    assert caught.value.code == code


def test_every_problem_is_tried_above() -> None:
    tried = {code for code, _ in CASES} | {"extruder"}
    assert {code for code, _, _ in _IN_A_LINE.values()} <= tried


@pytest.mark.parametrize(
    ("limit", "value", "code"),
    [("BYTES_MOST", 20, "too_big"), ("LINES_MOST", 5, "too_long"), ("MOVES_MOST", 5, "too_long")],
)
def test_limits(monkeypatch: pytest.MonkeyPatch, limit: str, value: int, code: str) -> None:
    monkeypatch.setattr(reader, limit, value)
    with pytest.raises(GcodeRejected) as caught:
        read("F600\n" + "".join(f"G1 X{k}\n" for k in range(20)))
    assert caught.value.code == code


def test_arcs_cannot_blow_up_the_file(monkeypatch: pytest.MonkeyPatch) -> None:
    # each line makes hundreds of chords: the limit on moves holds, and memory stays bounded
    monkeypatch.setattr(reader, "MOVES_MOST", 200_000)
    with pytest.raises(GcodeRejected) as caught:
        read("G1 F6000\n" + "G2 I4000 J0\n" * 10_000)
    assert caught.value.code == "too_long"


GOOD = b"""G21 G90 M83
M104 S210 ; warm
G28
G1 X10 Y10 Z0.2 E1 F1800
N5 G2 X20 Y10 I5 J0 E2
G92 E0
M117 hello
G4 P10
G1 X5 (there) Y5 E.5
"""


@pytest.mark.parametrize("dialect", DIALECTS)
def test_mangled_files_are_read_or_rejected(dialect: str) -> None:
    rng = random.Random(7)
    alphabet = b"GMTXYZEFIJKRPSN0123456789.-+ ;()*%/\n\r\t#[]=\xff\xc3abc"
    rejected = 0
    for _ in range(3000):
        data = bytearray(GOOD)
        for _ in range(rng.randint(1, 6)):
            place = rng.randrange(len(data))
            change = rng.random()
            if change < 0.4:
                data[place] = rng.choice(alphabet)
            elif change < 0.7:
                del data[place : place + rng.randint(1, 5)]
            else:
                data[place:place] = bytes(rng.choices(alphabet, k=rng.randint(1, 5)))
        try:
            found = read(bytes(data), dialect)
        except GcodeRejected:
            rejected += 1
            continue
        figures = (found.duration_s, found.feed_s, found.path_m, found.net_mm, found.mass_g, found.height_mm)
        assert np.isfinite(figures).all()
        assert found.duration_s >= 0
        assert found.net_mm >= 0
    assert rejected > 50


def test_noise_is_rejected() -> None:
    rng = np.random.default_rng(3)
    for _ in range(300):
        noise = rng.integers(1, 256, 500).astype(np.uint8).tobytes()
        with pytest.raises(GcodeRejected):
            read(noise, "rs274")


def test_a_dialect_is_a_value() -> None:
    mine = replace(DIALECTS["printer-ms"], dwell_ms=False)
    assert read_gcode(b"G1 X1 F60\nG4 P1", mine, Machine(), PLA).feed_s == pytest.approx(2.0)
