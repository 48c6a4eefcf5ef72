"""Reading machine words: the table of FACTS section 6 and its check values, closed forms, and a slow second reader.

Words: RS-274 as in NISTIR 6556 (Kramer, Proctor, Messina, 2000) and the documentation of an open numerical control;
printer words: common practice, no source.
"""

from __future__ import annotations

import math
import re
import time

import numpy as np
import pytest

from meshcheck.gcode.dialect import DIALECTS
from meshcheck.gcode.facts import GcodeFacts
from meshcheck.gcode.reader import read_gcode
from meshcheck.materials import MATERIALS
from meshcheck.types import Machine

PLA = MATERIALS["PLA"]
INSTANT = Machine(acceleration_mm_s2=1e12, retraction_s=0.5, heat_up_s=0.0)  # as if speed cost nothing


def read(text: str, dialect: str = "printer-ms", machine: Machine = INSTANT) -> GcodeFacts:
    return read_gcode(text.encode(), DIALECTS[dialect], machine, PLA)


CHECK = """G21 G90 M82 G92 E0
G1 X100 E4 F3000
Y50 E6
G0 X0 Y0 F6000
G1 E5 F1800
G1 E6
G92 E0
G3 I10 E1 F1200
G4 P500
"""


def test_the_check_value_without_acceleration() -> None:
    # FACTS 7 `gcode`: 2 + 1 + 1.11803 + .03333 + .03333 + 3.14159 + .5 = 7.82629 s; net 7 mm = 16.8370 mm3 = 0.020878 g
    found = read(CHECK)
    assert found.feed_s == pytest.approx(7.82629, abs=1e-5)
    assert found.printing_s == pytest.approx(7.82629, abs=2e-3)
    assert found.net_mm == pytest.approx(7.0)
    assert found.net_mm * math.pi * 1.75**2 / 4 == pytest.approx(16.8370, abs=1e-4)
    assert found.mass_g == pytest.approx(0.020878, abs=1e-6)
    assert found.gross_mm == pytest.approx(8.0)  # one millimetre was pulled back and pushed forward again
    assert (found.lines, found.moves) == (9, 6)


@pytest.mark.parametrize(
    ("way_mm", "seconds"),
    [(100, 2.1), (2, 0.126491), (5, 0.2)],  # FACTS 7 `trap`: 50 mm/s, 500 mm/s2
)
def test_one_move_is_a_trapezoid(way_mm: float, seconds: float) -> None:
    machine = Machine(acceleration_mm_s2=500)
    for text in (f"G1 X{way_mm} F3000", f"G1 E{way_mm} F3000"):
        assert read(text, machine=machine).printing_s == pytest.approx(seconds, abs=1e-6)


def test_moves_in_a_row_do_not_stop() -> None:
    text = "F3000\nG1 X50\nX100" + "\nG4 P0"
    assert read(text, machine=Machine(acceleration_mm_s2=500)).printing_s == pytest.approx(2.1)
    stopped = "F3000\nG1 X50\nG4 P0\nX100"
    assert read(stopped, machine=Machine(acceleration_mm_s2=500)).printing_s == pytest.approx(2 * (1 + 0.1))


# seconds at 10 mm/s of what each program moves
ARCS = {
    "full circle by centre": ("G2 I5 J0", 2 * math.pi * 5),
    "full circle with its end": ("G3 X0 Y0 I0 J5", 2 * math.pi * 5),
    "quarter left": ("G3 X5 Y5 I0 J5", math.pi / 2 * 5),
    "three quarters right": ("G2 X5 Y5 I0 J5", 3 * math.pi / 2 * 5),
    "quarter by radius": ("G3 X5 Y5 R5", math.pi / 2 * 5),
    "three quarters by radius": ("G3 X5 Y5 R-5", 3 * math.pi / 2 * 5),
    "half by radius": ("G2 X10 Y0 R5", math.pi * 5),
    "helix": ("G3 X0 Y0 Z3 I5 J0", math.hypot(2 * math.pi * 5, 3)),
    "absolute centre": ("G90.1\nG3 X5 Y5 I0 J5", math.pi / 2 * 5),
    # G18 is seen from the end of +y: with z up, x runs to the left; from the right of the centre up is anticlockwise
    "upright plane": ("G18\nG3 X5 Z5 I5 K0", math.pi / 2 * 5),
    "other upright plane": ("G19\nG3 Y5 Z5 J5 K0", 3 * math.pi / 2 * 5),
    "relative": ("G91\nG3 X5 Y5 I0 J5", math.pi / 2 * 5),
    "inches": ("G20\nF23.62204724\nG3 X1 Y1 I0 J1", math.pi / 2 * 25.4),
}


