"""Verdicts against the gauge, on wheels whose every measure is known because the test made them."""

from __future__ import annotations

import numpy as np
import pytest

from meshcheck.gauge import judge_gauge, part_sizes
from meshcheck.holes import find_holes
from meshcheck.types import Basics, Finding, Gauge, Level, Mesh, Unknown

from .parts import box, disc, drilled, mesh_of, moved, random_turn, wheel

GAUGE = Gauge(hole_diameter_mm=3.2, hole_depth_mm=20, through=True, eccentricity_max_mm=0.1)


def basics_of(mesh: Mesh) -> Basics:
    """Box, and volume by the divergence theorem; the rest plays no part here."""
    a, b, c = (mesh.corners[:, k] for k in range(3))
    volume = float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    nothing = Unknown("not asked")
    return Basics(0.0, tuple(low), tuple(high), volume, nothing, nothing)


def judged(mesh: Mesh, gauge: Gauge = GAUGE, bodies: int | None = None) -> dict[str, Finding]:
    found = judge_gauge(find_holes(mesh), basics_of(mesh), bodies or int(mesh.body.max()) + 1, gauge)
    codes = [finding.code for finding in found]
    assert len(codes) == len(set(codes)), "one finding per matter"
    return {finding.code: finding for finding in found}


def turned(mesh: Mesh, seed: int = 7) -> Mesh:
    return moved(mesh, random_turn(np.random.default_rng(seed)), (12.0, -3.0, 40.0))


def test_a_kept_hole_passes_in_every_respect() -> None:
    found = judged(turned(mesh_of(wheel())))
    assert set(found) == {"hole_kept", "hole_through", "hole_depth_ok", "hole_central"}
    assert all(finding.level is Level.PASSES for finding in found.values())
    assert found["hole_kept"].figure == "3.20 mm, allowed 3.15 to 3.30 mm"


WRONG = {
    "too small": (lambda: wheel(bore=2.95), "hole_too_small"),
    "too large": (lambda: wheel(bore=3.5), "hole_too_large"),
    "just inside": (lambda: wheel(bore=3.29), "hole_kept"),
    "blind": (lambda: wheel(floor=4), "hole_blind"),
    "off centre": (lambda: wheel(eccentricity=0.3), "hole_off_centre"),
    "far off centre": (lambda: wheel(spokes=0, eccentricity=12), "hole_off_centre"),
    "filled": (lambda: wheel(bore=0), "hole_filled"),
    "filled, lightening holes left": (lambda: wheel(spokes=0, bore=0, lightening=5), "hole_filled"),
    "shorter": (lambda: wheel(width=15), "hole_too_short"),
    "longer": (lambda: wheel(hub_width=24), "hole_too_deep"),
    "twelve sides": (lambda: wheel(bore_facets=12), "hole_coarse"),
    "six sides": (lambda: wheel(bore_facets=6), "hole_few_sides"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_is_named(name: str) -> None:
    solid, code = WRONG[name]
    assert code in judged(turned(mesh_of(solid())))


def test_off_centre_gives_the_run_out() -> None:
    finding = judged(turned(mesh_of(wheel(eccentricity=0.3))))["hole_off_centre"]
    assert finding.figure.startswith("0.30 mm off")
    assert "0.60 mm with every turn" in finding.why  # the rim swings from R - e to R + e


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (25.4, "25.4 times too large"),
        (1 / 25.4, "25.4 times too small"),
        (10, "ten times too large"),
        (0.1, "ten times too small"),
        (1000, "a thousand times too large"),
        (0.001, "a thousand times too small"),
    ],
)
def test_unit_errors_are_named_and_nothing_else_is_said(factor: float, words: str) -> None:
    whole = mesh_of(wheel())
    mesh = Mesh(whole.vertices * factor, whole.faces, whole.body)
    found = judged(mesh)
    assert list(found) == ["unit_scale"]
    assert words in found["unit_scale"].title


def test_scaling_the_whole_part_is_told_from_changing_the_hole() -> None:
    whole = mesh_of(wheel())
    scaled = Mesh(whole.vertices * 0.92, whole.faces, whole.body)
    finding = judged(turned(scaled))["hole_scaled"]
    assert "0.920 times as large" in finding.figure
    assert "hole_scaled" not in judged(turned(mesh_of(wheel(bore=3.2 * 0.92))))


