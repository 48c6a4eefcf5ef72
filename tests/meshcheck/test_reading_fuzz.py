"""Mutated valid files: never another exception than MeshRejected, never a face count the file does not state."""

from __future__ import annotations

import json
import re

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meshcheck.basics import measure
from meshcheck.check import check_part
from meshcheck.reading import read_mesh
from meshcheck.reading.gate import REJECTIONS
from meshcheck.repair import repair
from meshcheck.report import report_json
from meshcheck.types import Gauge, MeshRejected, RawMesh, Unit, Unknown, Verdict
from tests.meshcheck.badfiles import binary_stl, cube_corners, text_obj, text_stl, wheel_corners
from tests.meshcheck.badpackages import assembly, model, package

MOVED = '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 30 0 0"/>'
XML = model(assembly('<component objectid="1"/>', MOVED), '<item objectid="2"/>')
SEEDS = {
    "binary": binary_stl(cube_corners()),
    "text": text_stl(cube_corners()).encode(),
    "obj": text_obj(cube_corners()).encode(),
    "3mf": package(XML),
    "3mf, stored": package(XML, method=0),
}
TOKENS = [
    *(b"", b"\0", b"nan", b"-1", b"1e999", b"99999999999", b"\n", b"\r", b",", b"/", b"f ", b"\\\n"),
    *(b"solid", b"endsolid", b"facet", b"vertex"),
    *(b"<", b">", b'"', b"&x;", b"<!DOCTYPE a>", b"\xff\xfe", b"\xff" * 4, b"\0\0\x80\x7f"),
]

edit = st.tuples(
    st.sampled_from(["put", "cut", "set", "copy"]),
    st.floats(0, 1),
    st.integers(0, 60),
    st.one_of(st.sampled_from(TOKENS), st.binary(max_size=8)),
)


def mutate(data: bytes, edits: list[tuple[str, float, int, bytes]]) -> bytes:
    for kind, where, length, token in edits:
        at = int(where * len(data))
        if kind == "put":
            data = data[:at] + token + data[at:]
        elif kind == "cut":
            data = data[:at] + data[at + length :]
        elif kind == "set":
            data = data[:at] + token + data[at + len(token) :]
        else:
            data = data[: at + length] + data[at:]
    return data


def stated_faces(data: bytes, kind: str) -> int | None:
    """What the file says, read independently of our readers; None where only our reader could tell."""
    if kind == "stl-binary":
        return int.from_bytes(data[80:84], "little")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in data:
        return None
    if kind == "stl-ascii":
        body = re.sub(rb"(?im)(^|[\r\n])\s*(end)?solid[^\r\n]*", rb"\n", data)
        return len(re.findall(rb"(?i)(?<!\S)endfacet(?!\S)", body))
    if kind == "obj":
        joined = re.sub(rb"\\(\r\n|\r|\n)", b" ", data)
        faces = re.findall(rb"(?:^|[\r\n])[^\S\r\n]*f([^\S\r\n][^\r\n]*)", joined)
        return sum(len(words.split()) - 2 for words in faces)
    return None


@settings(max_examples=600, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(sorted(SEEDS)), st.lists(edit, min_size=1, max_size=4))
def test_mutated_files_are_read_rightly_or_refused(seed: str, edits: list[tuple[str, float, int, bytes]]) -> None:
    data = mutate(SEEDS[seed], edits)
    raw: RawMesh | None
    try:
        raw = read_mesh(data, "fuzz")
    except MeshRejected as error:
        refused = error
        raw = None
    if raw is None:
        assert REJECTIONS[refused.code][1] == refused.mend
        return
    assert raw.declared_faces == len(raw.triangles)
    stated = stated_faces(data, raw.format)
    assert stated is None or stated == len(raw.triangles)
    try:
        measure(*repair(raw, raw.unit or Unit.MILLIMETRE))
    except MeshRejected as error:
        if error.code != "flat":
            raise


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(sorted(SEEDS)), st.lists(edit, min_size=1, max_size=3))
def test_the_whole_check_of_a_mutated_file_always_gives_a_report(
    seed: str, edits: list[tuple[str, float, int, bytes]]
) -> None:
    report = check_part(mutate(SEEDS[seed], edits), "fuzz", gauge=Gauge(hole_diameter_mm=3.2))
    assert json.dumps(report_json(report), allow_nan=False)
    assert (report.mesh is None) is (report.verdict is Verdict.REJECTED)
    closed = report.topology is not None and report.topology.watertight and report.topology.winding_consistent
    if report.basics is not None and not closed:
        assert isinstance(report.basics.volume_mm3, Unknown)
        assert isinstance(report.estimate, Unknown)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32 - 1), st.sampled_from(["moved", "dropped", "turned", "doubled"]), st.floats(0.01, 1))
def test_the_whole_check_of_a_wheel_with_damaged_faces(seed: int, damage: str, share: float) -> None:
    rng = np.random.default_rng(seed)
    corners = wheel_corners().copy()
    hit = rng.random(len(corners)) < share * 0.2
    if damage == "moved":
        corners[hit] += rng.normal(size=(int(hit.sum()), 3, 3)) * 10 ** rng.uniform(-7, 1)
    elif damage == "dropped":
        corners = corners[~hit]
    elif damage == "turned":
        corners[hit] = corners[hit][:, ::-1]
    else:
        corners = np.concatenate([corners, corners[hit][:, [1, 2, 0]]])
    report = check_part(binary_stl(corners), "fuzz.stl", gauge=Gauge(hole_diameter_mm=3.2))
    assert json.dumps(report_json(report), allow_nan=False)
    if damage in ("dropped", "turned") and hit.any() and len(corners):
        assert report.verdict in (Verdict.MUST_FIX, Verdict.REJECTED)
    if damage == "doubled":
        assert report.topology is not None
        assert report.topology.watertight


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 1), st.sampled_from([b"0", b"9", b"-1", b"x", b"<", b"", b'"'])), min_size=1, max_size=3
    )
)
def test_mutated_models_inside_a_sound_package(edits: list[tuple[float, bytes]]) -> None:
    xml = XML.encode()
    for where, token in edits:
        at = int(where * len(xml))
        xml = xml[:at] + token + xml[at + 1 :]
    try:
        raw = read_mesh(package(xml), "fuzz")
    except MeshRejected:
        return
    assert len(raw.triangles) == raw.declared_faces == xml.count(b"<triangle ") * raw.objects
    measure(*repair(raw, raw.unit or Unit.MILLIMETRE))
