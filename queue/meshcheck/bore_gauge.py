"""Does the bore still have the shape of the kit part's bore: its flat, its keyway, its six sides?"""

from __future__ import annotations

from collections.abc import Sequence

from meshcheck.findings import make
from meshcheck.types import Finding, Gauge, Hole
from meshcheck.types.bore import BoreKind, BoreShape
from telling import chained, told

NAMES = {
    BoreKind.ROUND: "round",
    BoreKind.D: "a D (round with one flat)",
    BoreKind.DOUBLE_D: "a double D (round with two flats)",
    BoreKind.KEYED: "round with a keyway",
    BoreKind.HEXAGONAL: "hexagonal",
    BoreKind.SQUARE: "square",
    BoreKind.TAPERED: "tapered",
    BoreKind.OTHER: "neither round nor any usual shape",
}
DRIVES = "The axle drives the part by that shape. Without it the axle turns and the part stands still."
BLOCKS = "The round axle cannot pass: only a bar of {free:.2f} mm does."
TAPERS = "The axle touches the narrow end only, so the part can wobble on it."
LOOSE = "The kit part's hole is plainly round, and nothing on the axle fits this shape."
FLATS = (BoreKind.D, BoreKind.DOUBLE_D, BoreKind.HEXAGONAL, BoreKind.SQUARE)


def judge_bore(holes: Sequence[Hole], gauge: Gauge, low_mm: float, total: int) -> list[Finding]:
    """What is said about the shape of the bores, one finding per matter. ``low_mm`` is the narrowest diameter allowed;
    ``total`` how many holes the gauge is held against. Of round ones hard to measure another finding tells."""
    sure = [hole for hole in holes if hole.certain or hole.shape.kind is BoreKind.OTHER]
    wanted = BoreKind(gauge.bore_kind) if gauge.bore_kind else BoreKind.ROUND
    # six sides asked as a circle are a coarse circle, which the free width judges
    plain = (wanted, BoreKind.HEXAGONAL) if wanted is BoreKind.ROUND else (wanted,)
    changed = [hole for hole in sure if hole.shape.kind not in plain and not _hardly_tapers(hole, gauge)]
    findings = []
    if gauge.bore_kind is None:  # the shape was not asked: only what stops the axle counts
        changed = [hole for hole in changed if hole.free_diameter_mm < low_mm]
        tapers = [
            hole for hole in sure if hole.shape.kind is BoreKind.TAPERED and hole.free_diameter_mm >= low_mm
            and not _hardly_tapers(hole, gauge)
        ]  # fmt: skip
        findings += [_tapers(tapers, total)] if tapers else []
    findings += [_changed(changed, wanted, low_mm, total)] if changed else []
    same = [hole for hole in sure if hole.shape.kind is wanted]
    if wanted is not BoreKind.ROUND and same:
        findings += _measures(same, gauge, wanted, total)
    return findings


def _hardly_tapers(hole: Hole, gauge: Gauge) -> bool:
    """Whether both ends of a tapered hole differ by less than what is allowed."""
    wide = hole.shape.wide_mm
    return wide is not None and wide - hole.diameter_mm <= gauge.hole_plus_mm + gauge.hole_minus_mm


def needs_round_bar(hole: Hole, gauge: Gauge) -> bool:
    """Whether what passes a hole is to be held against the gauge's circle: not where flats are asked for, and not
    where the shape itself is already said to be another one."""
    kind = hole.shape.kind
    return gauge.bore_kind in (None, BoreKind.ROUND, BoreKind.KEYED) and kind in (
        BoreKind.ROUND, BoreKind.KEYED, BoreKind.HEXAGONAL, BoreKind.TAPERED,
    )  # fmt: skip


def in_words(shape: BoreShape) -> str:
    """A bore's shape with its measures: "hexagonal, 6.35 mm across flats"."""
    words: list[str] = [told(NAMES[shape.kind])]
    if shape.across_flats_mm is not None:
        across = "{mm:.2f} mm across the flat" if shape.kind is BoreKind.D else "{mm:.2f} mm across flats"
        words.append(told(across, mm=shape.across_flats_mm))
    if shape.wide_mm is not None:
        words.append(told("{mm:.2f} mm at the wide end", mm=shape.wide_mm))
    if shape.keyway_width_mm is not None and shape.keyway_depth_mm is not None:
        keyway = "{width:.2f} mm wide and {depth:.2f} mm deep"
        words.append(told(keyway, width=shape.keyway_width_mm, depth=shape.keyway_depth_mm))
    return chained(words)


def _where(concerned: Sequence[Hole], total: int) -> str:
    return "" if total == 1 else told(" in {bad} of {count} holes", bad=len(concerned), count=total)


def _changed(changed: Sequence[Hole], wanted: BoreKind, low_mm: float, total: int) -> Finding:
    hole = min(changed, key=lambda h: h.free_diameter_mm)
    because = told(DRIVES)
    if wanted is BoreKind.ROUND:
        loose = TAPERS if hole.shape.kind is BoreKind.TAPERED else LOOSE
        because = told(BLOCKS, free=hole.free_diameter_mm) if hole.free_diameter_mm < low_mm else told(loose)
    return make(
        "bore_shape_changed",
        found=in_words(hole.shape),
        wanted_shape=told(NAMES[wanted]),
        because=because,
        where=_where(changed, total),
    )


def _tapers(tapers: Sequence[Hole], total: int) -> Finding:
    hole = max(tapers, key=lambda h: (h.shape.wide_mm or 0.0) - h.diameter_mm)
    return make("bore_tapers", value=hole.diameter_mm, wide=hole.shape.wide_mm, where=_where(tapers, total))


def _measures(same: Sequence[Hole], gauge: Gauge, wanted: BoreKind, total: int) -> list[Finding]:
    """Flats and keyways against the kit part's, with the tolerances of the hole."""
    wrong: list[Hole] = []
    findings: list[Finding] = []
    if wanted in FLATS and gauge.bore_across_mm is not None:
        low, high = gauge.bore_across_mm - gauge.hole_minus_mm, gauge.bore_across_mm + gauge.hole_plus_mm
        asked = gauge.bore_across_mm
        wrong = [hole for hole in same if not low <= (hole.shape.across_flats_mm or 0.0) <= high]
        if wrong:
            value = max((hole.shape.across_flats_mm or 0.0 for hole in wrong), key=lambda across: abs(across - asked))
            where = _where(wrong, total)
            findings.append(make("bore_flat_moved", value=value, low=low, high=high, wanted=asked, where=where))
    if wanted is BoreKind.KEYED and gauge.keyway_width_mm is not None and gauge.keyway_depth_mm is not None:
        wrong = [hole for hole in same if not _keyway_kept(hole.shape, gauge)]
        if wrong:
            findings.append(
                make(
                    "bore_keyway_changed",
                    found=in_words(wrong[0].shape),
                    width=gauge.keyway_width_mm,
                    depth=gauge.keyway_depth_mm,
                    where=_where(wrong, total),
                )
            )
    kept = [hole for hole in same if not any(hole is other for other in wrong)]
    if kept:
        findings.append(make("bore_shape_kept", found=in_words(kept[0].shape), where=_where(kept, total)))
    return findings


def _keyway_kept(shape: BoreShape, gauge: Gauge) -> bool:
    pairs = ((shape.keyway_width_mm, gauge.keyway_width_mm), (shape.keyway_depth_mm, gauge.keyway_depth_mm))
    return all(
        found is not None and asked is not None and -gauge.hole_minus_mm <= found - asked <= gauge.hole_plus_mm
        for found, asked in pairs
    )
