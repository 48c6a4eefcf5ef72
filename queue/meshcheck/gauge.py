"""Hold a part against its gauge: is the hole still there, and still the hole it must be?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from meshcheck.bore_gauge import judge_bore, needs_round_bar
from meshcheck.findings import make
from meshcheck.types import Basics, Finding, Gauge, Hole, HubDeviation, Mesh, Unknown, Vector, known
from meshcheck.types.bore import BoreKind
from telling import told

# Within this share of a unit's factor (and far outside any redesign) the part was read in the wrong unit.
UNIT_SHARE = 0.05
# Within this share of the wanted diameter a hole is meant to be the gauge's hole, wherever it stands.
MEANT_SHARE = 0.25
# Depth and diameter (or volume) that agree on a factor to this share show that everything was scaled together.
SCALED_SHARE = 0.02
SCALED_LEAST = 0.02
STRETCHED_LEAST = 0.01
STRETCHED_UNEVEN_LEAST = 0.05  # an ellipse also fits the unevenness of a hole that is hard to measure
# A polygon whose sides stand in by more than this jams the axle.
JAMS_SHARE = 0.05
SIZE_SLACK_MM = 0.01

_INCH = "Export the file in millimetres, or tell us that it is in inches when you hand it in."
UNIT_ERRORS: tuple[tuple[float, str, str, str], ...] = (
    (25.4, "25.4 times too large", "Millimetres were read as inches.", "Export the file in millimetres, not inches."),
    (1 / 25.4, "25.4 times too small", "It is drawn in inches.", _INCH),
    (10.0, "ten times too large", "Millimetres were read as centimetres.", "Export the file in millimetres."),
    (0.1, "ten times too small", "It is drawn in centimetres.", "Export it in millimetres, or tell us it is in cm."),
    (1000.0, "a thousand times too large", "Millimetres were read as metres.", "Export the file in millimetres."),
    (0.001, "a thousand times too small", "It is drawn in metres.", "Export it in millimetres, or tell us it is in m."),
)


@dataclass(frozen=True, slots=True)
class _Asked:
    """The gauge's hole: wanted diameter and its band, in mm."""

    wanted: float
    low: float
    high: float


def judge_gauge(
    holes: Sequence[Hole], basics: Basics, bodies: int, gauge: Gauge, *, sizes_mm: Sequence[Vector] = ()
) -> tuple[Finding, ...]:
    """What the gauge says about every hole it is held against, and about the size box.

    ``holes`` as ``find_holes`` gives them, ``bodies`` the number of separate pieces, ``sizes_mm`` the size of each
    part where the file holds several (``part_sizes``), else the whole box counts. One finding per matter, with the
    worst figure and the number of holes concerned.
    """
    findings: list[Finding] = []
    if gauge.hole_diameter_mm is not None:
        wanted = gauge.hole_diameter_mm
        asked = _Asked(wanted, wanted - gauge.hole_minus_mm, wanted + gauge.hole_plus_mm)
        gauged = gauged_holes(holes, wanted)
        findings += _count(gauged, bodies, gauge, asked)
        wrong_unit = _wrong_unit(gauged, asked)
        if wrong_unit is not None:
            return (*findings, wrong_unit)
        if gauged:
            findings += _widths(gauged, basics, gauge, asked)
            findings += _reach(gauged, gauge)
            findings += _centres(gauged, gauge)
            findings += _certainty(gauged)
    if gauge.size_max_mm is not None:
        findings.append(_size(sizes_mm or (basics.size_mm,), gauge.size_max_mm))
    return tuple(findings)


