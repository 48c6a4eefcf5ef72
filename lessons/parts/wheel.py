"""The mail cart's wheel: a hub that must stay, and everything around it that students may change."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from manifold3d import CrossSection, Manifold

from lessons.parts.solids import MeshArrays, box, circle, joined, mesh_arrays, polygon, union

SpokeShape = Literal["straight", "curved"]

# The lower edge leans out less than 45 degrees from vertical, so rounding a coordinate never makes it an overhang.
LOWER_EDGE_MM = (0.4, 0.8)  # inward, upward
UPPER_EDGE_MM = (0.5, 0.5)
ROOT_MM = 2.0  # how deep a spoke reaches into hub and rim


@dataclass(frozen=True, slots=True)
class WheelDesign:
    """Measures of one wheel in mm; the defaults are the starting wheel of the kit.

    A wheel has spokes (``spokes`` > 0), a web (``web_mm`` > 0, a disc standing on the bed), or both.
    ``spoke_lift_mm`` starts spokes and web above the bed and ``hub_drop_mm`` makes the hub stand
    lower than the rim: both are ways to draw a wheel that needs support.
    """

    radius_mm: float = 30.0
    width_mm: float = 8.0
    rim_mm: float = 5.0
    bore_mm: float = 3.2
    hub_diameter_mm: float = 14.0
    hub_width_mm: float = 8.0
    spokes: int = 5
    spoke_width_mm: float = 6.0
    spoke_height_mm: float = 8.0
    spoke_shape: SpokeShape = "straight"
    spoke_sweep_deg: float = 35.0
    spoke_lift_mm: float = 0.0
    web_mm: float = 0.0
    window_diameter_mm: float = 0.0
    windows: int = 0
    groove_mm: float = 0.0
    hub_drop_mm: float = 0.0
    bore_offset_mm: float = 0.0
    bore_filled: bool = False
    facets: int = 128
    bore_facets: int = 96

    def __post_init__(self) -> None:
        problems = design_problems(self)
        if problems:
            raise ValueError("; ".join(problems))


def design_problems(design: WheelDesign) -> list[str]:
    """Why this wheel cannot be built, in plain words; empty when it can."""
    d = design
    room = d.radius_mm - d.rim_mm - d.hub_diameter_mm / 2
    rules = [
        (0 < d.bore_mm < d.hub_diameter_mm, "the hole must be smaller than the hub"),
        (room > 0, "hub and rim leave no room for spokes"),
        (d.rim_mm > 0 and d.width_mm > 0 and d.hub_width_mm > 0, "rim and hub need a thickness"),
        (d.spokes > 0 or d.web_mm > 0, "hub and rim must be joined by spokes or a web"),
        (d.facets >= 12 and d.bore_facets >= 12, "a circle needs at least 12 facets"),
        (0 <= d.groove_mm <= d.rim_mm - 1.2, "the groove must leave 1.2 mm of rim"),
        (d.groove_mm == 0 or d.width_mm / 2 >= 1.5 * d.groove_mm + 1.2, "the rim must be wider than its groove"),
        (d.windows == 0 or 0 < d.window_diameter_mm <= room - 2.4, "windows must leave 1.2 mm to hub and rim"),
        (d.width_mm > sum((LOWER_EDGE_MM[1], UPPER_EDGE_MM[1])), "the rim must be wider than its chamfers"),
    ]
    return [text for holds, text in rules if not holds]


STARTING_WHEEL = WheelDesign()


def wheel(design: WheelDesign = STARTING_WHEEL) -> MeshArrays:
    """The wheel lying on the bed, axle along z through the origin.

    Starting wheel: 60 mm across, 8 mm wide, rim 5 mm, five straight spokes 6 mm wide, hub 14 mm across
    and 8 mm wide, hole 3.2 mm (96 facets: a round bar of 3.198 mm passes) for a 3.0 mm steel rod. Hub and
    spokes reach from the bed to the top, so nothing needs support. Slip fit +0.2 mm on the rod: FACTS 3.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(wheel_solid(design))