def test_scaling_shows_in_the_volume_too() -> None:
    whole = mesh_of(wheel())
    volume = basics_of(whole).volume_mm3
    assert isinstance(volume, float)
    gauge = Gauge(hole_diameter_mm=3.2, reference_volume_mm3=volume)
    assert "hole_scaled" in judged(Mesh(whole.vertices * 1.1, whole.faces, whole.body), gauge)


def test_stretched_across_and_along() -> None:
    whole = mesh_of(wheel())
    across = Mesh(whole.vertices * [1.05, 1, 1], whole.faces, whole.body)
    finding = judged(turned(across))["hole_stretched"]
    assert finding.figure.startswith("3.20 by 3.36 mm")
    along = Mesh(whole.vertices * [1, 1, 1.2], whole.faces, whole.body)
    found = judged(turned(along))
    assert "hole_kept" in found
    assert "hole_too_deep" in found


def test_all_four_wheels_are_checked() -> None:
    bores = (3.2, 3.2, 2.9, 3.2)
    four = mesh_of(*[wheel(bore=b).translate((65 * (k % 2), 65 * (k // 2), 0)) for k, b in enumerate(bores)])
    found = judged(turned(four))
    assert found["hole_too_small"].figure.startswith("2.90 mm in 1 of 4 holes")
    assert found["hole_kept"].figure.startswith("3.20 mm in 3 of 4 holes")


def test_a_missing_hole_among_four() -> None:
    bores = (3.2, 0, 3.2, 3.2)
    four = mesh_of(*[wheel(bore=b).translate((65 * (k % 2), 65 * (k // 2), 0)) for k, b in enumerate(bores)])
    assert judged(four)["hole_missing_in_some"].figure == "3 holes in 4 pieces"
    asked = Gauge(hole_diameter_mm=3.2, holes_min=4)
    assert judged(four, asked)["hole_filled"].figure == "3 of 4 holes found"


def test_blind_when_blind_is_asked() -> None:
    gauge = Gauge(hole_diameter_mm=3.2, hole_depth_mm=16, through=False)
    assert judged(turned(mesh_of(wheel(floor=4))), gauge).keys() == {"hole_kept", "hole_depth_ok"}
    assert "hole_open" in judged(turned(mesh_of(wheel())), gauge)


def test_a_bar_across_the_hole_is_named() -> None:
    mesh = mesh_of(wheel(), box(50, 2, 3, (-25, -1, 8)))
    assert "hole_blocked" in judged(turned(mesh), bodies=1)


def test_a_part_that_is_no_wheel_is_gauged_by_its_nearest_hole() -> None:
    block = drilled(drilled(box(40, 30, 10, (-20, -15, 0)), 1.6, 48), 4.0, 48, x=12)
    found = judged(turned(mesh_of(block)), Gauge(hole_diameter_mm=3.2, eccentricity_max_mm=0.1))
    assert set(found) == {"hole_kept", "hole_centre_unknown"}


def test_a_counterbore_may_be_the_gauged_hole() -> None:
    mesh = mesh_of(drilled(wheel(hub=9), 6, 64, floor=15))
    assert "hole_kept" in judged(turned(mesh), Gauge(hole_diameter_mm=12.0))
    assert "hole_kept" in judged(turned(mesh), Gauge(hole_diameter_mm=3.2))


@pytest.mark.parametrize(("most", "code"), [((61, 21, 61), "size_box_ok"), ((60, 60, 19), "size_box")])
def test_size_box_whichever_way_it_lies(most: tuple[float, float, float], code: str) -> None:
    lying = mesh_of(wheel())
    standing = Mesh(lying.vertices[:, [2, 0, 1]], lying.faces, lying.body)
    gauge = Gauge(size_max_mm=most)
    for mesh in (lying, standing):
        found = judged(mesh, gauge)
        assert list(found) == [code]
        assert found[code].figure.startswith("60.0 × 60.0 × 20.0 mm")


def test_size_box_part_by_part() -> None:
    four = mesh_of(*[wheel().translate((65 * (k % 2), 65 * (k // 2), 0)) for k in range(4)], disc(3, 8))
    sizes = part_sizes(four)
    assert len(sizes) == 4  # the pin stands in the first wheel and counts with it
    assert sizes[0] == pytest.approx((60, 60, 20), abs=0.05)
    found = judge_gauge((), basics_of(four), 4, Gauge(size_max_mm=(61, 61, 21)), sizes_mm=sizes)
    assert found[0].code == "size_box_ok"
