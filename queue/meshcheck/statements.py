"""What is said about a measured part: one statement after the other, and the verdict in one sentence."""

from __future__ import annotations

from collections.abc import Iterable

from meshcheck.bridges import BRIDGE_MM
from meshcheck.estimate import AUTO_SUPPORT_MM2
from meshcheck.features import HOLE_LEAST_MM, PIN_LEAST_MM
from meshcheck.findings import from_note, make
from meshcheck.gauge import judge_gauge, judge_hub
from meshcheck.materials import MATERIALS
from meshcheck.measuring import Measured
from meshcheck.orientation import AS_DRAWN
from meshcheck.resting import TIP_LEAST_DEG
from meshcheck.types import (
    Finding,
    Gauge,
    Level,
    Limits,
    PrintSettings,
    SmallFeature,
    Support,
    Turn,
    Unknown,
    Vector,
    Walls,
    known,
)
from meshcheck.units import UNIT_NAMES
from telling import chained, told

# Only one line of plastic fits in a wall of fewer lines than this (common practice, no source).
ONE_LINE_BELOW = 1.5
CROSSING_ROOM_MM3 = 0.5  # enclosed twice: less than a drop of plastic, and nobody will see it
MAINLY = 0.9  # cosine of the angle within which a face is called after an axis of the drawing


def statements(found: Measured, gauge: Gauge | None, settings: PrintSettings, limits: Limits) -> Iterable[Finding]:
    yield from map(from_note, found.raw.notes)
    yield from _skin(found)
    if found.judged.proposed is not None:
        # every other figure would be judged in the wrong unit and only confuse
        unit_name = told(UNIT_NAMES[found.judged.proposed])
        yield make("unit_proposed", unit_name=unit_name, because=found.judged.reason)
        return
    yield make("unit_taken", unit_name=told(UNIT_NAMES[found.judged.unit]), because=found.judged.reason)
    if gauge is not None:
        yield from judge_gauge(found.holes, found.basics, found.pieces, gauge, sizes_mm=found.sizes_mm)
        yield from judge_hub(found.hub, gauge)
    yield from _bed(found.basics.size_mm, limits.bed_mm)
    yield from _walls(found.walls, settings.line_width_mm)
    yield from _small(found.small)
    yield _undersides(found.support, settings)
    if found.support.bridges:
        yield make("bridged", value=found.support.bridges[0].span_mm, high=BRIDGE_MM)
    yield from _lying(found.turn)
    yield from _amounts(found, limits)


def _skin(found: Measured) -> Iterable[Finding]:
    topology = found.topology
    if topology.watertight:
        yield make("closed", faces=topology.faces)
    if topology.open_edges:
        yield make("not_closed", open_edges=topology.open_edges)
    if topology.crowded_edges:
        yield make("crowded_edges", crowded_edges=topology.crowded_edges)
    if topology.flipped_edges:
        yield make("winding_mixed", flipped_edges=topology.flipped_edges)
    elif topology.watertight:
        yield make("winding_consistent")
    yield from _through_itself(found)
    if topology.turned_bodies:
        yield make("inside_out_turned", turned_bodies=topology.turned_bodies)
    if topology.welded:
        yield make("welded")
    if topology.zero_area_faces:
        yield make("zero_area_faces", zero_area_faces=topology.zero_area_faces)
    if topology.overlapping_bodies:
        yield make("overlapping_bodies", bodies=topology.bodies)
    if found.pieces > 1 and found.copies == 1:
        yield make("several_bodies", bodies=found.pieces)


def _through_itself(found: Measured) -> Iterable[Finding]:
    """Whether the skin crosses itself, how much room that concerns, and where."""
    crossings, basics = found.crossings, found.basics
    if crossings is None or isinstance(basics.volume_mm3, Unknown):
        return
    where = _near(crossings.place_mm)
    if basics.inverted_mm3 > CROSSING_ROOM_MM3:
        yield make("partly_inside_out", room_mm3=basics.inverted_mm3, where=where)
    if basics.doubled_mm3 > CROSSING_ROOM_MM3:
        yield make("skin_crosses", length_mm=crossings.length_mm, room_mm3=basics.doubled_mm3, where=where)
    elif crossings.length_mm > 0 and basics.inverted_mm3 <= CROSSING_ROOM_MM3:
        yield make("skin_grazes", length_mm=crossings.length_mm, where=where)
    elif not crossings.complete:
        yield make(
            "not_measured",
            what=told("Whether the skin crosses itself"),
            because=told("its faces lie too close together"),
        )


def _near(place_mm: Vector | None) -> str:
    if place_mm is None:
        return ""
    x, y, z = place_mm
    return told(", near x {x:.1f}, y {y:.1f}, z {z:.1f}", x=x, y=y, z=z)


def _bed(size_mm: Vector, bed_mm: Vector | None) -> Iterable[Finding]:
    """Whether the part fits the largest bed lying in its own pose: it may be turned about the upright axis only."""
    if bed_mm is None:
        return
    fits = size_mm[2] <= bed_mm[2] and all(
        side <= most for side, most in zip(sorted(size_mm[:2]), sorted(bed_mm[:2]), strict=True)
    )
    yield make("fits_bed" if fits else "too_big_for_bed", size=_box(size_mm), most=_box(bed_mm))