@pytest.mark.parametrize("name", ARCS)
def test_arcs(name: str) -> None:
    words, length_mm = ARCS[name]
    found = read(f"F600\n{words}")
    assert found.feed_s == pytest.approx(length_mm / 10, rel=1e-6)
    assert found.printing_s == pytest.approx(length_mm / 10, rel=1e-4)
    assert found.path_m * 1000 == pytest.approx(length_mm, rel=1e-6)


@pytest.mark.parametrize(
    ("words", "low", "high"),
    [
        ("G2 I5 J0", (0, -5, 0), (10, 5, 0)),  # about (5, 0)
        ("G3 X5 Y5 I0 J5", (0, 0, 0), (5, 5, 0)),  # from (0, 0) about (0, 5): right lower quarter
        ("G2 X5 Y5 I0 J5", (-5, 0, 0), (5, 10, 0)),  # the other three quarters
        ("G2 X5 Y5 R5", (0, 0, 0), (5, 5, 0)),  # clockwise: about (5, 0)
        ("G18\nG3 X5 Z5 I5 K0", (0, 0, 0), (5, 0, 5)),  # about x 5, z 0
    ],
)
def test_where_arcs_run(words: str, low: tuple, high: tuple) -> None:
    box = read(f"F600\nG1 X1\nX0\n{words}").moved  # a step there and back, so that the begin counts too
    assert box.lowest_mm == pytest.approx(low, abs=0.006)
    assert box.highest_mm == pytest.approx(high, abs=0.006)


WORDS = [
    # program, and what must come of it
    ("G1 F600 X10\nG20\nG1 X1", {"path_m": 0.0254}),  # to 10 mm, then on to 25.4 mm
    ("F600\nG91\nG1 X10\nX10\nG90\nX5", {"path_m": 0.035}),
    ("F600\nG1 X10\nG92 X0\nG1 X5", {"path_m": 0.015}),
    ("F600\nG1 X10\nG92 X0\nG92.1\nG1 X5", {"path_m": 0.015}),
    ("f600\ng1x10y0\nn20 g1 y 10", {"path_m": 0.02}),
    ("F600 (a comment)\nG1 (X99) X10 ; Y99\n(only words)\n;\n\n%\n/G1 X20", {"path_m": 0.02}),
    ("F600\nG1 E2\nG92 E0\nG1 E2", {"net_mm": 4.0}),
    ("F600\nM83\nG1 E2\nE2\nE-1\nE1", {"net_mm": 4.0, "gross_mm": 5.0}),
    ("F600\nG91\nG1 E2\nE2", {"net_mm": 4.0}),  # G91 takes E along ...
    ("F600\nM82\nG91\nG1 E2\nE2", {"net_mm": 2.0}),  # ... unless M82 came first
    ("F600\nG20\nG1 E1", {"net_mm": 25.4}),
    ("F600\nT0\nG1 E5\nT1\nG92 E0\nG1 E3", {"net_mm": 8.0, "tools": (0, 1)}),
    ("F600\nM221 S50\nG1 E4", {"net_mm": 2.0}),
    ("F600\nM220 S200\nG1 X100", {"feed_s": 5.0}),
    ("F600\nG1 X10\nG4 P1500\nG4 S2", {"feed_s": 1 + 1.5 + 2}),
    ("M104 S205\nM140 S60\nM109 T1 S215\nM190 R55\nG1 X1 F60", {"nozzle_c": 215.0, "bed_c": 60.0, "tools": ()}),
    ("M104 S0\nM140 S0\nG1 X1 F60", {"nozzle_c": None, "bed_c": None}),
    ("G28\nG1 X1 F60", {"waiting_s": 20.0, "path_m": 0.001}),
    ("G1 X50 F600\nG28 X Y\nG1 X1 F60", {"path_m": 0.051}),
    ("G10\nG11\nG1 X1 F60", {"waiting_s": 0.5}),
    ("G29\nG1 X1 F60\nM0\nM600", {"untimed": 1, "pauses": 2}),
    ("M117 G1 X100 hello\nM106 S255\nM84 X Y E\nM201 X500 Y500\nSTART_IT SPEED=3\nG1 X1 F60", {"path_m": 0.001}),
    ("START_IT SPEED=3\nG1 X1 F60", {"skipped_lines": 1}),
    ("G1 X1 F60\nM2\nG1 X100", {"path_m": 0.001}),
    ("G1 X1 Z.2 E1 F600\nG1 X2 Z.4 E2\nG1 X3 E3\nG0 Z50", {"height_mm": 0.4, "layers": 2}),
    ("\ufeffG1 X1 F60", {"path_m": 0.001, "lines": 1}),
    ("G1 X1 F60\r\nG1 X2\rG1 X3", {"lines": 3, "path_m": 0.003}),
]


