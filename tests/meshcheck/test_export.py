"""Plates as STL and 3MF: every copy in its place, readable by us, by trimesh, and by the 3MF consortium's library."""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pytest
import trimesh

from meshcheck.export import PlacedMesh, stl_bytes, threemf_bytes
from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.types import FloatArray, Unit
from tests.meshcheck.parts import box, mesh_of, moved, wheel

BLOCK = mesh_of(box(30, 10, 5, at=(100, -40, 17)))
WHEEL = moved(mesh_of(wheel()), offset=(12, 7, -3))
PLATE = [
    PlacedMesh(BLOCK, 50, 60, 0, 'block & <co> "1"\x07'),
    PlacedMesh(BLOCK, 90, 60, 90, "block"),
    PlacedMesh(WHEEL, 150, 60, 33.3, "wheel"),
]


def boxes(triangles: FloatArray, counts: list[int]) -> list[tuple[list[float], list[float]]]:
    pieces = np.split(triangles, np.cumsum(counts)[:-1])
    return [(p.reshape(-1, 3).min(axis=0).tolist(), p.reshape(-1, 3).max(axis=0).tolist()) for p in pieces]


EXPECTED = [
    # closed form: a 30 x 10 block about its middle; a quarter turn swaps the sides
    ((35, 55, 0), (65, 65, 5)),
    ((85, 45, 0), (95, 75, 5)),
    ((120, 30, 0), (180, 90, 20)),  # the wheel is as wide in every direction, within its facets
]


@pytest.mark.parametrize("write", [stl_bytes, lambda plate: threemf_bytes(plate, "Plate 1")], ids=["stl", "3mf"])
def test_every_copy_stands_where_it_was_put(write) -> None:  # type: ignore[no-untyped-def]
    raw = read_mesh(write(PLATE), "plate")
    counts = [len(copy.mesh.faces) for copy in PLATE]
    assert raw.declared_faces == sum(counts)
    for found, expected in zip(boxes(raw.triangles, counts), EXPECTED, strict=True):
        for corner, wanted in zip(found, expected, strict=True):
            assert corner == pytest.approx(wanted, abs=0.02)
    _, topology = repair(raw, Unit.MILLIMETRE)
    assert (topology.bodies, topology.watertight, topology.turned_bodies) == (3, True, 0)


def test_turns_are_anticlockwise_seen_from_above() -> None:
    # an L whose short arm points to +y at its right end; a quarter turn left points it to -x at its upper end
    angle = mesh_of(box(20, 4, 4) + box(4, 10, 4, at=(16, 0, 0)))
    placed = PlacedMesh(angle, 0, 0, 90)
    matrix, shift = placed.transform()
    tip = np.array([20, 10, 0]) @ matrix + shift
    assert tip.tolist() == [-5, 10, 0]


def test_the_centre_may_be_said() -> None:
    matrix, shift = PlacedMesh(BLOCK, 10, 20, 180, centre_mm=(100, -40)).transform()
    assert (np.array([100, -40, 17]) @ matrix + shift).tolist() == [10, 20, 0]
    assert (np.array([130, -30, 17]) @ matrix + shift).tolist() == [-20, 10, 0]


def test_the_stl_is_binary_and_names_nobody() -> None:
    data = stl_bytes(PLATE)
    assert len(data) == 84 + 50 * sum(len(copy.mesh.faces) for copy in PLATE)
    assert not data.lower().startswith(b"solid")
    assert data[:80].rstrip() == b"Makerlab plate, millimetres"
    other = trimesh.load(io.BytesIO(data), file_type="stl")
    assert other.volume == pytest.approx(2 * 1500 + trimesh.Trimesh(WHEEL.vertices, WHEEL.faces).volume, rel=1e-6)
    a, b, c = np.moveaxis(read_mesh(data, "x").triangles, 1, 0)
    written = normals_of(data)
    outward = np.cross(b - a, c - a)
    assert np.einsum("ij,ij->i", written, outward).min() > 0


def normals_of(data: bytes) -> FloatArray:
    record = np.dtype([("normal", "<f4", 3), ("rest", "V38")])
    return np.frombuffer(data, record, offset=84)["normal"].astype(np.float64)


def test_copies_share_one_object_and_doubles_survive() -> None:
    data = threemf_bytes(PLATE, "Plate <1> & more")
    xml = zipfile.ZipFile(io.BytesIO(data)).read("3D/3dmodel.model").decode()
    assert (xml.count("<object "), xml.count("<item ")) == (2, 3)
    assert "Plate &lt;1&gt; &amp; more" in xml
    third = mesh_of(box(1, 1, 1))
    exact = moved(third)
    exact = type(exact)(exact.vertices / 3, exact.faces, exact.body)
    raw = read_mesh(threemf_bytes([PlacedMesh(exact, 1 / 6, 1 / 6)], ""), "x")
    assert raw.triangles.max() == 1 / 3


def test_equal_plates_give_equal_bytes() -> None:
    assert threemf_bytes(PLATE, "a") == threemf_bytes(PLATE, "a")


def test_trimesh_reads_our_3mf() -> None:
    scene = trimesh.load(io.BytesIO(threemf_bytes(PLATE, "Plate")), file_type="3mf")
    whole = scene.to_mesh()
    assert whole.units in ("mm", "millimeter", "millimeters", None)
    assert len(whole.faces) == sum(len(copy.mesh.faces) for copy in PLATE)
    assert whole.bounds.tolist() == [pytest.approx([35, 30, 0], abs=0.02), pytest.approx([180, 90, 20], abs=0.02)]


def test_the_consortiums_library_accepts_our_3mf() -> None:
    import lib3mf  # the reference library of the 3MF consortium (BSD); heavy, so only where it referees

    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(threemf_bytes(PLATE, "Plate"))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    items, transforms = model.GetBuildItems(), []
    while items.MoveNext():
        item = items.GetCurrent()
        mesh = item.GetObjectResource()
        assert mesh.IsValid()
        transforms.append(np.array(item.GetObjectTransform().Fields))
    assert len(transforms) == 3
    for copy, fields in zip(PLATE, transforms, strict=True):
        matrix, shift = copy.transform()
        assert fields == pytest.approx(np.vstack([matrix, shift]), rel=1e-6, abs=1e-5)


@pytest.mark.parametrize("write", [stl_bytes, lambda plate: threemf_bytes(plate, "")], ids=["stl", "3mf"])
def test_an_empty_plate_is_an_error(write) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="nothing on this plate"):
        write([])