def _walls(walls: Walls, line_width_mm: float) -> Iterable[Finding]:
    if walls.none:
        yield make("walls_none")
        return
    if isinstance(walls.thinnest_mm, Unknown):
        yield make("not_measured", what=told("The walls"), because=walls.thinnest_mm.because)
        return
    thinnest = walls.thinnest_mm
    if thinnest < line_width_mm:
        code = "walls_vanish"
    elif thinnest < ONE_LINE_BELOW * line_width_mm:
        code = "walls_one_line"
    elif thinnest < walls.limit_mm:
        code = "thin_walls"
    else:
        code = "walls_ok"
    yield make(code, value=thinnest, low=walls.limit_mm, line_width=line_width_mm)


def _undersides(support: Support, settings: PrintSettings) -> Finding:
    if support.overhang_area_mm2 <= AUTO_SUPPORT_MM2:
        return make("undersides_ok", limit_deg=support.limit_deg)
    volume = known(support.volume_mm3)
    if volume is None:
        words = told("support not known")
    elif settings.support == "off":
        words = told("and this part is printed without support")
    else:
        grams = volume * settings.support_share * MATERIALS[settings.material].density_g_cm3 / 1000
        some = "{grams:.1f} g of support" if grams >= 0.05 else "less than 0.1 g of support"
        words = told(some, grams=grams)
    area_cm2 = support.overhang_area_mm2 / 100
    return make("steep_underside", area_cm2=area_cm2, limit_deg=support.limit_deg, support=words)


def _small(features: tuple[SmallFeature, ...]) -> Iterable[Finding]:
    """The narrowest pin and the narrowest hole, and where they are."""
    for kind, code, least in (("pin", "small_pin", PIN_LEAST_MM), ("hole", "small_hole", HOLE_LEAST_MM)):
        concerned = [feature for feature in features if feature.kind == kind]
        if concerned:
            x, y, z = concerned[0].place_mm
            more = told(", the thinnest of {count}", count=len(concerned)) if len(concerned) > 1 else ""
            where = told(" at x {x:.1f}, y {y:.1f}, z {z:.1f}{more}", x=x, y=y, z=z, more=more)
            yield make(code, value=concerned[0].diameter_mm, low=least, where=where)


def _lying(turn: Turn | Unknown) -> Iterable[Finding]:
    """Whether the part is better laid on another face, and whether it stands at all."""
    if isinstance(turn, Unknown):
        return
    if turn.pose.rotation != AS_DRAWN:
        saved = [told("{grams:.1f} g", grams=turn.saves_g)] if turn.saves_g >= 0.05 else []
        saved += [told("{minutes:.0f} min", minutes=turn.saves_min)] if turn.saves_min >= 0.5 else []
        words = chained(saved, "{first} and {rest}") if saved else told("the risk that it fails")
        yield make("turn_it", saved=words, because=turn.why, face=_face_words(turn.pose.rotation[2]))
    if turn.pose.tip_deg < TIP_LEAST_DEG:
        yield make("no_flat_side", value=turn.pose.tip_deg, low=TIP_LEAST_DEG)


def _face_words(upward: Vector) -> str:
    """The face that looks down in a pose, by where it looks in the drawing; ``upward`` is what looks up then."""
    k = max(range(3), key=lambda axis: abs(upward[axis]))
    if abs(upward[k]) < MAINLY:
        return told("the slanted face")
    sign = "-" if upward[k] > 0 else "+"
    if k == 2:
        return told("the top") if sign == "+" else told("the bottom")
    return told("the side at {axis}", axis=f"{sign}{'xyz'[k]}")


def _amounts(found: Measured, limits: Limits) -> Iterable[Finding]:
    """Grams and minutes against what the assignment allows for each part of the file."""
    if isinstance(found.estimate, Unknown):
        yield make("volume_unknown", because=found.estimate.because)
        return
    each_g = (found.estimate.mass_g + found.estimate.support_g) / found.copies
    printing_s = (found.estimate.duration_s - found.estimate.heat_up_s) / found.copies
    each_min = (printing_s + found.estimate.heat_up_s) / 60
    if limits.mass_g is not None:
        code = "light_enough" if each_g <= limits.mass_g else "too_heavy"
        yield make(code, value=each_g, high=limits.mass_g)
    if limits.duration_s is not None:
        code = "quick_enough" if each_min <= limits.duration_s / 60 else "too_long"
        yield make(code, value=each_min, high=limits.duration_s / 60)


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """What must be fixed first, then advice, then what passes."""
    order = [Level.MUST_FIX, Level.ADVICE, Level.PASSES]
    return tuple(sorted(findings, key=lambda finding: order.index(finding.level)))


def sentence(level: Level, findings: tuple[Finding, ...]) -> str:
    """The verdict in one sentence; a single thing to fix is named."""
    concerned = [finding for finding in findings if finding.level is level]
    if level is Level.PASSES:
        return told("Ready to print: every check passes.")
    if level is Level.ADVICE:
        if len(concerned) == 1:
            return told("Can print, with one piece of advice.")
        return told("Can print, with {count} pieces of advice.", count=len(concerned))
    title = concerned[0].title
    if len(concerned) == 1:
        return f"One thing must be fixed: {title[0].lower()}{title[1:]}."
    return f"{len(concerned)} things must be fixed. First: {title[0].lower()}{title[1:]}."


def _box(size_mm: Vector) -> str:
    return " × ".join(f"{side:.1f}" for side in size_mm)
