"""Bores that are not round, on parts whose every measure is known because the test made them.

Closed forms: the largest bar in a D of radius r and flat at distance h has the diameter r + h; in a regular polygon the
distance across its flats; beside a keyway the bore's own. Bores are drawn with ``facets`` corners on their circle,
which lets less pass by the sag r (1 - cos(pi / facets)) on each side.
"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.holes import find_holes
from meshcheck.types import FloatArray, Hole, Mesh
from meshcheck.types.bore import BoreKind, BoreShape

from .parts import Outline, box, disc, mesh_of, moved, random_turn, wheel

PRISMS = (BoreKind.D, BoreKind.DOUBLE_D, BoreKind.KEYED, BoreKind.HEXAGONAL, BoreKind.SQUARE)
NEAR_MM = 1e-3  # the bar is 0.01 mm


def d_bore(radius: float, flat: float, facets: int) -> m3.CrossSection:
    """A circle cut by a flat at ``flat`` from its middle."""
    return Outline.circle(radius, facets) - Outline.square((4 * radius, 4 * radius)).translate((flat, -2 * radius))


def double_d_bore(radius: float, flat: float, facets: int) -> m3.CrossSection:
    return d_bore(radius, flat, facets) - Outline.square((4 * radius, 4 * radius)).translate(
        (-flat - 4 * radius, -2 * radius)
    )


def keyed_bore(radius: float, width: float, depth: float, facets: int) -> m3.CrossSection:
    """A circle with a keyway whose floor stands ``depth`` outside the circle."""
    return Outline.circle(radius, facets) + Outline.square((radius + depth, width)).translate((0, -width / 2))


def polygon_bore(across: float, sides: int) -> m3.CrossSection:
    return Outline.circle(across / 2 / np.cos(np.pi / sides), sides)


def random_bore(rng: np.random.Generator) -> tuple[m3.CrossSection, BoreShape, float, float, float]:
    """An outline, its shape, its circle's diameter, the bar that passes, and by how much facets narrow that."""
    kind = BoreKind(rng.choice([k.value for k in PRISMS]))
    radius, facets = float(rng.uniform(1.5, 6)), int(rng.choice([24, 32, 48, 64, 96]))
    sag = 2 * radius * (1 - np.cos(np.pi / facets))
    flat = radius * float(rng.uniform(0.55, 0.88))
    if kind is BoreKind.D:
        return d_bore(radius, flat, facets), BoreShape(kind, radius + flat), 2 * radius, radius + flat, sag
    if kind is BoreKind.DOUBLE_D:
        return double_d_bore(radius, flat, facets), BoreShape(kind, 2 * flat), 2 * radius, 2 * flat, sag
    if kind is BoreKind.KEYED:
        width, depth = radius * float(rng.uniform(0.4, 0.9)), radius * float(rng.uniform(0.2, 0.6))
        shape = BoreShape(kind, None, width, depth)
        return keyed_bore(radius, width, depth, facets), shape, 2 * radius, 2 * radius, sag
    sides = 6 if kind is BoreKind.HEXAGONAL else 4
    across = 2 * flat
    corner = across / np.cos(np.pi / sides)
    return polygon_bore(across, sides), BoreShape(kind, across), corner, across, 1e-4


def agrees(hole: Hole, shape: BoreShape, near: float = NEAR_MM) -> None:
    assert hole.shape.kind is shape.kind
    for name in ("across_flats_mm", "keyway_width_mm", "keyway_depth_mm"):
        assert getattr(hole.shape, name) == pytest.approx(getattr(shape, name), abs=near), name


@pytest.mark.parametrize("seed", range(60))
def test_random_bores_anywhere_and_anyhow(seed: int) -> None:
    rng = np.random.default_rng(4000 + seed)
    outline, shape, diameter, bar, sag = random_bore(rng)
    body = [
        lambda: disc(30, 14),
        lambda: wheel(bore=0, hub=11, spokes=5, width=14),
        lambda: box(40, 30, 14, (-20, -15, 0)),
    ][int(rng.integers(3))]()
    floor = -2.0 if rng.random() < 0.7 else 4.0
    solid = body - outline.rotate(float(rng.uniform(0, 360))).extrude(30).translate((0, 0, floor))
    if rng.random() < 0.4:
        solid = solid.refine_to_length(float(rng.uniform(1.5, 4)))
    mesh = moved(mesh_of(solid), random_turn(rng), tuple(rng.normal(size=3) * rng.choice([0, 50, 200])))
    (hole,) = [hole for hole in find_holes(mesh) if hole.diameter_mm < 20]
    agrees(hole, shape)
    assert hole.diameter_mm == pytest.approx(diameter, abs=NEAR_MM)
    assert bar - sag - NEAR_MM < hole.free_diameter_mm < bar + NEAR_MM
    assert hole.depth_mm == pytest.approx(14 - max(floor, 0), abs=NEAR_MM)
    assert hole.through is (floor < 0)
    assert not hole.obstructed
    assert hole.certain


@pytest.mark.parametrize("facets", [8, 12, 24, 96])
def test_a_round_bore_stays_round_however_it_is_cut_across(facets: int) -> None:
    groove = disc(3, 4, 48).translate((0, 0, 8))
    cross = m3.Manifold.cylinder(40, 1, 1, 32).rotate((0, 90, 0)).translate((0, 0, 10))
    for cut_away in (None, groove, cross):
        solid = wheel(bore_facets=facets) if cut_away is None else wheel(bore_facets=facets) - cut_away
        mesh = moved(mesh_of(solid), random_turn(np.random.default_rng(facets)), (3.0, 40.0, -8.0))
        (hub,) = [hole for hole in find_holes(mesh) if hole.hub]
        assert hub.shape == BoreShape()
        assert hub.diameter_mm == pytest.approx(3.2, abs=1e-4)


@pytest.mark.parametrize("number", [1, 2, 3])
def test_more_than_one_keyway(number: int) -> None:
    outline = Outline.circle(4, 96)
    for k in range(number):
        outline = outline + keyed_bore(4, 2, 1.2, 96).rotate(360 / number * k)
    mesh = moved(
        mesh_of(disc(20, 10) - outline.extrude(20).translate((0, 0, -2))), random_turn(np.random.default_rng(1))
    )
    (hole,) = find_holes(mesh)
    agrees(hole, BoreShape(BoreKind.KEYED, None, 2.0, 1.2))


def test_a_star_is_not_called_anything_it_is_not() -> None:
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    radius = 3 + 0.4 * np.sign(np.sin(6 * angle))
    star = Outline([np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])])
    for hole in find_holes(mesh_of(disc(20, 10) - star.extrude(20).translate((0, 0, -2)))):
        assert hole.shape.kind is BoreKind.OTHER
        assert not hole.certain


@pytest.mark.parametrize("seed", range(12))
def test_two_decimals_still_tell_the_shape(seed: int) -> None:
    """Rounded to 0.01 mm a measure is good to 0.01 mm, or the hole is flagged."""
    rng = np.random.default_rng(900 + seed)
    outline, shape, _, _, _ = random_bore(rng)
    whole = mesh_of(disc(30, 14) - outline.rotate(float(rng.uniform(0, 360))).extrude(30).translate((0, 0, -2)))
    rounded: FloatArray = np.round(whole.vertices @ random_turn(rng).T, 2)
    (hole,) = [hole for hole in find_holes(Mesh(rounded, whole.faces, whole.body)) if hole.hub]
    if hole.certain or hole.shape.kind is not BoreKind.ROUND:
        agrees(hole, shape, 0.02)
