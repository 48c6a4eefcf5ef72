"""Verdicts on bores that are not round, or are but should not be. Every measure is known: the test made the parts."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest

from meshcheck.bore_gauge import in_words
from meshcheck.holes import find_holes
from meshcheck.types import Finding, Gauge, Level, Mesh
from meshcheck.types.bore import BoreKind, BoreShape

from .parts import Outline, disc, mesh_of
from .test_bore_shapes import d_bore, double_d_bore, keyed_bore, polygon_bore
from .test_gauge import judged, turned

ROUND = Outline.circle(2.5, 64)
GAUGES = {
    "D": Gauge(hole_diameter_mm=5, bore_kind="D", bore_across_mm=4.5, through=True),
    "double D": Gauge(hole_diameter_mm=5, bore_kind="double D", bore_across_mm=4.0),
    "keyed": Gauge(hole_diameter_mm=5, bore_kind="keyed", keyway_width_mm=2, keyway_depth_mm=1),
    "hexagonal": Gauge(hole_diameter_mm=5 / np.cos(np.pi / 6), bore_kind="hexagonal", bore_across_mm=5),
    "round": Gauge(hole_diameter_mm=5, bore_kind="round"),
    "not asked": Gauge(hole_diameter_mm=5),
}
BORES = {
    "D": d_bore(2.5, 2.0, 64),
    "double D": double_d_bore(2.5, 2.0, 64),
    "keyed": keyed_bore(2.5, 2, 1, 64),
    "hexagonal": polygon_bore(5, 6),
    "round": ROUND,
}


def part(bore: m3.CrossSection) -> Mesh:
    return mesh_of(disc(25, 12) - bore.rotate(17).extrude(30).translate((0, 0, -2)))


def said(bore: m3.CrossSection, gauge: str) -> dict[str, Finding]:
    return judged(turned(part(bore)), GAUGES[gauge])


@pytest.mark.parametrize("kind", [kind for kind in BORES if kind != "round"])
def test_the_kit_parts_own_bore_passes(kind: str) -> None:
    found = said(BORES[kind], kind)
    assert {"hole_kept", "bore_shape_kept"} <= set(found)
    assert all(finding.level is Level.PASSES for finding in found.values())


@pytest.mark.parametrize("gauge", ["round", "not asked"])
def test_a_round_bore_passes_where_it_is_asked(gauge: str) -> None:
    assert set(said(ROUND, gauge)) == {"hole_kept"}


@pytest.mark.parametrize("gauge", ["D", "double D", "keyed"])
def test_a_round_hole_in_place_of_the_shape_must_be_mended(gauge: str) -> None:
    finding = said(ROUND, gauge)["bore_shape_changed"]
    assert finding.level is Level.MUST_FIX
    assert finding.figure.startswith("round, must be")
    assert "axle turns and the part stands still" in finding.why


def test_a_round_hole_in_place_of_a_hexagon() -> None:
    found = said(Outline.circle(2.5 / np.cos(np.pi / 6), 48), "hexagonal")
    assert found["bore_shape_changed"].figure == "round, must be hexagonal"


@pytest.mark.parametrize("gauge", ["round", "not asked"])
@pytest.mark.parametrize(("bore", "free"), [("D", "4.5"), ("double D", "4.0")])
def test_a_flat_in_a_round_hole_stops_the_axle(gauge: str, bore: str, free: str) -> None:
    found = said(BORES[bore], gauge)
    assert f"only a bar of {free}" in found["bore_shape_changed"].why.replace("4.49", "4.5").replace("3.99", "4.0")
    assert "hole_few_sides" not in found  # it is said once, and rightly


def test_a_keyway_in_a_round_hole_counts_only_when_round_was_asked() -> None:
    assert set(said(BORES["keyed"], "not asked")) == {"hole_kept"}
    assert "nothing on the axle fits" in said(BORES["keyed"], "round")["bore_shape_changed"].why


def test_a_hexagon_in_place_of_a_round_hole_is_a_hole_with_corners() -> None:
    assert "hole_few_sides" in said(Outline.circle(2.5, 6), "round")


def test_a_flat_that_moved() -> None:
    finding = said(d_bore(2.5, 1.7, 64), "D")["bore_flat_moved"]
    assert finding.figure == "4.20 mm across, allowed 4.45 to 4.60 mm"
    assert finding.level is Level.MUST_FIX
    assert "bore_flat_moved" in said(double_d_bore(2.5, 1.8, 64), "double D")


@pytest.mark.parametrize(("width", "depth"), [(2.4, 1.0), (2.0, 0.6)])
def test_a_keyway_of_another_size(width: float, depth: float) -> None:
    finding = said(keyed_bore(2.5, width, depth, 64), "keyed")["bore_keyway_changed"]
    assert f"{width:.2f} mm wide and {depth:.2f} mm deep, must be 2.00 mm wide and 1.00 mm deep" in finding.figure


def test_scaled_as_a_whole_and_filled() -> None:
    whole = part(BORES["D"])
    scaled = Mesh(whole.vertices * 0.9, whole.faces, whole.body)
    gauge = Gauge(hole_diameter_mm=5, bore_kind="D", bore_across_mm=4.5, hole_depth_mm=12)
    found = judged(turned(scaled), gauge)
    assert {"hole_scaled", "bore_flat_moved"} <= set(found)
    assert "hole_filled" in judged(turned(mesh_of(disc(25, 12))), gauge)
    inches = Mesh(whole.vertices / 25.4, whole.faces, whole.body)
    assert list(judged(inches, gauge)) == ["unit_scale"]


def test_off_centre_blind_and_short_are_still_told() -> None:
    bore = BORES["D"].rotate(40).translate((0.6, 0)).extrude(30).translate((0, 0, 5))
    gauge = Gauge(hole_diameter_mm=5, bore_kind="D", bore_across_mm=4.5, through=True, hole_depth_mm=12,
                  eccentricity_max_mm=0.1)  # fmt: skip
    found = judged(turned(mesh_of(disc(25, 12) - bore)), gauge)
    assert {"bore_shape_kept", "hole_blind", "hole_too_short", "hole_off_centre"} <= set(found)
    assert found["hole_off_centre"].figure.startswith("0.60 mm off")


def test_all_four_are_checked() -> None:
    bores = [BORES["D"], BORES["D"], ROUND, BORES["D"]]
    parts = [disc(25, 12) - bore.extrude(30).translate((0, 0, -2)) for bore in bores]
    four = mesh_of(*[solid.translate((60 * k, 0, 0)) for k, solid in enumerate(parts)])
    found = judged(turned(four), GAUGES["D"])
    assert found["bore_shape_changed"].figure.startswith("round in 1 of 4 holes")
    assert "in 3 of 4 holes" in found["bore_shape_kept"].figure


def test_words() -> None:
    assert in_words(BoreShape()) == "round"
    assert in_words(BoreShape(BoreKind.HEXAGONAL, 6.35)) == "hexagonal, 6.35 mm across flats"
    (hole,) = find_holes(part(BORES["keyed"]))
    assert in_words(hole.shape) == "round with a keyway, 2.00 mm wide and 1.00 mm deep"
