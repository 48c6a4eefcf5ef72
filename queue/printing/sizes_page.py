"""The table of plate sizes in words: what each costs, and which the plan recommends."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import Assignment
from makerlab.accounts.models import User
from makerlab.components.figures import day_clock, hours_and_minutes
from printing.chance import in_100
from printing.models import Room, RoomPlan
from printing.planner.ways import WAYS, Way

KEPT = "kept"
WORTH_TELLING_S = 900  # a plan that is done a quarter of an hour later costs nothing worth a word


@dataclass(frozen=True)
class ClassChance:
    """How sure a class of the reader's is in this way."""

    name: str
    in_100: int


@dataclass(frozen=True)
class SizeRow:
    """One way of laying out. ``wanted``: chosen by staff; ``costs``: against the recommended row."""

    code: str
    words: str
    figures: dict[str, Any]
    done_at: datetime | None
    chance_in_100: int | None
    classes: tuple[ClassChance, ...]
    chosen: bool
    recommended: bool
    wanted: bool
    costs: str


def way_words(code: str) -> str:
    """A way of laying out as the page calls it."""
    way = next((way for way in WAYS if way.code == code), None)
    return _("as it is, new copies added") if way is None else _of_way(way)


def _of_way(way: Way) -> str:
    if way.per_plate_max is None:
        size = _("as many as fit")
    else:
        size = _("up to %(count)d on a plate") % {"count": way.per_plate_max}
    if way.kits_together:
        size = _("%(size)s, a team's parts together") % {"size": size}
    return _("%(size)s, each for its own bed") % {"size": size} if way.shared_out else size


def codes() -> tuple[str, ...]:
    """What may be chosen; empty: the best."""
    return ("", *(way.code for way in WAYS))


def size_rows(room: Room, user: User, plan: RoomPlan | None, names: dict[str, str] | None = None) -> list[SizeRow]:
    """The rows that were planned and played, the plan's own first: the best way of each plate size. Classes are those
    the person may see; ``names``: of their classes by assignment, where the caller has read them."""
    sizes = [size for size in (plan.facts.get("sizes", []) if plan else []) if "code" in size and not size["rough"]]
    if names is None:
        groups = {int(key) for size in sizes for key in size["group"]}
        given = Assignment.objects.visible_to(user).filter(pk__in=groups).select_related("school_class")
        names = {str(assignment.pk): str(assignment.school_class) for assignment in given}
    best = next((size for size in sizes if size["recommended"]), None)
    rows = [_row(room, plan, size, best, names) for size in sizes]
    return sorted(rows, key=lambda row: (not row.chosen, row.figures["plates"]))


def _row(
    room: Room, plan: RoomPlan | None, size: dict[str, Any], best: dict[str, Any] | None, names: dict[str, str]
) -> SizeRow:
    laid_as = (plan.facts.get("laid_as") if plan else "") or ""
    words = way_words(size["code"])
    if size["code"] == KEPT and laid_as:
        words = _("as it is, new copies added (%(way)s)") % {"way": way_words(laid_as)}
    classes = [
        ClassChance(names[key], shown)
        for key, chance in sorted(size["group"].items())
        if key in names and (shown := in_100(chance)) is not None
    ]
    return SizeRow(
        code=size["code"],
        words=words,
        figures=size,
        done_at=parse_datetime(size["done_at"]),
        chance_in_100=in_100(size["chance"]),
        classes=tuple(classes),
        chosen=size["chosen"],
        recommended=size["recommended"],
        wanted=bool(room.plate_size) and room.plate_size in {size["code"], laid_as if size["code"] == KEPT else ""},
        costs=costs(size, best) if best and size["code"] != best["code"] else "",
    )


def costs(size: dict[str, Any], best: dict[str, Any]) -> str:
    """What a way costs, and brings, against the recommended one: "3 more starts, 45 min more of hands"."""
    parts = [
        _count(size["plates"] - best["plates"]),
        _staff(size["staff_min"] - best["staff_min"]),
        _late(size["late_kits"] - best["late_kits"]),
        _done(parse_datetime(size["done_at"]), parse_datetime(best["done_at"])),
        _chance(in_100(size["chance"]), in_100(best["chance"])),
    ]
    return ", ".join(part for part in parts if part) or _("no difference worth telling")


def _count(more: int) -> str:
    if not more:
        return ""
    if more > 0:
        return ngettext("one more start", "%(count)d more starts", more) % {"count": more}
    return ngettext("one start fewer", "%(count)d starts fewer", -more) % {"count": -more}


def _staff(more_min: int) -> str:
    if not more_min:
        return ""
    time = hours_and_minutes(abs(more_min) * 60)
    return (
        _("%(time)s more of hands") % {"time": time} if more_min > 0 else _("%(time)s less of hands") % {"time": time}
    )


def _late(more: int) -> str:
    if not more:
        return ""
    if more > 0:
        return ngettext("one more team late", "%(count)d more teams late", more) % {"count": more}
    return ngettext("one team fewer late", "%(count)d teams fewer late", -more) % {"count": -more}


def _done(at: datetime | None, best: datetime | None) -> str:
    if at is None or best is None or abs((at - best).total_seconds()) < WORTH_TELLING_S:
        return ""
    return _("done %(when)s") % {"when": day_clock(at)}


def _chance(mine: int | None, best: int | None) -> str:
    if mine is None or best is None or mine == best:
        return ""
    return _("%(mine)d in 100 instead of %(best)d") % {"mine": mine, "best": best}