def gauged_holes(holes: Sequence[Hole], wanted_mm: float) -> tuple[Hole, ...]:
    """The hole of every wheel that the gauge is held against; without wheels the holes nearest to it in width."""

    def far(hole: Hole) -> float:
        return abs(float(np.log(hole.diameter_mm / wanted_mm)))

    near = np.log1p(MEANT_SHARE)
    chosen: list[Hole] = []
    for rim in sorted({hole.rim for hole in holes if hole.rim is not None}):
        inside = [hole for hole in holes if hole.rim == rim]
        meant = [hole for hole in inside if hole.hub or far(hole) < near]
        hub = [hole for hole in inside if hole.hub]
        if hub and far(hub[0]) < near:
            chosen.append(hub[0])
        elif meant:
            # a counterbore may be the gauge's hole; else one that was moved away from the middle
            central = [hole for hole in meant if hole.hub or _eccentricity(hole) < 0.1 * hole.diameter_mm]
            chosen.append(min(central or meant, key=far))
    if chosen:
        return tuple(chosen)
    loose = [hole for hole in holes if far(hole) < near]
    if loose:
        return tuple(loose)
    free = [hole for hole in holes if hole.rim is None]
    return (min(free, key=far),) if free else ()


def part_sizes(mesh: Mesh) -> tuple[Vector, ...]:
    """Size in mm of each separate part of a file; bodies whose boxes overlap count as one part."""
    boxes: list[tuple[np.ndarray[tuple[int], np.dtype[np.float64]], ...]] = []
    for body in np.unique(mesh.body):
        points = mesh.vertices[np.unique(mesh.faces[mesh.body == body])]
        low, high = points.min(axis=0), points.max(axis=0)
        while touching := [box for box in boxes if (box[0] <= high).all() and (low <= box[1]).all()]:
            boxes = [box for box in boxes if not any(box is other for other in touching)]
            low = np.min([low, *(box[0] for box in touching)], axis=0)
            high = np.max([high, *(box[1] for box in touching)], axis=0)
        boxes.append((low, high))
    spans = [high - low for low, high in boxes]
    return tuple((float(s[0]), float(s[1]), float(s[2])) for s in spans)


def _eccentricity(hole: Hole) -> float:
    value = known(hole.eccentricity_mm)
    return np.inf if value is None else value


def _where(bad: Sequence[Hole], gauged: Sequence[Hole]) -> str:
    """ " in 2 of 4 holes", nothing when there is only one."""
    return "" if len(gauged) == 1 else told(" in {bad} of {count} holes", bad=len(bad), count=len(gauged))


def _count(gauged: Sequence[Hole], bodies: int, gauge: Gauge, asked: _Asked) -> list[Finding]:
    if len(gauged) < max(gauge.holes_min, 1):
        return [make("hole_filled", found=len(gauged), needed=max(gauge.holes_min, 1), wanted=asked.wanted)]
    if len(gauged) < bodies:
        return [make("hole_missing_in_some", found=len(gauged), bodies=bodies)]
    return []


def _wrong_unit(gauged: Sequence[Hole], asked: _Asked) -> Finding | None:
    """The unit error that explains every hole, if there is one."""
    if not gauged:
        return None
    for factor, times, because, how in UNIT_ERRORS:
        if all(abs(hole.diameter_mm / asked.wanted / factor - 1) < UNIT_SHARE for hole in gauged):
            value = gauged[0].diameter_mm
            return make(
                "unit_scale",
                times=told(times),
                because=told(because),
                how=told(how),
                value=value,
                low=asked.low,
                high=asked.high,
            )
    return None


def _worst(holes: Sequence[Hole], figure: Callable[[Hole], float]) -> Hole:
    return max(holes, key=lambda hole: abs(figure(hole)))


