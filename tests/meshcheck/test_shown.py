"""What is shown of a part: the packed mesh and the rendered pictures.

Expected areas: the shadow of a convex body along a unit direction d is half the sum of face areas times |n . d|
(Cauchy's projection formula); a sphere's is pi r squared. PNG is read back by Pillow, a reader that is not ours.
"""

from __future__ import annotations

import gzip
import io
from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from PIL import Image

from meshcheck.check import check_part
from meshcheck.export import PlacedMesh, stl_bytes
from meshcheck.shown.binary import HEADER, ShownMesh, is_packed, packed, unpacked
from meshcheck.shown.flags import face_flags
from meshcheck.shown.make import HEIGHT, PNG_BYTES_MOST, WIDTH, bounded_png, shown
from meshcheck.shown.png import png_bytes
from meshcheck.shown.reasons import CROSSING, OPEN, RESTING, STEEP, THIN, counts
from meshcheck.shown.render import ABOVE, BELOW, FINE, View, framed, rendered
from meshcheck.shown.simpler import for_showing
from meshcheck.types import Crossings, Hole, Mesh, Unknown, Walls
from tests.meshcheck.test_picture import mesh_of, report_of

CUBE = manifold3d.Manifold.cube((20, 20, 20))


def eye(view: View) -> np.ndarray:
    e, a = np.radians(view.elevation_deg), np.radians(view.azimuth_deg)
    return np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])


def picture_of(mesh: Mesh, view: View, bit: int = 0, hole: Hole | None = None) -> np.ndarray:
    flags = np.full(len(mesh.faces), bit, np.uint8)
    return rendered(mesh.vertices, mesh.faces, flags, hole, view, WIDTH, HEIGHT)


def area_mm2(pixels: np.ndarray, mesh: Mesh, view: View) -> float:
    per_mm = framed(mesh.vertices, view, WIDTH, HEIGHT).scale / FINE
    return float(pixels[..., 3].sum() / 255 / per_mm**2)


@pytest.mark.parametrize("view", [ABOVE, BELOW, View(0, 0), View(35.26, 45), View(-70, 130)])
def test_the_shadow_of_a_box_has_the_area_of_the_formula(view):
    mesh = mesh_of(manifold3d.Manifold.cube((20, 30, 10)))
    x, y, z = np.abs(eye(view))
    expected = 30 * 10 * x + 20 * 10 * y + 20 * 30 * z
    # counted on a grid of half a pixel: off by about the square root of the outline's pixels, well below 0.5 %
    assert area_mm2(picture_of(mesh, view), mesh, view) == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize("view", [ABOVE, BELOW, View(0, 20)])
def test_the_shadow_of_a_sphere_is_a_disc(view):
    mesh = mesh_of(manifold3d.Manifold.sphere(12.0, 256))
    assert area_mm2(picture_of(mesh, view), mesh, view) == pytest.approx(np.pi * 144, rel=0.005)


def test_a_hole_lets_the_ground_through():
    tube = manifold3d.Manifold.cylinder(1, 10, 10, 256) - manifold3d.Manifold.cylinder(4, 5, 5, 256).translate(
        (0, 0, -1)
    )
    mesh, view = mesh_of(tube), View(89.9, 0)
    assert area_mm2(picture_of(mesh, view), mesh, view) == pytest.approx(np.pi * 75, rel=0.01)


def test_lines_follow_the_edges_of_a_box_and_not_the_diagonals_of_its_faces():
    mesh, view = mesh_of(CUBE), View(35.26, 45)
    pixels = picture_of(mesh, view)
    frame = framed(mesh.vertices, view, WIDTH, HEIGHT)

    def darkest(point: tuple[float, float, float]) -> int:
        x, y = np.rint(frame.place(np.array([point]))[0, :2] / FINE).astype(int)
        return int(pixels[y - 1 : y + 2, x - 1 : x + 2, :3].max(axis=2).min())

    assert darkest((20, 20, 10)) < 100  # the edge that looks at the eye
    assert darkest((10, 10, 20)) > 100  # the middle of the lid, on the diagonal of its two triangles