def wheel_set(design: WheelDesign = STARTING_WHEEL, gap_mm: float = 4.0) -> MeshArrays:
    """Four of the same wheel in one file, two by two, ``gap_mm`` apart. Source: our own design.

    Returns vertices (n, 3) float64 mm and faces (m, 3) int32 of four separate bodies.
    """
    pitch = 2 * design.radius_mm + gap_mm
    vertices, faces = wheel(design)
    corners = [(x * pitch, y * pitch, 0.0) for y in (-0.5, 0.5) for x in (-0.5, 0.5)]
    return joined([(np.round(vertices + corner, 4), faces) for corner in corners])


def wheel_solid(design: WheelDesign) -> Manifold:
    """The wheel as a solid, in the pose of :func:`wheel`."""
    raised = design.hub_drop_mm
    body = rim_solid(design).translate((0, 0, raised)) + hub_solid(design)
    for arms in arm_solids(design):
        body += arms.translate((0, 0, raised + design.spoke_lift_mm))
    if design.bore_filled:
        return body
    return body - bore_solid(design)


def rim_solid(design: WheelDesign) -> Manifold:
    """The rim alone: a turned profile with chamfered outer edges and, if asked, a groove for a rubber band."""
    outer, inner, top = design.radius_mm, design.radius_mm - design.rim_mm, design.width_mm
    (low_in, low_up), (high_in, high_down) = LOWER_EDGE_MM, UPPER_EDGE_MM
    points = [(inner, 0.0), (outer - low_in, 0.0), (outer, low_up)]
    if design.groove_mm > 0:
        # Flanks rise 1.5 times as far as they go in: 34 degrees from vertical, so the upper one prints without support.
        deep, half = design.groove_mm, 1.5 * design.groove_mm
        middle = top / 2
        points += [(outer, middle - half - 0.4), (outer - deep, middle - 0.4)]
        points += [(outer - deep, middle + 0.4), (outer, middle + half + 0.4)]
    points += [(outer, top - high_down), (outer - high_in, top), (inner, top)]
    return Manifold.revolve(polygon(points), design.facets)


def hub_solid(design: WheelDesign) -> Manifold:
    """The hub without its hole."""
    return circle(design.hub_diameter_mm, design.bore_facets).extrude(design.hub_width_mm)


def bore_solid(design: WheelDesign) -> Manifold:
    """What the hole takes away: as long as the hub and more, beside the centre if the design says so."""
    length = 2 * (design.width_mm + design.hub_width_mm)
    tool = circle(design.bore_mm, design.bore_facets).extrude(length)
    return tool.translate((design.bore_offset_mm, 0, -length / 2))


def arm_solids(design: WheelDesign) -> Iterable[Manifold]:
    """Spokes one by one and the web, standing on z = 0."""
    for index in range(design.spokes):
        outline = spoke_outline(design).rotate(360 / design.spokes * index)
        yield outline.extrude(design.spoke_height_mm)
    if design.web_mm > 0:
        yield web_outline(design).extrude(design.web_mm)


def spoke_outline(design: WheelDesign) -> CrossSection:
    """One spoke from inside the hub to inside the rim, seen from above."""
    start = design.hub_diameter_mm / 2 - ROOT_MM
    end = design.radius_mm - design.rim_mm + min(ROOT_MM, design.rim_mm / 2)
    half = design.spoke_width_mm / 2
    if design.spoke_shape == "straight":
        return box((start, end), (-half, half))
    return curved_band(start, end, half, math.radians(design.spoke_sweep_deg))


def curved_band(start_mm: float, end_mm: float, half_width_mm: float, sweep_rad: float) -> CrossSection:
    """A band of constant width whose middle line turns by ``sweep_rad`` on its way out."""
    way = np.linspace(0, 1, 17)
    radius = start_mm + (end_mm - start_mm) * way
    angle = sweep_rad * way**2
    line = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    along = np.gradient(line, axis=0)
    side = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1, keepdims=True)
    outline = np.vstack([line - half_width_mm * side, (line + half_width_mm * side)[::-1]])
    return CrossSection([outline])


def web_outline(design: WheelDesign) -> CrossSection:
    """The disc between hub and rim with its round windows, seen from above."""
    inner = design.hub_diameter_mm / 2
    outer = design.radius_mm - design.rim_mm
    disc = circle(2 * outer + min(ROOT_MM, design.rim_mm), design.facets)
    if not design.windows:
        return disc
    hole = circle(design.window_diameter_mm, 32).translate(((inner + outer) / 2, 0))
    return disc - union([hole.rotate(360 / design.windows * k) for k in range(design.windows)])