@pytest.mark.parametrize(("text", "expected"), WORDS, ids=[text.replace("\n", " | ")[:50] for text, _ in WORDS])
def test_words(text: str, expected: dict) -> None:
    found = read(text)
    for name, value in expected.items():
        assert getattr(found, name) == (pytest.approx(value) if isinstance(value, float) else value), name


DIALECT_CASES = [
    ("F600\nG1 X10\nG4 P2", "printer-ms", {"feed_s": 1.002}),
    ("F600\nG1 X10\nG4 P2", "printer-s", {"feed_s": 3.0}),
    ("F600\nG1 X10\nG4 P2", "rs274", {"feed_s": 3.0}),
    ("F600\nG0 X15", "printer-ms", {"feed_s": 1.5}),
    ("F600\nG0 X15", "printer-rapid", {"feed_s": 0.1}),  # 150 mm/s is the machine's
    ("F600\nG0 X15", "rs274", {"feed_s": 0.1}),
    ("F600\nG91\nG1 E2\nE2", "printer-own-e", {"net_mm": 2.0}),
    ("F600\nM6 G1 X10", "rs274", {"path_m": 0.01}),
    # G92 names X: RS-274 sets the other offsets to zero, printers leave them alone
    ("F600\nG1 X10 Y10\nG92 X0 Y0\nG92 X5\nG1 X5 Y0", "printer-ms", {"path_m": math.hypot(10, 10) / 1000}),
    ("F600\nG1 X10 Y10\nG92 X0 Y0\nG92 X5\nG1 X5 Y0", "rs274", {"path_m": math.hypot(10, 10) / 1000 + 0.01}),
]


@pytest.mark.parametrize(("text", "dialect", "expected"), DIALECT_CASES)
def test_dialects_differ_where_they_say(text: str, dialect: str, expected: dict) -> None:
    found = read(text, dialect)
    for name, value in expected.items():
        assert getattr(found, name) == pytest.approx(value), name


def test_checksums_and_line_numbers() -> None:
    lines = ["N1 G1 X10 F600", "N2 G1 X20"]
    summed = [f"{line}*{int(np.bitwise_xor.reduce(np.frombuffer(line.encode(), np.uint8)))}" for line in lines]
    assert read("\n".join(summed)).path_m == pytest.approx(0.02)


def test_heating_up_counts_once() -> None:
    machine = Machine(heat_up_s=150.0)
    cold, hot = read("G1 X10 F600", machine=machine), read("M190 S60\nM109 S210\nG1 X10 F600", machine=machine)
    assert (cold.heat_up_s, hot.heat_up_s) == (0.0, 150.0)
    assert hot.duration_s - cold.duration_s == pytest.approx(150)


def test_boxes_tell_travel_brim_and_part_apart() -> None:
    text = """F600
G1 X5 Y5 Z0.2
G1 X200 E1
G1 X50 Y50
G1 X60 Y70 E2
G1 Z0.4
G1 X50 Y50 E3
G0 X0 Y220 Z80"""
    found = read(text)
    assert found.moved.highest_mm == (200, 220, 80)
    assert found.printed.size_mm == pytest.approx((150, 65, 0.2))  # ends of moves: 50..200, 5..70
    assert found.upper.highest_mm == (50, 50, 0.4)
    assert found.height_mm == pytest.approx(0.4)


