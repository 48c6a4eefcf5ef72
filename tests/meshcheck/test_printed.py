"""Inertia of the printed part: closed forms of full and hollow bodies, and trimesh as second opinion."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from meshcheck.layers.shapes import part_shapes
from meshcheck.printed import PrintedBody, printed_body
from meshcheck.types import Mesh, PrintSettings
from tests.meshcheck.parts import box, disc, drilled, mesh_of, moved, wheel

SOLID = PrintSettings(infill_share=1.0)


def body_of(mesh: Mesh, settings: PrintSettings) -> PrintedBody:
    return printed_body(part_shapes(mesh, settings), float(mesh.vertices[:, 2].min()))


def test_full_block() -> None:
    """m (a^2 + b^2) / 12 about each axis through the centre."""
    mesh = moved(mesh_of(box(20, 30, 40)), offset=(5, -7, 11))
    body = body_of(mesh, SOLID)
    mass = 20 * 30 * 40 * 1.24e-3
    assert body.mass_g == pytest.approx(mass, rel=1e-9)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    assert body.centre_mm == pytest.approx((low + high) / 2, abs=1e-9)
    expected = mass / 12 * np.diag([30**2 + 40**2, 20**2 + 40**2, 20**2 + 30**2])
    assert body.inertia_g_mm2 == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_hollow_block() -> None:
    """Without infill a block is the outer block less the inner one that walls and skins leave (both closed forms)."""
    settings = PrintSettings(infill_share=0.0, layer_height_mm=0.2, first_layer_mm=0.2)
    outer = np.array([20.0, 30.0, 40.0])
    wall = settings.walls * settings.line_width_mm
    inner = outer - [2 * wall, 2 * wall, 0.2 * (settings.top_layers + settings.bottom_layers)]
    body = body_of(mesh_of(box(*outer)), settings)
    shift = 0.2 * (settings.bottom_layers - settings.top_layers) / 2  # of the inner block's middle, upward
    masses = [float(np.prod(each)) * 1.24e-3 for each in (outer, inner)]
    mass = masses[0] - masses[1]
    assert body.mass_g == pytest.approx(mass, rel=1e-6)
    about_z = masses[0] * (20**2 + 30**2) / 12 - masses[1] * (inner[0] ** 2 + inner[1] ** 2) / 12
    assert body.inertia_g_mm2[2, 2] == pytest.approx(about_z, rel=1e-6)
    low = mesh_of(box(*outer)).vertices[:, 2].min()
    assert body.centre_mm[2] == pytest.approx(low + 20 - masses[1] * shift / mass, abs=1e-6)


def test_sparse_infill_counts_with_its_share() -> None:
    """A block with 15 % infill lies between the hollow and the full one, at 15 % of the way."""
    mesh = mesh_of(box(20, 30, 40))
    hollow, sparse, full = (body_of(mesh, PrintSettings(infill_share=share)) for share in (0.0, 0.15, 1.0))
    between = hollow.inertia_g_mm2 + 0.15 * (full.inertia_g_mm2 - hollow.inertia_g_mm2)
    assert np.diag(sparse.inertia_g_mm2) == pytest.approx(np.diag(between), rel=1e-3)


def test_full_wheel_is_the_mesh() -> None:
    """trimesh measures the mesh; layers of a wheel lying flat add nothing but their steps."""
    mesh = mesh_of(wheel())
    theirs = trimesh.Trimesh(mesh.vertices, mesh.faces)
    theirs.density = 1.24e-3
    body = body_of(mesh, SOLID)
    assert body.inertia_g_mm2 == pytest.approx(theirs.moment_inertia, rel=2e-3, abs=0.5)


def test_ring_about_its_axle_wherever_it_lies() -> None:
    """Annular cylinder, m (r^2 + R^2) / 2 (OpenStax University Physics 1, figure 10.20), about a line given by any
    point on it; 2 mm beside it the parallel axis theorem adds m d^2. Contours thinned to 0.02 mm cost 1e-3 here."""
    mesh = moved(mesh_of(drilled(disc(30, 8, 512), 10, 512)), offset=(40, 20, 0))
    body = body_of(mesh, SOLID)
    expected = body.mass_g * (30**2 + 10**2) / 2
    assert body.about(np.array([40, 20, 77.0]), np.array([0, 0, -2.0])) == pytest.approx(expected, rel=1.5e-3)
    beside = body.about(np.array([42, 20, 0.0]), np.array([0, 0, 1.0]))
    assert beside == pytest.approx(expected + 4 * body.mass_g, rel=1.5e-3)


def test_a_wheel_as_printed_carries_more_at_its_rim() -> None:
    """Walls and skins are dense and infill is not, so the shape factor I / (m R^2) of a solid disc exceeds 1/2."""
    body = body_of(mesh_of(disc(30, 20)), PrintSettings(infill_share=0.15))
    factor = body.about(np.zeros(3), np.array([0, 0, 1.0])) / (body.mass_g * 30**2)
    assert 0.5 < factor < 0.75
