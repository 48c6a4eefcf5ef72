"""The drawing of a part: which facets show, in which order, and what is written beside them.

Expected coordinates are worked out by hand from the projection's definition.
"""

from __future__ import annotations

import re
from dataclasses import replace

import manifold3d
import numpy as np
import pytest

from meshcheck.crossings import find_crossings
from meshcheck.picture import HEIGHT, WIDTH, draw
from meshcheck.projection import clustered, look, turned
from meshcheck.types import Basics, Mesh, Report, Support, Topology, Verdict, Walls


def mesh_of(solid: manifold3d.Manifold) -> Mesh:
    shape = solid.to_mesh()
    faces = np.ascontiguousarray(shape.tri_verts, np.int32)
    return Mesh(np.ascontiguousarray(shape.vert_properties[:, :3], np.float64), faces, np.zeros(len(faces), np.int32))


def report_of(mesh: Mesh, steep: list[int] | None = None) -> Report:
    topology = Topology(len(mesh.faces), len(mesh.vertices), 1, 0, 0, 0, 0, False, 0, False)
    low, high = (tuple(map(float, edge)) for edge in (mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)))
    basics = Basics(1.0, low, high, 1.0, (0, 0, 0), ((0, 0, 0), (0, 0, 0), (0, 0, 0)))
    support = Support(50.0, np.array(steep or [], np.int32), 0.0, 0.0, 45.0)
    return Report("x", Verdict.OK, "", (), topology=topology, basics=basics, support=support, mesh=mesh)


@pytest.mark.parametrize(
    ("elevation", "azimuth", "point", "expected"),
    [
        # eye on +x looking back: right is +y, up is +z
        (0, 0, (1, 2, 3), (2, -3, 1)),
        # eye below (-z), azimuth -90: right is +x; a point farther down is nearer to the eye
        (-90, -90, (1, 2, -3), (1, -2, 3)),
    ],
)
def test_turned_by_hand(elevation, azimuth, point, expected):
    seen = turned(np.array([point], float), elevation, azimuth)[0]
    if elevation == -90:  # the sense of y depends on which way is up for an eye straight below
        assert seen[0] == pytest.approx(1)
        assert abs(seen[1]) == pytest.approx(2)
        assert seen[2] == pytest.approx(3)
    else:
        assert seen == pytest.approx(expected)


def test_of_a_box_only_faces_turned_to_the_eye_show():
    mesh = mesh_of(manifold3d.Manifold.cube((20, 20, 20)))
    points = turned(mesh.vertices, -58, -90) * 5 + 150
    seen = look(points, mesh.faces, both_sides=False, width=400, height=400, faces_most=1000)
    assert len(seen.order) == 4  # below and front, two triangles each


def test_a_plate_in_front_hides_the_block_behind():
    block = manifold3d.Manifold.cube((10, 10, 10), True)
    plate = manifold3d.Manifold.cube((40, 40, 1), True).translate((0, 0, -20))
    mesh = mesh_of(block + plate)
    points = turned(mesh.vertices, -89.9, -90) * 4 + 200
    seen = look(points, mesh.faces, both_sides=False, width=400, height=400, faces_most=1000)
    lowest = mesh.vertices[mesh.faces[seen.source[seen.order]]][:, :, 2].max(axis=1)
    assert (lowest <= -19).all()


def test_the_hidden_facet_is_painted_before_its_hider_even_when_its_middle_is_nearer():
    # a long sheet sloping towards the eye, and a small chip just in front of its far end
    points = np.array([[0, 0, 0], [300, 0, 200], [0, 300, 0], [10, 10, 20], [60, 10, 50], [10, 60, 20]], float)
    faces = np.array([[0, 2, 1], [3, 5, 4]], np.int32)
    seen = look(points, faces, both_sides=True, width=400, height=400, faces_most=10)
    middles = points[faces][:, :, 2].mean(axis=1)
    assert middles[0] > middles[1]
    assert seen.order.tolist() == [0, 1]


def test_clustering_keeps_under_the_bound_and_the_outline():
    mesh = mesh_of(manifold3d.Manifold.sphere(100, 128))
    points, faces, kept = clustered(mesh.vertices, mesh.faces, 2000)
    assert len(faces) <= 2000 < len(mesh.faces)
    assert len(kept) == len(faces)
    assert np.ptp(points[:, 0]) > 190


def test_drawing_has_no_inline_style_and_stays_in_its_frame():
    wheel = manifold3d.Manifold.cylinder(8, 30, 30, 96) - manifold3d.Manifold.cylinder(20, 1.6, 1.6, 64).translate(
        (0, 0, -5)
    )
    svg = draw(report_of(mesh_of(wheel), steep=[0]), "w1")
    assert "style=" not in svg
    assert "60.0 mm" in svg
    assert 'fill="url(#w1-steep)"' in svg
    assert 'fill="url(#w1-rest)"' in svg
    numbers = [float(n) for n in re.findall(r"[ML ]([\d.]+) [\d.]+", svg)]
    assert 0 <= min(numbers) <= max(numbers) <= WIDTH
    assert f"0 0 {WIDTH} {HEIGHT}" in svg


def test_a_rejected_file_has_no_picture():
    assert draw(Report("x", Verdict.REJECTED, "not a mesh", ())) == ""


def test_thin_walls_and_gaps_are_pointed_out_only_where_they_are():
    fins = manifold3d.Manifold.cube((20, 0.4, 20)) + manifold3d.Manifold.cube((20, 10, 5)).translate((0, 0, -5))
    mesh = mesh_of(fins)
    report = report_of(mesh)
    thin = np.flatnonzero(mesh.vertices[mesh.faces][:, :, 2].min(axis=1) >= 0).astype(np.int32)
    fine = draw(replace(report, walls=Walls(1.0, thin, None, 0.84)))
    poor = draw(replace(report, walls=Walls(0.4, thin, None, 0.84)))
    assert "url(#part-thin)" not in fine
    assert "url(#part-thin)" in poor
    assert "cross-hatched" in poor
    gap = replace(report, topology=replace(report.topology, open_edges=3, open_edge_faces=np.array([0], np.int32)))
    assert "url(#part-open)" not in poor
    assert "url(#part-open)" in draw(gap) or 0 not in look_from_below(mesh)


def test_faces_that_pass_through_each_other_are_chequered():
    """Two columns of one closed body that lean into each other: the crossing faces show, and the words say so."""
    first, second = (
        manifold3d.Manifold.cube((4, 4, 20), True).rotate((0, lean, 0)).translate((x, 0, 10))
        for x, lean in ((-3, 25), (3, -25))
    )
    one, two = mesh_of(first), mesh_of(second)
    mesh = Mesh(
        np.vstack([one.vertices, two.vertices]),
        np.vstack([one.faces, two.faces + len(one.vertices)]).astype(np.int32),
        np.zeros(len(one.faces) + len(two.faces), np.int32),
    )
    crossings = find_crossings(mesh)
    assert len(crossings.faces)
    svg = draw(replace(report_of(mesh), crossings=crossings))
    assert "url(#part-crossing)" in svg
    assert "pass through each other are chequered" in svg
    assert "crossing)" not in draw(report_of(mesh))


def look_from_below(mesh: Mesh) -> set[int]:
    """Numbers of the faces that show in the drawing."""
    points = turned(mesh.vertices, -58, -90) * 5 + 150
    seen = look(points, mesh.faces, both_sides=True, width=400, height=400, faces_most=1000)
    return set(seen.source[seen.order].tolist())
