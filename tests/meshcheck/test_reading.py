"""Reading STL, OBJ and 3MF: the same part from every format, numbers exact, counts as declared, sizes as published."""

from __future__ import annotations

import ctypes
import io

import numpy as np
import pytest
import stl
import trimesh

from meshcheck.reading import MAX_BYTES, read_mesh
from meshcheck.reading.gate import MAX_FACES, rejected
from meshcheck.reading.numbers import NOT_A_NUMBER, NUMBER, read_number
from meshcheck.repair import repair
from meshcheck.types import FloatArray, MeshRejected, Unit
from tests.meshcheck.badfiles import binary_stl, corners_of, cube_corners, text_obj, text_stl, wheel_corners
from tests.meshcheck.badpackages import CUBE, assembly, model, package
from tests.meshcheck.parts import box, mesh_of, moved, wheel


def same_triangles(a: FloatArray, b: FloatArray) -> bool:
    return a.shape == b.shape and np.array_equal(a, b)


def test_the_same_part_in_every_format() -> None:
    corners = wheel_corners()
    shape = trimesh.Trimesh(**trimesh.triangles.to_kwargs(corners))
    shape.merge_vertices()
    files = {
        "stl-binary": binary_stl(corners),
        "stl-ascii": text_stl(corners).encode(),
        "obj": text_obj(corners).encode(),
        "3mf": shape.export(file_type="3mf"),
    }
    for kind, data in files.items():
        raw = read_mesh(data, "a name that says nothing.txt")
        mesh, topology = repair(raw, raw.unit or Unit.MILLIMETRE)
        assert raw.format == kind
        assert raw.declared_faces == len(raw.triangles) == len(corners)
        assert (topology.watertight, topology.bodies) == (True, 1)
        assert mesh.vertices.max(axis=0) == pytest.approx(corners.reshape(-1, 3).max(axis=0), abs=1e-5)


@pytest.mark.parametrize(("faces", "size_bytes"), [(12, 684), (1000, 50084), (100000, 5000084)])
def test_binary_sizes(faces: int, size_bytes: int) -> None:
    # FACTS 7, row stl-size: 84 + 50 n
    data = binary_stl(np.random.default_rng(1).random((faces, 3, 3)))
    assert len(data) == size_bytes
    assert len(read_mesh(data, "x").triangles) == faces


def test_the_largest_part_fits_the_size_cap() -> None:
    assert 84 + 50 * MAX_FACES < MAX_BYTES


def test_numpy_stl_reads_the_same_corners() -> None:
    data = binary_stl(wheel_corners(), b"numpy")
    other = stl.mesh.Mesh.from_file("x.stl", fh=io.BytesIO(data)).vectors
    assert same_triangles(read_mesh(data, "x").triangles, other.astype(np.float64))


def test_trimesh_reads_the_same_text_and_obj() -> None:
    for data, kind in ((text_stl(wheel_corners()).encode(), "stl_ascii"), (text_obj(wheel_corners()).encode(), "obj")):
        other = trimesh.load(io.BytesIO(data), file_type=kind, process=False)
        assert np.abs(read_mesh(data, "x").triangles - other.triangles).max() < 1e-6


WORDS = ["0", "-0.0", "1", "+1.5", "-12.25", ".5", "5.", "1e3", "-1.25E-3", "3.4028235e+38", "1e-320", "1e300", "0.1"]
WORDS += ["123456789012345678901234567890", "0.000000000000000000000000012345", "9007199254740993", "1e-400"]


@pytest.mark.parametrize("word", [*WORDS, *(repr(x) for x in np.random.default_rng(5).normal(size=30).tolist())])
def test_numbers_read_as_python_reads_them(word: str) -> None:
    value, status, comma = number(word)
    assert (status, comma) == (NUMBER, False)
    assert value == pytest.approx(float(word), rel=5e-16, abs=5e-324)


def number(word: str) -> tuple[float, int, bool]:
    text = np.frombuffer(word.encode(), np.uint8)
    value, status, comma = read_number(text, 0, len(text))
    return float(value), int(status), bool(comma)