# ---- a second reader, slow and plain


def slowly(text: str) -> tuple[float, float, float, np.ndarray]:
    """Way in mm, seconds by feed, net filament and the last place of a program of straight moves."""
    at, offset, e, cumulated, highest = np.zeros(3), np.zeros(3), 0.0, 0.0, 0.0
    absolute = e_absolute = True
    fixed, scale, feed, motion, way, seconds = False, 1.0, 0.0, "G1", 0.0, 0.0
    for line in text.splitlines():
        words = dict(re.findall(r"([XYZEF])\s*(-?[\d.]+)", re.sub(r";.*|\(.*?\)", "", line)))
        codes = re.findall(r"[GM][\d.]+", re.sub(r";.*|\(.*?\)", "", line))
        for code in codes:
            scale = {"G20": 25.4, "G21": 1.0}.get(code, scale)
            if code in ("G90", "G91"):
                absolute = code == "G90"
                e_absolute = e_absolute if fixed else absolute
            if code in ("M82", "M83"):
                e_absolute, fixed = code == "M82", True
        if "F" in words:
            feed = float(words["F"]) * scale / 60
        if "G92" in codes:
            for k, axis in enumerate("XYZ"):
                if axis in words:
                    offset[k] = at[k] - float(words[axis]) * scale
            e = float(words["E"]) * scale if "E" in words else e
            continue
        to = at.copy()
        for k, axis in enumerate("XYZ"):
            if axis in words:
                value = float(words[axis]) * scale
                to[k] = value + offset[k] if absolute else at[k] + value
        pushed = 0.0
        if "E" in words:
            value = float(words["E"]) * scale
            pushed = value - e if e_absolute else value
            e += pushed
        cumulated += pushed
        highest = max(highest, cumulated)
        step = float(np.linalg.norm(to - at))
        way += step
        seconds += (step or abs(pushed)) / feed if step or pushed else 0.0
        at = to
    assert motion
    return way, seconds, highest, at


@pytest.mark.parametrize("seed", range(25))
def test_random_programs_agree_with_the_slow_reader(seed: int) -> None:
    rng = np.random.default_rng(seed)
    lines = ["G1 F1200"]
    for _ in range(200):
        kind = rng.random()
        if kind < 0.1:
            lines.append(str(rng.choice(["G90", "G91", "M82", "M83", "G20", "G21"])))
            continue
        letters = [axis for axis in "XYZE" if rng.random() < 0.5]
        words = " ".join(f"{axis}{rng.normal(0, 3):.3f}" for axis in letters)
        if kind < 0.2:
            lines.append(f"G92 {words}" if words else "; nothing")
        else:
            feed = f" F{rng.integers(300, 9000)}" if rng.random() < 0.2 else ""
            lines.append(f"{rng.choice(['G1 ', 'G0 ', ''])}{words}{feed} ; X99")
    text = "\n".join(lines)
    way, seconds, net, at = slowly(text)
    found = read(text)
    assert found.path_m * 1000 == pytest.approx(way, rel=1e-9)
    assert found.feed_s == pytest.approx(seconds, rel=1e-9)
    assert found.net_mm == pytest.approx(net, rel=1e-9, abs=1e-9)
    assert (np.array(found.moved.lowest_mm) <= at + 1e-9).all()
    assert (np.array(found.moved.highest_mm) >= at - 1e-9).all()


@pytest.mark.bench
def test_speed_of_a_million_lines() -> None:
    turn = np.arange(1_000_000)
    x, y = 100 + (20 + np.sin(turn / 50)) * np.cos(turn / 20), 100 + (20 + np.sin(turn / 50)) * np.sin(turn / 20)
    body = "\n".join(f"G1 X{a:.3f} Y{b:.3f} E{0.03 * k:.5f}" for k, (a, b) in enumerate(zip(x, y, strict=True)))
    text = f"G21\nG90\nM109 S210\nG28\nF1800\n{body}"
    read(text[:500].rsplit("\n", 1)[0])
    started = time.process_time()
    found = read(text)
    print(f"\n{found.lines:,} lines, {len(text) / 1e6:.0f} MB: {time.process_time() - started:.2f} s CPU (bar 5 s)")
