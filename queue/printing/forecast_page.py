"""How sure each lab day is, in words: chance, when everything is likely there, the worst failure, what would help."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import Assignment
from makerlab.accounts.models import User
from makerlab.components.figures import day_clock, grams, hours_and_minutes, short_day
from printing.chance import in_100
from printing.models import Plate, Printer, Room, RoomPlan
from printing.planner.values import LIGHT_INFILL

EVEN = 1  # a chance that differs by no more than this in 100 is the same: played courses scatter
TEAMS_NAMED = 3


@dataclass(frozen=True)
class Remedy:
    """Something that would help, or not: ``gain`` in 100 against the plan as it is. ``tries``: what the what-if page
    starts from."""

    words: str
    chance_in_100: int
    gain: int
    expected: str
    costs: str
    others: str
    mark: tuple[str, str, str]
    is_best: bool
    tries: dict[str, Any]


@dataclass(frozen=True)
class Worst:
    """The single failure that would hurt most."""

    plate: Plate | None
    words: str
    before_in_100: int
    after_in_100: int
    hurts: str

    @property
    def lowers(self) -> bool:
        """Whether the chance, as it is shown, is less for it."""
        return self.after_in_100 < self.before_in_100


@dataclass(frozen=True)
class MeetingForecast:
    """One lab day of a class the reader may see. Without ``known`` only what the plan itself tells."""

    assignment: Assignment
    known: bool
    chance_in_100: int | None
    expected: str
    likely_at: datetime | None
    nearly_sure_at: datetime | None
    worst: Worst | None
    remedies: tuple[Remedy, ...]
    best: Remedy | None


def forecasts(room: Room, user: User, plan: RoomPlan | None) -> list[MeetingForecast]:
    """The lab days ahead for which something is still to be printed, soonest first."""
    facts = plan.facts if plan else {}
    found = facts.get("outlook", {}).get("by_assignment", {})
    wanted = {kit["assignment"] for kit in facts.get("kits", [])}
    assignments = (
        Assignment.objects.visible_to(user)
        .filter(pk__in=wanted, meeting__starts_at__gt=timezone.now())
        .select_related("meeting", "school_class", "plan")
        .order_by("meeting__starts_at", "pk")
    )
    names = _Names(room, facts)
    return [_forecast(assignment, facts, found.get(str(assignment.pk)), names) for assignment in assignments]


class _Names:
    """What sentences call printers and plates; read once, and only where one is named."""

    def __init__(self, room: Room, facts: dict[str, Any]) -> None:
        self.room, self.facts = room, facts

    def team(self, kit_id: str) -> str:
        """As the plan called it: a team of the assignment that is shown."""
        wanted = kit_id.partition(":")[2]
        kits = (kit["name"] for kit in self.facts.get("kits", []) if str(kit["team"]) == wanted)
        return next(kits, "").partition(", ")[2] or _("a team")

    @cached_property
    def printers(self) -> dict[int, Printer]:
        return {printer.pk: printer for printer in Printer.objects.filter(room=self.room)}

    @cached_property
    def plates(self) -> dict[int, Plate]:
        return {plate.pk: plate for plate in Plate.objects.filter(room=self.room)}

    def printer(self, pk: int | None) -> str:
        return str(self.printers.get(pk or 0, _("a printer")))


def _forecast(
    assignment: Assignment, facts: dict[str, Any], known: dict[str, Any] | None, names: _Names
) -> MeetingForecast:
    if known is None:
        return MeetingForecast(
            assignment=assignment,
            known=False,
            chance_in_100=in_100(facts.get("chance_by_assignment", {}).get(str(assignment.pk))),
            expected="",
            likely_at=None,
            nearly_sure_at=None,
            worst=None,
            remedies=(),
            best=None,
        )
    remedies = tuple(_remedy(effect, known, assignment, names) for effect in known["help"])
    best = next((remedy for remedy in remedies if remedy.is_best), None)
    return MeetingForecast(
        assignment=assignment,
        known=True,
        chance_in_100=in_100(known["chance"]),
        expected=teams_of(known["expected_kits"], known["kits"]),
        likely_at=_moment(known["likely_at"]),
        nearly_sure_at=_moment(known["nearly_sure_at"]),
        worst=_worst(known["worst"], names) if known["worst"] else None,
        remedies=remedies,
        best=best,
    )


def _moment(text: str | None) -> datetime | None:
    return parse_datetime(text) if text else None


def teams_of(expected: float, kits: int) -> str:
    """How many of so many teams, on average."""
    told = ngettext("%(expected)s of %(kits)d team", "%(expected)s of %(kits)d teams", kits)
    return told % {"expected": number_format(round(expected, 1), 1), "kits": kits}


def _worst(worst: dict[str, Any], names: _Names) -> Worst:
    plate = names.plates.get(worst["plate"] or 0)
    told = [names.team(kit_id) for kit_id in worst["hurts"][:TEAMS_NAMED]]
    if len(worst["hurts"]) > TEAMS_NAMED:
        more = len(worst["hurts"]) - TEAMS_NAMED
        told.append(ngettext("one more team", "%(count)d more teams", more) % {"count": more})
    return Worst(
        plate=plate,
        words=_("%(plate)s on %(printer)s, %(when)s, fails in %(share)d of 100 courses.")
        % {
            "plate": plate or _("A plate"),
            "printer": names.printer(worst["printer"]),
            "when": day_clock(_moment(worst["at"])),
            "share": round(100 * worst["fails_in"]),
        },
        before_in_100=in_100(worst["before"]["chance"]) or 0,
        after_in_100=in_100(worst["after"]["chance"]) or 0,
        hurts=", ".join(told),
    )


def _remedy(effect: dict[str, Any], known: dict[str, Any], assignment: Assignment, names: _Names) -> Remedy:
    now, then = in_100(known["chance"]) or 0, in_100(effect["chance"]) or 0
    gain = then - now
    best = known["best"]
    same = best is not None and all(best[key] == effect[key] for key in ("remedy", "day", "printer", "days_later"))
    if gain > EVEN:
        mark = ("good", "up", _("%(gain)d in 100 more") % {"gain": gain})
    elif gain < -EVEN:
        mark = ("bad", "down", _("%(gain)d in 100 less") % {"gain": -gain})
    else:
        mark = ("plain", "s-wait", _("no difference"))
    return Remedy(
        words=remedy_words(effect, names),
        chance_in_100=then,
        gain=gain,
        expected=teams_of(effect["expected_kits"], known["kits"]),
        costs=_costs(effect),
        others=_others(effect),
        mark=mark,
        is_best=same and gain > EVEN,
        tries=tries(effect, assignment),
    )


def remedy_words(effect: dict[str, Any], names: _Names) -> str:
    """What would be done."""
    kind = effect["remedy"]
    if kind == "evening":
        day, time = date.fromisoformat(effect["day"]), hours_and_minutes(effect["minutes"] * 60)
        return _("Somebody stays %(time)s longer on %(day)s") % {"time": time, "day": short_day(day)}
    if kind == "printer":
        return _("One more printer like %(printer)s") % {"printer": names.printer(effect["printer"])}
    if kind == "later":
        days = effect["days_later"]
        return ngettext("The lab day is one school day later", "The lab day is %(days)d school days later", days) % {
            "days": days
        }
    if kind == "spares":
        plates = effect["plates"] or 0
        return ngettext("A spare copy on one plate", "A spare copy on each of %(count)d plates", plates) % {
            "count": plates
        }
    if kind == "lighter":
        return _("Less infill: %(share)d %%") % {"share": round(100 * LIGHT_INFILL)}
    return _("Plan anew, with nothing changed")


def _costs(effect: dict[str, Any]) -> str:
    """What it takes: somebody's time, a printer, the technician's minutes, filament, and plates that would lose their
    place. Both minutes and grams are always said, so that nobody wonders what was left out."""
    parts = []
    if effect["remedy"] == "evening":
        parts.append(_("%(time)s of somebody's evening") % {"time": hours_and_minutes(effect["minutes"] * 60)})
    elif effect["remedy"] == "printer":
        parts.append(_("a printer"))
    elif effect["remedy"] == "later":
        parts.append(_("the class waits"))
    minutes, weight = round(effect["staff_hours"] * 60), effect["grams"]
    if minutes == 0:
        parts.append(_("no more of the technician's time"))
    else:
        words = (
            _("%(time)s more of the technician's time") if minutes > 0 else _("%(time)s less of the technician's time")
        )
        parts.append(words % {"time": hours_and_minutes(abs(minutes) * 60)})
    if abs(weight) < 1:
        parts.append(_("no more filament"))
    else:
        words = _("%(grams)s more filament") if weight > 0 else _("%(grams)s less filament")
        parts.append(words % {"grams": grams(abs(weight))})
    if lost := effect.get("lost", 0):
        parts.append(ngettext("one plate loses its place", "%(count)d plates lose their place", lost) % {"count": lost})
    return ", ".join(parts)


def _others(effect: dict[str, Any]) -> str:
    """What it does to the other classes; empty when nobody else waits."""
    others = effect.get("others") or {}
    return "" if not others.get("expected_kits") else _("%(chance)d in 100") % {"chance": in_100(others["chance"])}


def tries(effect: dict[str, Any], assignment: Assignment) -> dict[str, Any]:
    """The fields of the what-if form that try this remedy."""
    kind = effect["remedy"]
    if kind == "evening":
        return {"evening": effect["day"], "evening_min": effect["minutes"]}
    if kind == "printer":
        return {"like": effect["printer"]}
    if kind == "later":
        return {"meeting": assignment.meeting_id, "days": effect["days_later"]}
    if kind == "spares":
        return {"spares": assignment.pk}
    if kind == "lighter":
        return {"infill": assignment.pk}
    return {}


def outlook_age(plan: RoomPlan | None) -> timedelta | None:
    """How old the figures are; None without any."""
    made = _moment((plan.facts if plan else {}).get("outlook", {}).get("made_at"))
    return None if made is None else timezone.now() - made
