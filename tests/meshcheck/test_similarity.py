"""The same design is known again; a slightly different one is not taken for it."""

from __future__ import annotations

import json
from dataclasses import replace

import manifold3d as m3
import numpy as np
import pytest
from scipy.optimize import brentq

import lessons.parts
from lessons.parts import WheelDesign
from meshcheck.basics import measure
from meshcheck.check import check_part
from meshcheck.export import PlacedMesh, stl_bytes
from meshcheck.repair import repair
from meshcheck.report import report_json
from meshcheck.similarity import is_same_design, signature_from_json
from meshcheck.similarity import signature as signature_of
from meshcheck.types import Gauge, Mesh, RawMesh, Signature, Unit, Unknown

from .parts import box, disc, mesh_of, moved, random_turn, wheel


def kit_wheel(design: WheelDesign) -> Mesh:
    vertices, faces = lessons.parts.wheel(design)
    return Mesh(vertices, faces, np.zeros(len(faces), np.int32))


def signature(mesh: Mesh, **given) -> Signature:
    report = check_part(stl_bytes([PlacedMesh(mesh, 0, 0)]), "part.stl", **given)
    return signature_from_json(json.loads(json.dumps(report_json(report)))["signature"])


DESIGN = WheelDesign()
FIRST = signature(kit_wheel(DESIGN))


def test_the_figures_of_a_box_are_closed_forms() -> None:
    # 12 x 20 x 30: gyration about an axis is sqrt((b^2 + c^2) / 12)
    found = signature(mesh_of(box(12, 20, 30)))
    assert found.volume_mm3 == pytest.approx(7200)
    assert found.area_mm2 == pytest.approx(2 * (240 + 360 + 600))
    wanted = sorted(np.sqrt((b * b + c * c) / 12) for b, c in ((12, 20), (20, 30), (12, 30)))
    assert found.gyration_mm == pytest.approx(wanted)


def test_turned_and_moved_it_is_the_same() -> None:
    rng = np.random.default_rng(2)
    for _ in range(10):
        again = signature(moved(kit_wheel(DESIGN), random_turn(rng), tuple(rng.uniform(-200, 200, 3))))
        assert is_same_design(FIRST, again)
        assert again.volume_mm3 == pytest.approx(FIRST.volume_mm3, rel=1e-5)


def test_cut_into_other_triangles_it_is_the_same() -> None:
    refined = mesh_of(m3.Manifold(_as_manifold(kit_wheel(DESIGN))).refine(3))
    assert is_same_design(FIRST, signature(refined))
    assert is_same_design(FIRST, signature(kit_wheel(replace(DESIGN, facets=96, bore_facets=72))))  # coarser circles
    assert is_same_design(FIRST, signature(kit_wheel(replace(DESIGN, facets=256))))


def _as_manifold(mesh: Mesh) -> m3.Mesh:
    return m3.Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32))


CHANGES = {
    "wider spokes": {"spoke_width_mm": 6.2},
    "thicker rim": {"rim_mm": 5.1},
    "another number of spokes": {"spokes": 6},
    "higher spokes": {"spoke_height_mm": 7.8},
    "smaller hub": {"hub_diameter_mm": 13.6},
    "curved spokes": {"spoke_shape": "curved"},
    "a groove": {"groove_mm": 1.0},
}


@pytest.mark.parametrize("name", CHANGES)
def test_a_small_redesign_is_another_design(name: str) -> None:
    assert not is_same_design(FIRST, signature(kit_wheel(replace(DESIGN, **CHANGES[name]))))


def test_one_percent_of_mass_tells_wheels_apart() -> None:
    """40 wheels of random shape, each beside itself with one percent more mass by one measure after the other."""
    rng = np.random.default_rng(11)
    knobs = ("spoke_width_mm", "rim_mm", "hub_diameter_mm", "radius_mm")
    for k in range(40):
        one = replace(
            DESIGN,
            rim_mm=float(rng.uniform(3, 7)),
            spokes=int(rng.integers(3, 8)),
            spoke_width_mm=float(rng.uniform(3, 6)),
            facets=48,
            bore_facets=32,
        )
        base, knob = raw_signature(one), knobs[k % len(knobs)]

        def made(factor: float, one: WheelDesign = one, knob: str = knob) -> Signature:
            return raw_signature(replace(one, **{knob: getattr(one, knob) * factor}))

        def off(factor: float, base: Signature = base, made=made) -> float:
            return made(factor).volume_mm3 / base.volume_mm3 - 1.01

        factor = brentq(off, 1.0, 1.4, xtol=1e-4)
        assert made(factor).volume_mm3 / base.volume_mm3 == pytest.approx(1.01, abs=1e-3)
        assert not is_same_design(base, made(factor)), (one, knob)


def raw_signature(design: WheelDesign) -> Signature:
    made = signature_of(measure(*repair(RawMesh(kit_wheel(design).corners, "stl-binary"), Unit.MILLIMETRE)))
    assert not isinstance(made, Unknown)
    return made


def test_equal_mass_is_not_enough() -> None:
    # the same volume as a cube, a rod and a plate
    shapes = [signature(mesh_of(box(*size))) for size in ((20, 20, 20), (10, 10, 80), (40, 40, 5))]
    assert not any(is_same_design(a, b) for k, a in enumerate(shapes) for b in shapes[k + 1 :])


def test_a_wheel_is_known_again_among_four_in_a_file() -> None:
    gauge = Gauge(hole_diameter_mm=3.2)
    places = [(0, 0, 0), (70, 0, 0), (0, 70, 0), (70, 70, 0)]
    four = signature(mesh_of(*[wheel().translate(place) for place in places]), gauge=gauge)
    assert is_same_design(four, signature(mesh_of(wheel()), gauge=gauge))


def test_a_signature_needs_a_volume() -> None:
    mesh = mesh_of(disc(10, 5))
    report = check_part(stl_bytes([PlacedMesh(Mesh(mesh.vertices, mesh.faces[1:], mesh.body[1:]), 0, 0)]), "p.stl")
    assert isinstance(report.signature, Unknown)
    assert report_json(report)["signature"] is None