@pytest.mark.parametrize("word", ["nan", "-NaN", "inf", "-Infinity", "1.#IND", "-1.#QNAN"])
def test_words_for_no_number(word: str) -> None:
    assert number(word)[1] == NOT_A_NUMBER


@pytest.mark.parametrize("word", ["abc", "1.2.3", "1,000.5", "1e", "1e+", "-", "+", ".", "1-2", "0x10", "1_0", "--1"])
def test_words_that_are_garbled(word: str) -> None:
    assert number(word)[1] not in (NUMBER, NOT_A_NUMBER)


def test_decimal_comma() -> None:
    assert number("-3,25") == (-3.25, NUMBER, True)


def refusal(data: bytes) -> MeshRejected:
    with pytest.raises(MeshRejected) as caught:
        read_mesh(data, "secret/path/name.stl")
    assert "secret" not in caught.value.message + caught.value.mend
    return caught.value


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_the_line_of_a_mistake_is_named(line_end: str) -> None:
    text = text_stl(cube_corners()).replace("\n", line_end)
    lines = text.split(line_end)
    lines[10] = lines[10].replace("vertex", "vortex")
    error = refusal(line_end.join(lines).encode())
    assert error.code == "garbled"
    assert "Line 11" in error.message
    assert "vortex" in error.message


def test_what_is_cut_off_is_said_in_numbers() -> None:
    assert "announces 12 triangles and holds 5" in refusal(binary_stl(cube_corners())[: 84 + 50 * 5 + 7]).message


def test_every_cut_of_a_text_file_is_refused() -> None:
    text = text_stl(cube_corners()).encode()
    end = text.rindex(b"endsolid") + len(b"endsolid")
    for length in range(end):
        with pytest.raises(MeshRejected):
            read_mesh(text[:length], "x")
    for length in range(end, len(text) + 1):
        assert len(read_mesh(text[:length], "x").triangles) == 12


def test_every_cut_of_a_binary_file_is_refused() -> None:
    data = binary_stl(cube_corners())
    for length in range(len(data)):
        with pytest.raises(MeshRejected):
            read_mesh(data[:length], "x")


def test_facets_without_a_solid_line_are_refused_as_garbled() -> None:
    assert refusal(text_stl(cube_corners()).split("\n", 1)[1].encode()).code == "garbled"


def test_a_name_with_every_keyword_in_it_is_only_a_name() -> None:
    name = "facet endfacet solid endsolid vertex normal outer loop"
    assert len(read_mesh(text_stl(cube_corners(), name).encode(), "x").triangles) == 12


def test_polygons_are_cut_as_planes_even_with_dents() -> None:
    # a prism over an L; closed forms: volume 3 * 5, area 2 * 3 + 8 * 5 (L of three unit squares)
    outline = [(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)]
    text = "".join(f"v {x} {y} {z}\n" for z in (0, 5) for x, y in outline)
    text += "f 6 5 4 3 2 1\nf 7 8 9 10 11 12\n"
    text += "".join(f"f {i + 1} {(i + 1) % 6 + 1} {(i + 1) % 6 + 7} {i + 7}\n" for i in range(6))
    raw = read_mesh(text.encode(), "x")
    a, b, c = np.moveaxis(raw.triangles, 1, 0)
    assert np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2 == pytest.approx(6 + 40)
    assert np.einsum("ij,ij->", a, np.cross(b, c)) / 6 == pytest.approx(15)
    assert (raw.declared_faces, len(raw.triangles)) == (4 * 2 + 6 * 2, 20)


def test_obj_ignores_what_is_no_surface() -> None:
    extra = "# comment\nmtllib x.mtl\nvn 0 0 1\nvt 0 0\no lid\ng a b\ns off\nusemtl red\nl 1 2\np 1\n"
    raw = read_mesh((extra + text_obj(cube_corners()) + "o second\n").encode(), "x")
    assert (len(raw.triangles), raw.objects) == (12, 2)


