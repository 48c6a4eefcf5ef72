"""Cutting: closed forms, trimesh's own cutter as second opinion, and planes that run exactly through vertices."""

import time

import manifold3d
import numpy as np
import pytest
import trimesh

from meshcheck.layers import cut as cutting
from meshcheck.layers.cut import cut
from meshcheck.types import Mesh


def as_mesh(shape: trimesh.Trimesh) -> Mesh:
    faces = np.asarray(shape.faces, np.int32)
    return Mesh(np.asarray(shape.vertices, np.float64), faces, np.zeros(len(faces), np.int32))


def test_every_layer_of_a_cube_is_its_square() -> None:
    layers = cut(as_mesh(trimesh.creation.box((20, 20, 20))), np.arange(-9.9, 10, 0.2))
    assert layers.closed.all()
    assert layers.area_mm2 == pytest.approx(400.0, abs=1e-9)
    assert layers.perimeter_mm == pytest.approx(80.0, abs=1e-9)


def test_holes_run_the_other_way_round() -> None:
    tube = as_mesh(trimesh.creation.annulus(3, 15, 8, sections=128))
    layers = cut(tube, [-1.0, 0.0, 1.0])
    # area of an inscribed n-gon: n/2 r^2 sin(2 pi/n)
    ngon = 128 / 2 * np.sin(2 * np.pi / 128)
    assert layers.area_mm2 == pytest.approx(ngon * (15**2 - 3**2), rel=1e-9)
    signs = [np.sign(_shoelace(contour)) for contour in layers.contours(1)]
    assert sorted(signs) == [-1, 1]
    assert layers.first_contour.tolist() == [0, 2, 4, 6]


def _shoelace(contour: np.ndarray) -> float:
    x, y = contour.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def test_the_contours_enclose_what_the_segments_say() -> None:
    layers = cut(as_mesh(trimesh.creation.icosphere(4, 10.0)), np.linspace(-9.9, 9.9, 67))
    for k in range(67):
        assert sum(_shoelace(c) for c in layers.contours(k)) == pytest.approx(layers.area_mm2[k], rel=1e-9)


def test_a_sphere_is_cut_in_circles() -> None:
    heights = np.linspace(-9, 9, 19)
    layers = cut(as_mesh(trimesh.creation.icosphere(6, 10.0)), heights)
    # pi (r^2 - z^2); 81,920 faces lie within 1e-3 of the sphere
    assert layers.area_mm2 == pytest.approx(np.pi * (100 - heights**2), rel=2e-3)


def test_a_turned_torus_agrees_with_two_libraries() -> None:
    shape = trimesh.creation.torus(20, 5)
    shape.apply_transform(trimesh.transformations.rotation_matrix(0.7, [1, 2, 3]))
    heights = np.linspace(shape.bounds[0][2] + 0.3, shape.bounds[1][2] - 0.3, 25)
    layers = cut(as_mesh(shape), heights)
    sections = shape.section_multiplane([0, 0, 0], [0, 0, 1], heights)
    assert layers.closed.all()
    assert layers.perimeter_mm == pytest.approx([section.length for section in sections], rel=1e-6)
    solid = manifold3d.Manifold(manifold3d.Mesh(shape.vertices.astype(np.float32), shape.faces.astype(np.uint32)))
    # manifold3d holds the vertices in single precision here
    assert layers.area_mm2 == pytest.approx([solid.slice(z).area() for z in heights], rel=1e-4)


def test_planes_through_vertices_and_flat_faces_still_close() -> None:
    shape = trimesh.creation.icosphere(3, 10.0)
    heights = np.unique(shape.vertices[:, 2])
    layers = cut(as_mesh(shape), heights)
    assert layers.closed.all()
    box = cut(as_mesh(trimesh.creation.box((2, 2, 2))), [-1.0, 1.0, 1.5])
    # above if z >= plane: everything is above the lowest plane, the top face is above the plane through it
    assert box.area_mm2 == pytest.approx([0.0, 4.0, 0.0])


def test_edges_shared_by_four_faces_are_walked_once_each() -> None:
    touching = trimesh.util.concatenate([trimesh.creation.box((2, 2, 2)), trimesh.creation.box((2, 2, 2))])
    touching.vertices[8:] += [2, 2, 0]  # they share one upright edge
    touching.merge_vertices()
    layers = cut(as_mesh(touching), [0.1])
    assert layers.closed.all()
    assert layers.area_mm2 == pytest.approx([8.0])
    assert sum(_shoelace(c) for c in layers.contours(0)) == pytest.approx(8.0)


def test_a_gap_is_told_and_its_ends_kept() -> None:
    box = trimesh.creation.box((2, 2, 2))
    layers = cut(as_mesh(trimesh.Trimesh(box.vertices, box.faces[:-1], process=False)), [0.01])
    assert not layers.closed.all()
    ends = {tuple(np.round(p, 6)) for c in layers.contours(0) for p in (c[0], c[-1])}
    assert len(ends) >= 2


@pytest.mark.parametrize("heights", [[1.0, 1.0], [2.0, 1.0], [np.nan], [0.0, np.inf]])
def test_heights_that_do_not_ascend_are_refused(heights: list[float]) -> None:
    with pytest.raises(ValueError, match="ascend"):
        cut(as_mesh(trimesh.creation.box()), heights)


def test_more_segments_than_memory_holds_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cutting, "_BAND_SEGMENTS", 1)
    with pytest.raises(cutting.TooManySegments, match="at most 10"):
        cut(as_mesh(trimesh.creation.box()), [-0.1, 0.0, 0.1])
    monkeypatch.setattr(cutting, "SEGMENTS_MOST", 20)
    with pytest.raises(cutting.TooManySegments, match="at most 20"):
        list(cutting.cut_in_bands(as_mesh(trimesh.creation.box()), [-0.1, 0.0, 0.1]))


@pytest.mark.parametrize("band_segments", [1, 700, 5000, 10**9])
def test_bands_together_are_the_whole(band_segments: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cutting, "_BAND_SEGMENTS", band_segments)
    mesh, heights = as_mesh(trimesh.creation.torus(20, 5)), np.linspace(-6, 6, 41)
    bands = list(cutting.cut_in_bands(mesh, heights))
    monkeypatch.undo()
    whole = cut(mesh, heights)
    for band in bands:
        assert len(band.heights_mm) == 1 or len(band.points_mm) <= band_segments  # closed: as many points as segments
    assert (len(bands) > 1) is (len(whole.points_mm) > band_segments)
    assert np.concatenate([band.heights_mm for band in bands]).tolist() == heights.tolist()
    assert np.concatenate([band.points_mm for band in bands]).tolist() == whole.points_mm.tolist()
    assert np.concatenate([band.area_mm2 for band in bands]).tolist() == whole.area_mm2.tolist()


@pytest.mark.bench
def test_speed_beside_trimesh() -> None:
    shape = trimesh.creation.icosphere(5, 10.0)
    mesh = as_mesh(shape)
    heights = np.arange(-9.9, 10, 0.2)
    cut(mesh, heights)
    started = time.perf_counter()
    cut(mesh, heights)
    ours = time.perf_counter() - started
    started = time.perf_counter()
    shape.section_multiplane([0, 0, 0], [0, 0, 1], heights)
    theirs = time.perf_counter() - started
    print(f"\n{len(mesh.faces)} faces, {len(heights)} layers: {ours * 1e3:.1f} ms, trimesh {theirs * 1e3:.0f} ms")
