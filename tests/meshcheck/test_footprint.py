"""Footprints against shapes whose outline is known by construction."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from meshcheck.footprint import CORNERS_MOST, footprint
from meshcheck.types import Mesh
from tests.meshcheck.test_picture import mesh_of

CUBE, CYLINDER = manifold3d.Manifold.cube, manifold3d.Manifold.cylinder


def test_a_wheel_is_a_circle_wherever_it_lies():
    found = footprint(mesh_of(CYLINDER(8, 30, 30, 96).translate((100, -40, 3))))
    assert found.kind == "circle"
    assert found.radius_mm == pytest.approx(30, abs=1e-4)


def test_a_box_is_a_rectangle():
    found = footprint(mesh_of(CUBE((150, 70, 12))))
    assert (found.kind, found.width_mm, found.depth_mm) == ("rectangle", 150, 70)


def test_a_turned_box_is_its_hull():
    found = footprint(mesh_of(CUBE((60, 20, 5)).rotate((0, 0, 45))))
    assert found.kind == "hull"
    assert len(found.corners_mm) == 4
    assert found.width_mm == pytest.approx(80 / np.sqrt(2), abs=1e-4)


def test_a_hull_with_many_corners_is_cut_down_but_never_inside_the_part():
    oval = CYLINDER(5, 30, 30, 200).scale((1.0, 0.6, 1.0))
    mesh = mesh_of(oval)
    found = footprint(mesh)
    assert found.kind == "hull"
    assert len(found.corners_mm) == CORNERS_MOST
    corners = np.array(found.corners_mm)
    edges = np.roll(corners, -1, axis=0) - corners
    for x, y in mesh.vertices[:, :2]:
        inside = edges[:, 0] * (y - corners[:, 1]) - edges[:, 1] * (x - corners[:, 0])
        assert (inside >= -1e-6).all()


def test_a_sliver_without_area_gives_its_box():
    line = np.array([[0, 0, 0], [10, 0, 0], [10, 0, 5]], float)
    found = footprint(Mesh(line, np.array([[0, 1, 2]], np.int32), np.zeros(1, np.int32)))
    assert (found.kind, found.width_mm, found.depth_mm) == ("rectangle", 10, 0)