@pytest.mark.parametrize(
    ("bit", "view"), [(STEEP, BELOW), (RESTING, BELOW), (THIN, ABOVE), (OPEN, ABOVE), (CROSSING, ABOVE)]
)
def test_every_flag_has_a_pattern_of_its_own(bit, view):
    mesh = mesh_of(CUBE)
    plain, marked = picture_of(mesh, view), picture_of(mesh, view, bit)
    changed = (plain != marked).any(axis=2).sum() / (plain[..., 3] > 0).sum()
    assert 0.05 < changed < 0.75  # a pattern, not a coat of paint
    others = [picture_of(mesh, view, other) for other in (STEEP, RESTING, THIN, OPEN, CROSSING) if other != bit]
    assert all((marked != other).any() for other in others)


def test_the_hole_is_drawn_where_it_is_measured():
    mesh = mesh_of(CUBE - manifold3d.Manifold.cylinder(30, 3, 3, 96).translate((10, 10, -5)))
    hole = Hole(6.0, 6.0, 20.0, True, (0, 0, 1), (10, 10, 10), 0.0, Unknown("no rim"), Unknown("no rim"), 96)
    pixels = picture_of(mesh, ABOVE, hole=hole)
    frame = framed(mesh.vertices, ABOVE, WIDTH, HEIGHT)
    x, y = np.rint(frame.place(np.array([[13.0, 10.0, 20.0]]))[0, :2] / FINE).astype(int)
    red, green, blue = pixels[y, x, :3].astype(int)
    assert blue > red + 40
    assert blue > green + 40


@pytest.mark.parametrize("faces_most", [10**6, 500])
def test_packing_and_reading_back(faces_most):
    mesh = mesh_of(manifold3d.Manifold.sphere(25.0, 64).translate((100, -40, 25)))
    flags = (np.arange(len(mesh.faces)) % 32).astype(np.uint8)
    given = for_showing(mesh, flags, faces_most)
    data = packed(given)
    back = unpacked(data)
    assert (back.faces == given.faces).all()
    assert (back.lines == given.lines).all()
    assert (back.flags == given.flags).all()
    assert back.faces_measured == len(mesh.faces)
    half_a_step = 50.0 / 65535 / 2
    assert np.abs(back.vertices - given.vertices).max() <= half_a_step + 8e-6  # float32 of a corner at 100 mm
    assert packed(given) == data


@pytest.mark.parametrize("spoil", [lambda d: d[:-1], lambda d: d + b"0", lambda d: b"XKM1" + d[4:], lambda d: d[:20]])
def test_bytes_that_are_not_a_shown_mesh_are_refused(spoil):
    mesh = mesh_of(CUBE)
    data = packed(for_showing(mesh, np.zeros(len(mesh.faces), np.uint8)))
    assert is_packed(data)
    assert not is_packed(spoil(data))
    with pytest.raises(ValueError, match="not a shown mesh"):
        unpacked(spoil(data))


def test_the_header_is_as_documented():
    mesh = mesh_of(CUBE)
    flags = np.zeros(len(mesh.faces), np.uint8)
    flags[0] = STEEP | THIN
    data = packed(for_showing(mesh, flags))
    assert data[:4] == b"MKM1"
    assert np.frombuffer(data, "<u4", 5, 4).tolist() == [8, 12, 12, 12, STEEP | THIN]  # a box has 12 edges
    assert np.frombuffer(data, "<f4", 6, 24) == pytest.approx([0, 0, 0, *[20 / 65535] * 3])
    assert len(data) == HEADER.size + 48 + 12 * 12 + 12 * 8 + 12