def test_nested_transforms_go_from_the_inside_out() -> None:
    # 3MF core specification 3.3: p' = p M, row vectors; a component's transform comes before its user's
    inner = '<component objectid="1" transform="0 1 0 -1 0 0 0 0 1 100 0 0"/>'  # a quarter turn, then x + 100
    raw = read_mesh(package(model(assembly(inner), '<item objectid="2" transform="2 0 0 0 2 0 0 0 2 0 5 0"/>')), "x")
    lowest, highest = raw.triangles.reshape(-1, 3).min(axis=0), raw.triangles.reshape(-1, 3).max(axis=0)
    assert lowest.tolist() == [160, 5, 0]
    assert highest.tolist() == [200, 45, 40]


@pytest.mark.parametrize("unit", [unit for unit in Unit if unit is not Unit.MICRON])
def test_what_the_consortiums_library_writes_is_read(unit: Unit) -> None:
    import lib3mf  # the reference library of the 3MF consortium (BSD); heavy, so only where it referees

    named = {"mm": "MilliMeter", "inch": "Inch", "cm": "CentiMeter", "m": "Meter", "foot": "Foot"}
    model = lib3mf.get_wrapper().CreateModel()
    model.SetUnit(getattr(lib3mf.ModelUnit, named[unit.value]))
    shape = moved(mesh_of(wheel(facets=48)), np.eye(3) * 0.05)  # small enough to stay within 10 m, in feet too
    part = model.AddMeshObject()
    places = [lib3mf.Position((ctypes.c_float * 3)(*corner)) for corner in shape.vertices.tolist()]
    part.SetGeometry(places, [lib3mf.Triangle((ctypes.c_uint32 * 3)(*face)) for face in shape.faces.tolist()])
    pair = model.AddComponentsObject()
    still = lib3mf.get_wrapper().GetIdentityTransform()
    pair.AddComponent(part, still)
    pair.AddComponent(part, lib3mf.get_wrapper().GetTranslationTransform(5.0, 0.0, 0.0))
    model.AddBuildItem(pair, lib3mf.get_wrapper().GetTranslationTransform(0.0, 0.0, 7.0))
    raw = read_mesh(bytes(model.QueryWriter("3mf").WriteToBuffer()), "x")
    assert (raw.unit, raw.objects, raw.declared_faces) == (unit, 2, 2 * len(shape.faces))
    assert np.abs(raw.triangles[: len(shape.faces)] - shape.corners - [0, 0, 7]).max() < 1e-4
    assert np.abs(raw.triangles[len(shape.faces) :] - shape.corners - [5, 0, 7]).max() < 1e-4


def test_a_3mf_without_relationships_is_read_from_the_customary_place() -> None:
    data = package(model())
    assert len(read_mesh(data.replace(b"_rels/.rels", b"_rels/.else"), "x").triangles) == 12


def test_objects_not_in_the_build_are_not_read() -> None:
    second = CUBE.replace('id="1"', 'id="2"')
    assert len(read_mesh(package(model(CUBE + second)), "x").triangles) == 12


def test_a_corner_that_no_face_uses_does_no_harm() -> None:
    raw = read_mesh((text_obj(cube_corners()) + "v 9999999 0 0\n").encode(), "x")
    assert len(raw.triangles) == 12


def test_a_plate_in_every_plane_is_flat() -> None:
    rng = np.random.default_rng(2)
    sheet = rng.random((20, 3, 3)) * [50, 50, 0]
    for turn in (np.eye(3), np.linalg.qr(rng.normal(size=(3, 3)))[0]):
        assert refusal(binary_stl(sheet @ turn)).code == "flat"
    assert len(read_mesh(binary_stl(corners_of(box(50, 50, 0.01))), "thin").triangles) == 12


def test_figures_are_filled_in() -> None:
    assert "26.0 MB" in rejected("too_big", size_mb=26.0, limit_mb=25.0).message
