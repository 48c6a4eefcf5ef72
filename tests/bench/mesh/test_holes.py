"""What finding holes and comparing hubs cost, beside their bars. Prints; never gates on a clock. Run with
``pytest tests/bench/mesh/test_holes.py -s -m bench``. CPU seconds, best of several.

That all holes are found, and rightly, is asserted: closed forms of the parts made here.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from meshcheck.gauge import gauged_holes
from meshcheck.holes import find_holes
from meshcheck.hub_region import furthest_hub
from meshcheck.types import Mesh
from meshcheck.types.bore import BoreKind
from tests.meshcheck.parts import box, drilled, mesh_of, moved, random_turn, wheel
from tests.meshcheck.test_bore_shapes import d_bore

from .test_bars import best_s, tell, wheel_2k, wheel_200k

pytestmark = pytest.mark.bench

HOLES = 40


def plate(kind: BoreKind) -> Mesh:
    """A plate with forty bores from 2 to 5.9 mm, finely divided: about 200,000 triangles."""
    made = box(120, 90, 8)
    for k in range(HOLES):
        radius, x, y = 1.0 + 0.05 * k, 8 + 14 * (k % 8), 8 + 17 * (k // 8)
        if kind is BoreKind.ROUND:
            made = drilled(made, radius, 64, x, y)
        else:
            made = made - d_bore(radius, 0.8 * radius, 64).extrude(20).translate((x, y, -5))
    return mesh_of(made.refine_to_length(1.25))


def rough_wheel() -> Mesh:
    """A wheel whose corners are off by 0.01 mm: the fall-backs work on it."""
    made = mesh_of(wheel(bore_facets=48).refine_to_length(2.0))
    rng = np.random.default_rng(3)
    rough = made.vertices + rng.normal(size=made.vertices.shape) * 0.01
    return moved(Mesh(rough, made.faces, made.body), random_turn(rng))


PARTS: dict[str, tuple[Callable[[], Mesh], int, float | None]] = {
    "wheel": (wheel_2k, 1, 0.030),
    "uneven wheel": (rough_wheel, 1, None),
    "200k part": (wheel_200k, 1, 0.500),
    "plate with 40 round bores": (lambda: plate(BoreKind.ROUND), HOLES, 0.500),
    "plate with 40 D bores": (lambda: plate(BoreKind.D), HOLES, 0.500),
}


@pytest.mark.parametrize("name", PARTS)
def test_finding_holes(name: str) -> None:
    make, count, bar_s = PARTS[name]
    mesh = make()
    found = find_holes(mesh)
    print(f"\n\n{name}: {len(mesh.faces):,} triangles")
    tell("  holes", bar_s, best_s(lambda: find_holes(mesh), 5))
    assert len(found) == count
    if "plate" in name:
        kind = BoreKind.D if "D" in name else BoreKind.ROUND
        widths = sorted(hole.diameter_mm for hole in found)
        assert widths == pytest.approx([2.0 + 0.1 * k for k in range(HOLES)], abs=1e-3)
        assert {hole.shape.kind for hole in found} == {kind}
        assert all(hole.through and hole.certain for hole in found)
    else:
        assert found[0].diameter_mm == pytest.approx(3.2, abs=0.01)


@pytest.mark.parametrize("name", ["wheel", "200k part"])
def test_comparing_hubs(name: str) -> None:
    mesh = PARTS[name][0]()
    kit = wheel_2k()
    ours, theirs = gauged_holes(find_holes(mesh), 3.2), gauged_holes(find_holes(kit), 3.2)
    print(f"\n\n{name}: {len(mesh.faces):,} triangles")
    tell("  hub beside the kit part's", None, best_s(lambda: furthest_hub(mesh, ours, kit, theirs, 14.0), 3))