@pytest.mark.parametrize("closed", [True, False])
def test_a_big_mesh_is_made_simpler_and_keeps_shape_and_flags(closed):
    mesh = mesh_of(manifold3d.Manifold.sphere(20.0, 256))
    if not closed:
        mesh = Mesh(mesh.vertices, mesh.faces[:-4], mesh.body[:-4])
    flags = np.where(mesh.corners[:, :, 2].mean(axis=1) < -10, STEEP, 0).astype(np.uint8)
    simple = for_showing(mesh, flags, 6000)
    assert len(simple.faces) <= 6000
    assert simple.faces_measured == len(mesh.faces)
    corners = simple.vertices[simple.faces]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    assert area.sum() == pytest.approx(4 * np.pi * 400, rel=0.02)
    middle = corners[:, :, 2].mean(axis=1)
    wrong = ((middle < -10) != (simple.flags == STEEP)) & (np.abs(middle + 10) > 1.5)  # by the border either is right
    assert not wrong.any()
    assert np.abs(np.linalg.norm(simple.vertices, axis=1) - 20).max() < 0.3


def test_flags_come_from_the_report():
    mesh = mesh_of(CUBE)
    report = report_of(mesh, [3])
    assert report.topology is not None
    report = replace(
        report,
        walls=Walls(0.5, np.array([4], np.int32), None, 0.84),
        topology=replace(report.topology, open_edge_faces=np.array([5, 4], np.int32)),
        crossings=Crossings(np.array([6], np.int32), 1.0, None, True),
    )
    flags = face_flags(mesh, report)
    assert flags[3] & STEEP
    assert flags[4] & (THIN | OPEN) == THIN | OPEN
    assert flags[6] & CROSSING
    assert counts(flags) == {"steep": 1, "resting": 2, "thin": 1, "open": 2, "crossing": 1}
    thick = replace(report, walls=Walls(2.0, np.array([4], np.int32), None, 0.84))
    assert "thin" not in counts(face_flags(mesh, thick))


def test_of_a_checked_part_all_is_made_twice_the_same():
    report = check_part(stl_bytes([PlacedMesh(mesh_of(CUBE), 0.0, 0.0)]), "cube.stl")
    first, second = shown(report), shown(report)
    assert first is not None
    assert second is not None
    assert (first.mesh, first.picture, first.small) == (second.mesh, second.picture, second.small)
    assert first.facts == {
        "faces": 12, "faces_measured": 12, "flags": {"resting": 2}, "bytes": len(first.mesh), "from_below": False,
    }  # fmt: skip
    assert unpacked(gzip.decompress(first.mesh)).faces_measured == 12
    for data, width in ((first.picture, WIDTH), (first.small, WIDTH // 4)):
        image = Image.open(io.BytesIO(data)).convert("RGBA")
        assert image.width == width
        assert image.getpixel((0, 0))[3] == 0
        assert image.getpixel((width // 2, image.height // 2))[3] == 255


def test_of_a_rejected_file_nothing_is_shown():
    assert shown(check_part(b"no part at all", "notes.stl")) is None


def test_a_picture_is_never_larger_than_it_may_be():
    noise = np.random.default_rng(7).integers(0, 256, (HEIGHT, WIDTH, 4), np.uint8)
    data = bounded_png(noise)
    assert len(data) <= PNG_BYTES_MOST
    Image.open(io.BytesIO(data)).verify()


def test_png_is_read_back_by_another_reader():
    numbers = np.arange(12, dtype=np.uint8).reshape(3, 4)
    colours = np.stack([numbers.ravel() * 20, 255 - numbers.ravel() * 20, numbers.ravel(), 255 - numbers.ravel()], 1)
    image = Image.open(io.BytesIO(png_bytes(numbers, colours.astype(np.uint8)))).convert("RGBA")
    assert (np.asarray(image) == colours.reshape(3, 4, 4)).all()


def test_a_mesh_without_open_edges_has_no_use_for_its_unused_corners():
    mesh = mesh_of(CUBE)
    loose = Mesh(np.vstack([[[999.0, 0, 0]], mesh.vertices]), mesh.faces + 1, mesh.body)
    simple = for_showing(loose, np.zeros(12, np.uint8))
    assert isinstance(simple, ShownMesh)
    assert simple.vertices.max() == pytest.approx(20)
