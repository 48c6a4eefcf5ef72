"""The plan as it is and as it would be, side by side, in words and shapes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from makerlab.components.figures import day_clock, grams, hours_and_minutes
from makerlab.work.models import Job
from printing.actions.whatif import WHAT_IF
from printing.chance import in_100
from printing.forecast_page import teams_of
from printing.models import WhatIf
from printing.whatif.words import Names

EVEN_IN_100 = 1  # played courses scatter
EVEN_MIN = 5
Mark = tuple[str, str, str]


@dataclass(frozen=True)
class Row:
    """One figure: as it is, as it would be, and the difference as word and shape."""

    name: str
    now: str
    then: str
    mark: Mark


@dataclass(frozen=True)
class ClassRows:
    """The figures of one class."""

    name: str
    now_in_100: int | None
    then_in_100: int | None
    rows: tuple[Row, ...]
    mark: Mark


@dataclass(frozen=True)
class Comparison:
    """Both plans."""

    classes: tuple[ClassRows, ...]
    room: tuple[Row, ...]
    made_at: datetime | None
    seconds: float


def comparison(row: WhatIf, names: Names) -> Comparison | None:
    """None while it is not worked out. Classes the reader may not see are left out."""
    answer = row.answer
    if "then" not in answer:
        return None
    now, then = answer["now"], answer["then"]
    classes = [
        _class(names.classes[int(key)], now["classes"].get(key), then["classes"].get(key))
        for key in sorted({*now["classes"], *then["classes"]}, key=int)
        if int(key) in names.classes
    ]
    return Comparison(tuple(classes), tuple(_room(now, then)), _moment(answer["made_at"]), answer["seconds"])


def _moment(text: str | None) -> datetime | None:
    return parse_datetime(text) if text else None


def better(gain: float, even: float, more: str, less: str) -> Mark:
    """A difference where more is better: tone, shape and words."""
    if gain > even:
        return ("good", "up", more)
    if gain < -even:
        return ("bad", "down", less)
    return ("plain", "s-wait", _("the same"))


def _class(name: str, now: dict[str, Any] | None, then: dict[str, Any] | None) -> ClassRows:
    mine, other = now or {}, then or {}
    before, after = in_100(mine.get("chance")), in_100(other.get("chance"))
    gain = (after or 0) - (before or 0)
    mark = better(
        gain, EVEN_IN_100, _("%(gain)d in 100 more") % {"gain": gain}, _("%(gain)d in 100 less") % {"gain": -gain}
    )
    rows = (
        _time(_("Lab day begins"), mine.get("deadline"), other.get("deadline"), plain=True),
        _time(_("Everything there, as likely as not"), mine.get("likely_at"), other.get("likely_at")),
        _time(_("Everything there, nine times of ten"), mine.get("nearly_sure_at"), other.get("nearly_sure_at")),
        _expected(mine, other),
        _count(_("Late by the plan"), mine.get("late_kits", 0), other.get("late_kits", 0)),
    )
    return ClassRows(name, before, after, rows, mark)


def _time(name: str, now: str | None, then: str | None, plain: bool = False) -> Row:
    before, after = _moment(now), _moment(then)
    words = [day_clock(at) if at else _("not within the days planned") for at in (before, after)]
    if before and after:
        minutes = (before - after).total_seconds() / 60
        time = hours_and_minutes(abs(minutes) * 60)
        earlier, later = _("%(time)s earlier") % {"time": time}, _("%(time)s later") % {"time": time}
        mark = better(minutes, EVEN_MIN, earlier, later)
        if plain and mark[0] != "plain":
            mark = ("plain", mark[1], mark[2])
    elif before or after:
        mark = better(1 if after else -1, 0, _("found a time"), _("no time found"))
    else:
        mark = better(0, 0, "", "")
    return Row(name, words[0], words[1], mark)


def _expected(now: dict[str, Any], then: dict[str, Any]) -> Row:
    def words(side: dict[str, Any]) -> str:
        if not side:
            return "–"
        return teams_of(side["expected_kits"], side["kits"])

    gain = then.get("expected_kits", 0) - now.get("expected_kits", 0)
    shown = number_format(round(abs(gain), 1), 1)
    mark = better(gain, 0.05, _("%(count)s more") % {"count": shown}, _("%(count)s fewer") % {"count": shown})
    return Row(_("Complete in time, on average"), words(now), words(then), mark)


def _count(name: str, now: int, then: int) -> Row:
    """Fewer is better."""
    gain = now - then
    fewer = ngettext("%(count)d fewer", "%(count)d fewer", abs(gain)) % {"count": abs(gain)}
    more = ngettext("%(count)d more", "%(count)d more", abs(gain)) % {"count": abs(gain)}
    mark = better(gain, 0, fewer, more)
    return Row(name, str(now), str(then), (mark[0], {"up": "down", "down": "up"}.get(mark[1], mark[1]), mark[2]))


def _room(now: dict[str, Any], then: dict[str, Any]) -> list[Row]:
    rows = [
        _count(_("Plates"), now["plates"], then["plates"]),
        _count(_("Copies without a place"), now["unplaced"], then["unplaced"]),
        _count(_("Late teams, all classes"), now["late_kits"], then["late_kits"]),
        _less(_("Hands"), now["staff_min"], then["staff_min"], lambda minutes: hours_and_minutes(minutes * 60)),
        _count(_("Swaps of spools"), now["swaps"], then["swaps"]),
        _less(_("Filament"), now["mass_g"], then["mass_g"], grams),
        _time(_("All done"), now["done_at"], then["done_at"]),
    ]
    return rows


def _less(name: str, now: float, then: float, words: Any) -> Row:
    """Less is better."""
    gain = now - then
    shown = words(abs(gain))
    mark = better(gain, 0.05, _("%(figure)s less") % {"figure": shown}, _("%(figure)s more") % {"figure": shown})
    return Row(name, words(now), words(then), (mark[0], {"up": "down", "down": "up"}.get(mark[1], mark[1]), mark[2]))


def newest_job(row: WhatIf) -> Job | None:
    """The work that plans it, or did."""
    return Job.objects.filter(kind=WHAT_IF, subject=str(row.pk)).order_by("-id").first()
