"""A plate on several kinds of machine: one set of layers, each machine's own minutes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from makerlab.demo.fixtures import FOLDER
from meshcheck import estimate as estimating
from meshcheck.overhang import overhang
from meshcheck.plating import PlacedFile, estimate_files
from meshcheck.types import Machine, PrintSettings, Unit
from tests.meshcheck.parts import mesh_of
from tests.meshcheck.test_overhang import table

WHEEL, CHASSIS = (str(FOLDER / "meshes/kit" / name) for name in ("wheel.stl", "chassis.stl"))
KINDS = {
    "small": Machine(),
    "quick": Machine(wall_mm_s=100, inner_wall_mm_s=140, infill_mm_s=200, acceleration_mm_s2=4000, heat_up_s=90),
    "old": Machine(wall_mm_s=25, inner_wall_mm_s=30, travel_mm_s=80, retraction_s=0.6, cool_down_s=900),
}


@contextmanager
def counted(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """How often layers are worked out."""
    real, calls = estimating.part_shapes, []

    def counting(*given):
        calls.append(1)
        return real(*given)

    with monkeypatch.context() as patch:
        patch.setattr(estimating, "part_shapes", counting)
        yield calls


def test_layers_are_worked_out_once_for_all_machines(monkeypatch: pytest.MonkeyPatch) -> None:
    files = [PlacedFile(WHEEL, "w", Unit.MILLIMETRE, x, 40, 0) for x in (40, 110)]
    files.append(PlacedFile(CHASSIS, "c", Unit.MILLIMETRE, 100, 150, 90))
    with counted(monkeypatch) as calls:
        found = estimate_files(files, PrintSettings(), KINDS)
    assert len(calls) == 2  # wheel and chassis
    assert isinstance(found, dict)
    assert list(found) == list(KINDS)
    for key, machine in KINDS.items():
        alone = estimate_files(files, PrintSettings(), {key: machine})
        assert isinstance(alone, dict)
        assert alone[key] == found[key]
    assert found["quick"].duration_s < found["small"].duration_s < found["old"].duration_s
    assert len({value.mass_g for value in found.values()}) == 1
    assert found["old"].cool_down_s == 900


def test_copies_with_and_without_support_are_told_apart() -> None:
    # the same mesh twice, one with its support measured and one printed without
    mesh = mesh_of(table())
    support = overhang(mesh, watertight=True)
    settings = PrintSettings(support="on")
    placed = [(mesh, 40.0, 40.0, 0.0), (mesh, 120.0, 40.0, 0.0)]
    one = estimating.estimate_plate(placed, settings, Machine(), [support, None])
    both = estimating.estimate_plate(placed, settings, Machine(), [support, support])
    assert one.support_g == pytest.approx(both.support_g / 2)
    assert one.duration_s < both.duration_s
