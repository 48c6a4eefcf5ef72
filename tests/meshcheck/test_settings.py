"""Print settings are validated together, and their speeds become the machine's."""

from __future__ import annotations

from dataclasses import asdict, replace

import pytest

from meshcheck.estimate import estimate, estimate_plate
from meshcheck.inside import look_inside
from meshcheck.settings import at_speeds, settings_problems
from meshcheck.types import Machine, PrintSettings, Unknown
from tests.meshcheck.parts import box, mesh_of

MACHINE = Machine()
SHELL = PrintSettings(walls=1, top_layers=0, bottom_layers=0, infill_share=0.0, support="off")


def problems(**changes):
    return settings_problems({**asdict(PrintSettings()), **changes})


def test_the_defaults_work():
    assert problems() == []


# the edges themselves are allowed: 0.8 and 2 nozzles of line, 0.8 nozzle of layer (common practice, no source)
@pytest.mark.parametrize(
    "changes",
    [
        {"line_width_mm": 0.32},
        {"line_width_mm": 0.8},
        {"layer_height_mm": 0.32},
        {"first_layer_mm": 0.32},
        {"nozzle_mm": 0.6, "line_width_mm": 1.2, "layer_height_mm": 0.48},
        {"infill_share": 0.0},
        {"infill_share": 1.0},
        {"wall_mm_s": 5.0, "travel_mm_s": 500.0},
    ],
)
def test_what_lies_on_a_limit_works(changes):
    assert problems(**changes) == []


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"line_width_mm": 0.31}, "line_width_mm", "0.32 to 0.80 mm"),
        ({"line_width_mm": 0.81}, "line_width_mm", "0.4 mm nozzle"),
        ({"nozzle_mm": 0.6}, "line_width_mm", "0.48 to 1.20 mm"),
        ({"layer_height_mm": 0.33}, "layer_height_mm", "0.32 mm"),
        ({"layer_height_mm": 0.0}, "layer_height_mm", "at least 0.02"),
        ({"first_layer_mm": -0.1}, "first_layer_mm", "first layer"),
        ({"nozzle_mm": 0.0}, "nozzle_mm", "nozzle"),
        ({"walls": 0}, "walls", "1 to 50"),
        ({"infill_share": 1.01}, "infill_share", "between 0 and 100"),
        ({"infill_share": float("nan")}, "infill_share", "between 0 and 100"),
        ({"layer_height_mm": float("nan")}, "layer_height_mm", "layer height"),
        ({"brim_lines": 51}, "brim_lines", "0 to 50"),
        ({"raft_layers": -1}, "raft_layers", "raft"),
        ({"support": "maybe"}, "support", "off, on or auto"),
        ({"travel_mm_s": 501.0}, "travel_mm_s", "travel"),
        ({"wall_mm_s": 0.0}, "wall_mm_s", "walls"),
    ],
)
def test_what_cannot_work_is_named_with_its_field_and_figures(changes, field, words):
    (found,) = problems(**changes)
    assert found.field == field
    assert words in found.text
    with pytest.raises(ValueError, match=r"must|is off"):
        replace(PrintSettings(), **changes)


def test_several_things_are_all_said():
    assert [each.field for each in problems(line_width_mm=3.0, walls=0, first_layer_mm=1.0)] == [
        "line_width_mm", "first_layer_mm", "walls",
    ]  # fmt: skip


def test_the_printers_own_speeds_change_nothing():
    same = replace(
        PrintSettings(),
        wall_mm_s=MACHINE.wall_mm_s,
        infill_mm_s=MACHINE.infill_mm_s,
        first_layer_mm_s=MACHINE.first_layer_mm_s,
        travel_mm_s=MACHINE.travel_mm_s,
    )
    assert at_speeds(MACHINE, same) == at_speeds(MACHINE, PrintSettings()) == MACHINE


def test_the_inside_keeps_its_proportion():
    machine = at_speeds(MACHINE, PrintSettings(wall_mm_s=20.0, infill_mm_s=160.0))
    assert (machine.wall_mm_s, machine.inner_wall_mm_s) == (20.0, 30.0)
    assert (machine.infill_mm_s, machine.skin_mm_s, machine.support_mm_s) == (160.0, 120.0, 120.0)
    assert (machine.first_layer_mm_s, machine.travel_mm_s) == (MACHINE.first_layer_mm_s, MACHINE.travel_mm_s)


def printing_s(settings: PrintSettings) -> float:
    found = estimate(mesh_of(box(40, 40, 10)), settings, MACHINE, None)
    assert not isinstance(found, Unknown)
    return found.duration_s - found.heat_up_s


def test_the_minutes_follow_the_wall_speed():
    """On paper: 50 layers, each one loop of 4 (40 - 0.42) mm at the wall speed, 0.3 s of layer change; corners cost
    little beside that at 10 mm/s. The first layer goes at its own speed or the wall's, whichever is slower."""
    loop_mm = 4 * (40 - 0.42)
    on_paper = 50 * (loop_mm / 10 + MACHINE.layer_change_s)
    assert printing_s(replace(SHELL, wall_mm_s=10.0)) == pytest.approx(on_paper, rel=0.01)


def test_the_first_layer_has_a_speed_of_its_own():
    loop_mm = 4 * (40 - 0.42)
    slower = printing_s(replace(SHELL, first_layer_mm_s=10.0)) - printing_s(replace(SHELL, first_layer_mm_s=20.0))
    assert slower == pytest.approx(loop_mm / 10 - loop_mm / 20, rel=0.02)


def test_grams_do_not_depend_on_speed():
    mesh = mesh_of(box(20, 20, 5))
    quick, slow = (
        estimate(mesh, replace(PrintSettings(), wall_mm_s=speed, infill_mm_s=speed), MACHINE, None)
        for speed in (100.0, 10.0)
    )
    assert not isinstance(quick, Unknown)
    assert not isinstance(slow, Unknown)
    assert quick.mass_g == slow.mass_g
    assert quick.duration_s < slow.duration_s


def test_a_layer_looked_at_is_timed_at_the_speeds_asked_for():
    mesh = mesh_of(box(40, 40, 10))
    slow = look_inside(mesh, replace(SHELL, wall_mm_s=10.0), MACHINE, None, 5)
    assert slow.seconds == pytest.approx(4 * (40 - 0.42) / 10 + MACHINE.layer_change_s, rel=0.01)


def test_parts_of_one_plate_share_their_speeds():
    mesh = mesh_of(box(20, 20, 5))
    placed = [(mesh, 20.0, 20.0, 0.0), (mesh, 60.0, 20.0, 0.0)]
    with pytest.raises(ValueError, match="speeds"):
        estimate_plate(placed, [PrintSettings(), PrintSettings(wall_mm_s=10.0)], MACHINE, [None, None])
