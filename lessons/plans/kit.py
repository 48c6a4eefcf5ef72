"""What a kit's pages need beside its rows: where a part is used, the gauge its mesh proposes, what changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from lessons.models import Assignment, KitPart, PartGauge
from makerlab.audit.models import Event
from makerlab.components.figures import grams, hours_and_minutes, millimetres

GAUGE_FIELDS = (
    "hole_diameter_mm", "hole_plus_mm", "hole_minus_mm", "hole_depth_mm", "hole_depth_tolerance_mm", "through",
    "eccentricity_max_mm", "size_x_mm", "size_y_mm", "size_z_mm", "hub_diameter_mm",
)  # fmt: skip
OWN = ("name", "task", "copies_per_team", "spares", "material", "colour", "redesignable")
# what a proposed gauge allows where the mesh cannot say it (the values the demo's kit was printed with; common
# practice, no source)
ECCENTRICITY_MAX_MM, BOX_SLACK_MM = 0.2, 0.5


@dataclass(frozen=True, slots=True)
class UseCounts:
    """What higher layers know: files teams uploaded, copies ordered and not printed yet, copies printed."""

    files: int = 0
    ordered: int = 0
    printed: int = 0


use_sources: list[Callable[[KitPart], UseCounts]] = []  # printing puts its own here when it starts


@dataclass(frozen=True, slots=True)
class PartUse:
    """Where a part is used: classes that have its lesson, and the counts."""

    classes: tuple[str, ...]
    counts: UseCounts

    @property
    def is_used(self) -> bool:
        return bool(self.classes) or self.counts != UseCounts()

    @property
    def told(self) -> list[str]:
        """In sentences, with what a change does to each."""
        said = []
        if self.classes:
            names = {"names": ", ".join(self.classes)}
            said.append(_("Given to %(names)s: they get the part as it is from now on.") % names)
        counts = self.counts
        for count, one, many in (
            (
                counts.files,
                _("%(n)d file of a team is held against it and is checked again."),
                _("%(n)d files of teams are held against it and are checked again."),
            ),
            (
                counts.ordered,
                _("%(n)d copy is ordered and not printed: it is printed as the part is then."),
                _("%(n)d copies are ordered and not printed: they are printed as the part is then."),
            ),
            (
                counts.printed,
                _("%(n)d copy is printed already and stays as it is."),
                _("%(n)d copies are printed already and stay as they are."),
            ),
        ):
            if count:
                said.append((one if count == 1 else many) % {"n": count})
        return said


def use_of(part: KitPart) -> PartUse:
    """Asked of every layer that counts."""
    given = Assignment.objects.filter(plan_id=part.plan_id).select_related("school_class")
    classes = tuple(sorted({each.school_class.name for each in given}))
    counts = [source(part) for source in use_sources]
    total = UseCounts(*(sum(getattr(each, name) for each in counts) for name in ("files", "ordered", "printed")))
    return PartUse(classes, total)


def fingerprint(part: KitPart) -> str:
    """Tells the part somebody looked at from the part as it stands now."""
    gauge = getattr(part, "gauge", None)
    values = [
        part.sha256, part.pose, part.unit, part.archived_at is None, *(getattr(part, name) for name in OWN),
        gauge_values(gauge) if gauge else None,
    ]  # fmt: skip
    return hashlib.sha256(json.dumps(values, default=str).encode()).hexdigest()[:16]


def gauge_values(gauge: PartGauge) -> dict[str, Any]:
    return {name: getattr(gauge, name) for name in GAUGE_FIELDS}


def no_gauge() -> dict[str, Any]:
    """A gauge that asks nothing, with the usual tolerances."""
    return {**gauge_values(PartGauge()), "through": None}


@dataclass(frozen=True, slots=True)
class Proposal:
    """A gauge for one of the holes found, or for the box alone; ``why`` says what it rests on."""

    number: int
    why: str
    values: dict[str, Any]


def proposals(part: KitPart) -> list[Proposal]:
    """Gauges the measured mesh proposes, the most likely first: round holes that were measured for sure, nearest the
    middle; last the box alone. Empty while nothing is measured."""
    report = part.report or {}
    box = report.get("bbox_mm")
    if not box:
        return []
    box = [round(side + BOX_SLACK_MM, 1) for side in box]
    sizes = {"size_x_mm": box[0], "size_y_mm": box[1], "size_z_mm": box[2]}
    holes = sorted(report.get("holes") or [], key=_likely)
    found = [Proposal(n, _hole_words(hole), {**_hole_gauge(hole), **sizes}) for n, hole in enumerate(holes, 1)]
    return [*found, Proposal(0, _("no hole; the part must only stay within its size"), {**_hole_gauge(None), **sizes})]


def _likely(hole: Mapping[str, Any]) -> tuple[bool, bool, float]:
    return not hole["certain"], hole["eccentricity_mm"] is None, hole["eccentricity_mm"] or 0.0


def _hole_gauge(hole: Mapping[str, Any] | None) -> dict[str, Any]:
    if hole is None:
        return no_gauge()
    centred = hole["eccentricity_mm"] is not None and hole["eccentricity_mm"] <= ECCENTRICITY_MAX_MM
    return {
        **no_gauge(),
        "hole_diameter_mm": round(hole["diameter_mm"], 2),
        "hole_depth_mm": round(hole["depth_mm"], 2),
        "through": bool(hole["through"]),
        "eccentricity_max_mm": ECCENTRICITY_MAX_MM if centred else None,
    }


def _hole_words(hole: Mapping[str, Any]) -> str:
    shape = (hole.get("shape") or {}).get("kind", "round")
    said = [
        _("hole of %(width)s, %(depth)s deep") % {
            "width": millimetres(hole["diameter_mm"]), "depth": millimetres(hole["depth_mm"]),
        },
        _("right through") if hole["through"] else _("closed at one end"),
    ]  # fmt: skip
    if shape != "round":
        said.append(_("not round: %(shape)s") % {"shape": str(shape).replace("_", " ")})
    if hole["eccentricity_mm"] is not None:
        said.append(_("%(off)s off the middle of the rim") % {"off": millimetres(hole["eccentricity_mm"])})
    if not hole["certain"]:
        said.append(_("hard to measure: check it with calipers"))
    return ", ".join(said)


def figures_of(part: KitPart) -> dict[str, Any]:
    """What was measured, in short; kept when the mesh is replaced."""
    report = part.report or {}
    holes = [hole["diameter_mm"] for hole in report.get("holes") or [] if hole["certain"]]
    return {
        "file": part.file_name, "mass_g": part.mass_g, "duration_s": part.duration_s, "size_mm": report.get("bbox_mm"),
        "holes_mm": holes[:8], "verdict": part.verdict,
    }  # fmt: skip


def differences(before: Mapping[str, Any], part: KitPart) -> list[str]:
    """What a new mesh changed, in sentences; empty when all figures are the same."""
    now = figures_of(part)
    rows = (
        (_("mass"), grams(before.get("mass_g")), grams(now["mass_g"])),
        (_("printing time"), hours_and_minutes(before.get("duration_s")), hours_and_minutes(now["duration_s"])),
        (_("size"), _sizes(before.get("size_mm")), _sizes(now["size_mm"])),
        (_("holes"), _sizes(before.get("holes_mm"), ", "), _sizes(now["holes_mm"], ", ")),
    )
    return [_("%(what)s: %(before)s, now %(now)s") % {"what": w, "before": b, "now": n} for w, b, n in rows if b != n]


def _sizes(sizes: Sequence[float] | None, between: str = " × ") -> str:
    return between.join(millimetres(size, 1 if between == " × " else 2) for size in sizes) if sizes else _("none")


def last_mesh_change(part: KitPart) -> dict[str, Any] | None:
    """The figures from before the newest replacing of the mesh, None when it was never replaced."""
    rows = Event.objects.filter(verb="replace_kit_mesh", subject_kind="kitpart", subject_id=str(part.pk))
    event = rows.first()
    return dict(event.facts["before"]) if event else None