def _widths(gauged: Sequence[Hole], basics: Basics, gauge: Gauge, asked: _Asked) -> list[Finding]:
    """Diameter, roundness, and what passes."""
    findings: list[Finding] = []
    stretched = [hole for hole in gauged if _stretched(hole, asked)]
    rest = [hole for hole in gauged if hole not in stretched]
    # a hole of no known shape has no diameter, unless part of it is plainly round; but it may let too thick a bar pass
    measured = [
        hole
        for hole in rest
        if hole.certain or hole.shape.kind is not BoreKind.OTHER or hole.free_diameter_mm > asked.high
    ]
    if stretched:
        hole = _worst(stretched, lambda h: _widest(h)[1] / _widest(h)[0])
        narrow, wide = _widest(hole)
        findings.append(_hole_finding("hole_stretched", hole, stretched, gauged, asked, narrow=narrow, wide=wide))
    groups = {
        "hole_too_small": [hole for hole in measured if hole.diameter_mm < asked.low],
        "hole_too_large": [hole for hole in measured if hole.diameter_mm > asked.high],
    }
    for code, bad in groups.items():
        if bad:
            hole = _worst(bad, lambda h: h.diameter_mm - asked.wanted)
            scale = hole.diameter_mm / asked.wanted
            whole = "hole_scaled" if _all_scaled(hole, scale, basics, gauge) else code
            findings.append(_hole_finding(whole, hole, bad, gauged, asked, scale=scale))
    kept = [hole for hole in measured if asked.low <= hole.diameter_mm <= asked.high]
    if kept:
        hole = _worst(kept, lambda h: h.diameter_mm - asked.wanted)
        findings.append(_hole_finding("hole_kept", hole, kept, gauged, asked))
    findings += judge_bore(rest, gauge, asked.low, len(gauged))
    return findings + _free_widths([hole for hole in kept if needs_round_bar(hole, gauge)], gauged, asked)


def _hole_finding(
    code: str, hole: Hole, concerned: Sequence[Hole], gauged: Sequence[Hole], asked: _Asked, **more: float
) -> Finding:
    where = _where(concerned, gauged)
    value = hole.diameter_mm
    return make(code, value=value, low=asked.low, high=asked.high, wanted=asked.wanted, where=where, **more)


def _free_widths(kept: Sequence[Hole], gauged: Sequence[Hole], asked: _Asked) -> list[Finding]:
    """Holes with the right circle whose flat sides leave less than the gauge allows."""
    tight = [hole for hole in kept if hole.free_diameter_mm < asked.low]
    if not tight:
        return []
    hole = min(tight, key=lambda h: h.free_diameter_mm)
    jams = hole.free_diameter_mm < (1 - JAMS_SHARE) * asked.wanted
    # what passes an uneven hole is a lower bound: it may be doubted, but nobody must mend it
    code = "hole_few_sides" if jams and hole.certain else "hole_coarse"
    where = _where(tight, gauged)
    return [make(code, value=hole.free_diameter_mm, low=asked.low, high=None, facets=hole.facets, where=where)]


def _widest(hole: Hole) -> tuple[float, float]:
    return hole.diameters_mm or (hole.diameter_mm, hole.diameter_mm)


def _stretched(hole: Hole, asked: _Asked) -> bool:
    narrow, wide = _widest(hole)
    outside = narrow < asked.low or wide > asked.high
    least = STRETCHED_LEAST if hole.certain else STRETCHED_UNEVEN_LEAST
    return outside and wide > (1 + least) * narrow


def _all_scaled(hole: Hole, scale: float, basics: Basics, gauge: Gauge) -> bool:
    """Whether depth or volume changed by the very factor of the diameter: then the whole part was scaled."""
    if abs(scale - 1) < SCALED_LEAST:
        return False
    volume = known(basics.volume_mm3)
    others = []
    if gauge.hole_depth_mm:
        others.append(hole.depth_mm / gauge.hole_depth_mm)
    if gauge.reference_volume_mm3 and volume and volume > 0:
        others.append(float(np.cbrt(volume / gauge.reference_volume_mm3)))
    return any(abs(other / scale - 1) < SCALED_SHARE for other in others)


def _reach(gauged: Sequence[Hole], gauge: Gauge) -> list[Finding]:
    """Through or blind, and how deep."""
    findings: list[Finding] = []
    if gauge.through is not None:
        wrong = [hole for hole in gauged if hole.through is not gauge.through]
        if not wrong:
            if gauge.through:
                findings.append(make("hole_through", value=gauged[0].depth_mm, where=_where(gauged, gauged)))
        else:
            hole = min(wrong, key=lambda h: h.depth_mm)
            code = "hole_open" if not gauge.through else "hole_blocked" if hole.obstructed else "hole_blind"
            findings.append(make(code, value=hole.depth_mm, where=_where(wrong, gauged)))
    if gauge.hole_depth_mm is not None:
        findings += _depths(gauged, gauge.hole_depth_mm, gauge.hole_depth_tolerance_mm)
    return findings


