"""How a part is to be printed, and how fast the machine is that prints it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, Literal

SPEED_LEAST_MM_S, SPEED_MOST_MM_S = 5.0, 500.0
SUPPORTS = ("off", "on", "auto")


@dataclass(frozen=True, slots=True)
class PrintSettings:
    """How a part is to be printed. Defaults are classroom practice (common practice, no source).

    A speed of None is the printer's own; see ``at_speeds``.
    """

    layer_height_mm: float = 0.2
    first_layer_mm: float = 0.2
    nozzle_mm: float = 0.4
    line_width_mm: float = 0.42
    walls: int = 2
    top_layers: int = 4
    bottom_layers: int = 4
    infill_share: float = 0.15
    raft_layers: int = 0
    raft_margin_mm: float = 3.0
    brim_lines: int = 0
    support: Literal["off", "on", "auto"] = "auto"
    support_share: float = 0.15
    overhang_limit_deg: float = 45.0
    material: str = "PLA"
    wall_mm_s: float | None = None
    infill_mm_s: float | None = None
    first_layer_mm_s: float | None = None
    travel_mm_s: float | None = None

    def __post_init__(self) -> None:
        problems = settings_problems({field.name: getattr(self, field.name) for field in fields(self)})
        if problems:
            raise ValueError("; ".join(problem.text for problem in problems))


@dataclass(frozen=True, slots=True)
class SettingsProblem:
    """Why settings cannot work: the field to mend, and a sentence without a full stop."""

    field: str
    text: str


def settings_problems(values: Mapping[str, Any]) -> list[SettingsProblem]:
    """Why these print settings cannot work together, in plain words; empty when they can.

    ``values`` holds every field of PrintSettings. Line width 0.8 to 2 nozzles and layers up to 0.8 nozzle: common
    practice, no source; so are the limits that only keep slips of the keyboard out. TypeError for what is no number.
    """
    nozzle = values["nozzle_mm"]
    if not 0.1 <= nozzle <= 2:
        return [SettingsProblem("nozzle_mm", "the nozzle must be 0.1 to 2 mm wide")]
    return [
        *_against_nozzle(values, nozzle),
        *(
            SettingsProblem(name, f"{words} must be {low:g} to {high:g}")
            for name, words, low, high in _COUNTS
            if not low <= values[name] <= high
        ),
        *(
            SettingsProblem(name, f"{words} must be between 0 and 100 %")
            for name, words in (("infill_share", "infill"), ("support_share", "support filling"))
            if not 0 <= values[name] <= 1
        ),
        *(
            SettingsProblem(name, f"the speed of {words} must be {SPEED_LEAST_MM_S:g} to {SPEED_MOST_MM_S:g} mm/s")
            for name, words in _SPEEDS
            if values[name] is not None and not SPEED_LEAST_MM_S <= values[name] <= SPEED_MOST_MM_S
        ),
        *([] if values["support"] in SUPPORTS else [SettingsProblem("support", "support is off, on or auto")]),
    ]


_COUNTS = (
    ("walls", "walls", 1, 50),
    ("top_layers", "top layers", 0, 200),
    ("bottom_layers", "bottom layers", 0, 200),
    ("raft_layers", "raft layers", 0, 10),
    ("raft_margin_mm", "the margin of a raft in mm", 0, 50),
    ("brim_lines", "lines of brim", 0, 50),
    ("overhang_limit_deg", "the overhang limit in degrees", 1, 89),
)
_SPEEDS = (
    ("wall_mm_s", "walls"),
    ("infill_mm_s", "the filling"),
    ("first_layer_mm_s", "the first layer"),
    ("travel_mm_s", "travel"),
)


def _against_nozzle(values: Mapping[str, Any], nozzle: float) -> list[SettingsProblem]:
    """Line and layers against the nozzle, each with the figures that would do."""
    found = []
    if not 0.8 * nozzle - 1e-9 <= values["line_width_mm"] <= 2 * nozzle + 1e-9:
        why = f"0.8 to 2 times the {nozzle:g} mm nozzle, {0.8 * nozzle:.2f} to {2 * nozzle:.2f} mm"
        found.append(SettingsProblem("line_width_mm", f"line width must be {why}"))
    for name, words in (("layer_height_mm", "layer height"), ("first_layer_mm", "first layer")):
        if not 0.02 <= values[name] <= 0.8 * nozzle + 1e-9:
            why = f"at most 0.8 of the {nozzle:g} mm nozzle, {0.8 * nozzle:.2f} mm, and at least 0.02 mm"
            found.append(SettingsProblem(name, f"{words} must be {why}"))
    return found


@dataclass(frozen=True, slots=True)
class Machine:
    """How fast a kind of printer moves and warms. Defaults: a small school printer (common practice, no source)."""

    wall_mm_s: float = 40.0
    inner_wall_mm_s: float = 60.0
    infill_mm_s: float = 80.0
    skin_mm_s: float = 60.0
    support_mm_s: float = 60.0
    first_layer_mm_s: float = 20.0
    travel_mm_s: float = 150.0
    acceleration_mm_s2: float = 1000.0
    junction_deviation_mm: float = 0.013
    retraction_s: float = 0.25
    layer_change_s: float = 0.3
    layer_minimum_s: float = 5.0
    heat_up_s: float = 180.0
    cool_down_s: float = 600.0  # until the bed may be cleared; not part of ``duration_s``


def at_speeds(machine: Machine, settings: PrintSettings) -> Machine:
    """The machine as it prints with these settings. The speed asked for walls is that of the outer wall, the speed of
    the filling that of the inside; inner walls, skins and support keep the machine's own proportion to them."""
    wall = 1.0 if settings.wall_mm_s is None else settings.wall_mm_s / machine.wall_mm_s
    infill = 1.0 if settings.infill_mm_s is None else settings.infill_mm_s / machine.infill_mm_s
    return replace(
        machine,
        wall_mm_s=machine.wall_mm_s * wall,
        inner_wall_mm_s=machine.inner_wall_mm_s * wall,
        infill_mm_s=machine.infill_mm_s * infill,
        skin_mm_s=machine.skin_mm_s * infill,
        support_mm_s=machine.support_mm_s * infill,
        first_layer_mm_s=settings.first_layer_mm_s or machine.first_layer_mm_s,
        travel_mm_s=settings.travel_mm_s or machine.travel_mm_s,
    )
