"""How a part is to be printed, and how fast the machine is that prints it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class PrintSettings:
    """How a part is to be printed. Defaults are classroom practice (common practice, no source)."""

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

    def __post_init__(self) -> None:
        problems = settings_problems(self)
        if problems:
            raise ValueError("; ".join(problems))


def settings_problems(settings: PrintSettings) -> list[str]:
    """Why these print settings cannot work together, in plain words; empty when they can.

    Line width 0.8 to 2 nozzles and layers up to 0.8 nozzle: common practice, no source.
    """
    s = settings
    rules = [
        (0.8 * s.nozzle_mm <= s.line_width_mm <= 2 * s.nozzle_mm, "line width must be 0.8 to 2 times the nozzle"),
        (0 < s.layer_height_mm <= 0.8 * s.nozzle_mm, "layer height must be above 0 and at most 0.8 of the nozzle"),
        (0 < s.first_layer_mm <= 0.8 * s.nozzle_mm, "first layer must be above 0 and at most 0.8 of the nozzle"),
        (s.walls >= 1, "there must be at least one wall"),
        (s.top_layers >= 0 and s.bottom_layers >= 0, "top and bottom layers cannot be negative"),
        (0 <= s.infill_share <= 1, "infill must be between 0 and 100 %"),
        (0 <= s.support_share <= 1, "support filling must be between 0 and 100 %"),
        (s.raft_layers >= 0 and s.brim_lines >= 0, "raft and brim cannot be negative"),
        (0 < s.overhang_limit_deg < 90, "overhang limit must lie between 0 and 90 degrees"),
    ]
    return [text for holds, text in rules if not holds]


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