def _depths(gauged: Sequence[Hole], wanted: float, tolerance: float) -> list[Finding]:
    low, high = wanted - tolerance, wanted + tolerance
    groups = {
        "hole_too_short": [hole for hole in gauged if hole.depth_mm < low],
        "hole_too_deep": [hole for hole in gauged if hole.depth_mm > high],
        "hole_depth_ok": [hole for hole in gauged if low <= hole.depth_mm <= high],
    }
    findings = []
    for code, concerned in groups.items():
        if concerned:
            value = _worst(concerned, lambda h: h.depth_mm - wanted).depth_mm
            where = _where(concerned, gauged)
            findings.append(make(code, value=value, low=low, high=high, wanted=wanted, where=where))
    return findings


def _centres(gauged: Sequence[Hole], gauge: Gauge) -> list[Finding]:
    """How far the holes stand from the middle of their wheels."""
    most = gauge.eccentricity_max_mm
    if most is None:
        return []
    unknown = [hole.eccentricity_mm for hole in gauged if isinstance(hole.eccentricity_mm, Unknown)]
    if unknown:
        return [make("hole_centre_unknown", because=unknown[0].because)]
    off = [hole for hole in gauged if _eccentricity(hole) > most]
    value = max(_eccentricity(hole) for hole in gauged)
    code = "hole_off_centre" if off else "hole_central"
    # the rim's distance from the axle swings by twice the eccentricity
    return [make(code, value=value, high=most, run_out=2 * value, where=_where(off or gauged, gauged))]


def judge_hub(hub: HubDeviation | Unknown | None, gauge: Gauge) -> tuple[Finding, ...]:
    """Whether the hub lies on the kit part's, within the tolerance of its length. A difference may be meant (a chamfer,
    a wider hub), so it is advice; what must fit has findings of its own."""
    if not isinstance(hub, HubDeviation):
        return ()
    most = gauge.hole_depth_tolerance_mm
    if hub.largest_mm > most:
        x, y, z = hub.place_mm
        return (
            make(
                "hub_changed",
                value=hub.largest_mm,
                high=most,
                where=told(" at x {x:.1f}, y {y:.1f}, z {z:.1f}", x=x, y=y, z=z),
            ),
        )
    outside = known(hub.outside_mm)
    if outside is not None and abs(outside) > most:
        words = told("wider") if outside > 0 else told("narrower")
        return (make("hub_outside_changed", value=2 * abs(outside), high=2 * most, words=words),)
    return (make("hub_kept", value=hub.largest_mm, high=most),)


def _certainty(gauged: Sequence[Hole]) -> list[Finding]:
    doubtful = [hole for hole in gauged if not hole.certain]
    if not doubtful:
        return []
    hole = _worst(doubtful, lambda h: h.roundness_mm)
    where = _where(doubtful, gauged)
    return [make("hole_uncertain", value=hole.diameter_mm, roundness=hole.roundness_mm, where=where)]


def _size(sizes: Sequence[Vector], most: Vector) -> Finding:
    """The largest part of the file against the size box, longest side against longest side."""
    limits = sorted(most, reverse=True)
    over = [max(a - b for a, b in zip(sorted(size, reverse=True), limits, strict=True)) for size in sizes]
    k = int(np.argmax(over))
    size_text, most_text = (" × ".join(f"{x:.1f}" for x in sorted(v, reverse=True)) for v in (sizes[k], most))
    if over[k] > SIZE_SLACK_MM:
        return make("size_box", size=size_text, most=most_text, over=over[k])
    return make("size_box_ok", size=size_text, most=most_text)
