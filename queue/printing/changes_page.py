"""What the plan changed since one person last looked, in words: which starts, from where to where, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import F, Q, Subquery
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from makerlab.accounts.models import User
from makerlab.components.figures import clock, day_clock, hours_and_minutes
from planning.types import RoomRules
from printing.causes import sentence
from printing.models import PlanLook, Plate, Printer, Room, RoomPlan
from printing.planner.values import BY_HAND
from printing.states import PlateState

PLANS_READ = 60  # more are not gone through: who has been away so long reads the plan itself
TOLERANCE = timedelta(minutes=RoomRules().change_tolerance_min)
FIRST_LOOK = timedelta(hours=24)  # what a person who never looked is told of

# causes that say themselves why; the others follow from what made the plan anew
SELF_EVIDENT = {"pinned", "printer_gone", "outage", "printer_busy", "passed", "nobody_there", "late_end", "spool"}
# and those of which what made the plan anew would tell less
TELLS_MORE = {"passed", "nobody_there", "late_end", "printer_busy"}


@dataclass(frozen=True)
class Line:
    """One plate: where it was, where it is."""

    plate_id: int | None
    number: int | None
    before: str
    after: str
    why: str
    mark: tuple[str, str, str]


@dataclass(frozen=True)
class Group:
    """Starts that changed for one reason: "3 starts changed because Wren failed P6 (14:05)"."""

    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Changes:
    """What to tell; ``plan_id`` is noted as seen."""

    plan_id: int
    count: int
    title: str
    groups: tuple[Group, ...]
    stay: str


def changes_for(
    room: Room,
    user: User,
    now: datetime | None = None,
    newest: RoomPlan | None = None,
    planned: Sequence[Plate] | None = None,
    printers: Sequence[Printer] | None = None,
    unseen: Sequence[RoomPlan] | None = None,
) -> Changes:
    """Net changes of the plans this person has not seen: where a plate was then and is now, with the last reason.
    ``newest``, ``planned``, ``printers`` and ``unseen``: the plan in force, the room's planned plates, its printers and
    the plans of ``plans_for``, where the caller has read them."""
    plans = unseen
    if plans is None:
        newest, plans = plans_for(room, user, now or timezone.now())
    has_moved = any(plan.facts.get("moves") for plan in plans)
    plates: dict[int, Plate] = {}
    names: dict[int, str] = {}
    if has_moved:
        if planned is None:
            planned = list(Plate.objects.filter(room=room, state=PlateState.PLANNED))
        if printers is None:
            printers = list(Printer.objects.filter(room=room))
        plates = {plate.pk: plate for plate in planned}
        names = {printer.pk: printer.name for printer in printers}
    groups: dict[str, list[Line]] = {}
    for story in _stories(plans, plates):
        line = Line(
            plate_id=story.plate.pk if story.plate else None,
            number=story.plate.number if story.plate else story.first["number"],
            before=_where(story.first["from_printer"], _moment(story.first["from_at"]), names),
            after=_where(story.plate.printer_id, story.plate.setup_at, names) if story.plate else _("given up"),
            why=_why(story.move, names),
            mark=_mark(story),
        )
        groups.setdefault(_because(story, names, user), []).append(line)
    count = sum(len(lines) for lines in groups.values())
    return Changes(
        plan_id=newest.pk if newest else 0,
        count=count,
        title=ngettext("One start has changed", "%(count)d starts have changed", count) % {"count": count},
        groups=tuple(
            Group(_title(because, len(lines)), tuple(lines))
            for because, lines in sorted(groups.items(), key=lambda item: -len(item[1]))
        ),
        stay=order_words(newest, user) or stay_words(newest),
    )


def plans_for(room: Room, user: User, now: datetime) -> tuple[RoomPlan | None, list[RoomPlan]]:
    """The plan in force, and those this person has not seen, oldest first; one query."""
    look = PlanLook.objects.filter(user=user, room=room).order_by("pk").values("plan_id")[:1]
    newest = RoomPlan.objects.filter(room=room).order_by("-pk").values("pk")[:1]
    unseen = Q(pk__gt=F("seen_id")) | Q(seen_id__isnull=True, made_at__gt=now - FIRST_LOOK)
    plans = RoomPlan.objects.filter(room=room).annotate(seen_id=Subquery(look)).filter(unseen | Q(pk=Subquery(newest)))
    found = list(plans.order_by("-pk")[:PLANS_READ])
    return (found[0] if found else None), [plan for plan in found if _is_unseen(plan, now)][::-1]


def _is_unseen(plan: RoomPlan, now: datetime) -> bool:
    seen = plan.seen_id  # type: ignore[attr-defined]  # of the last look, where the plans are read
    return bool(plan.made_at > now - FIRST_LOOK if seen is None else plan.pk > seen)


Move = dict[str, Any]


@dataclass(frozen=True)
class Story:
    """One plate since the last look: its first move, the plan and move that say why, and the row as it is now (None:
    given up)."""

    first: Move
    plan: RoomPlan
    move: Move
    plate: Plate | None

    @property
    def later(self) -> timedelta | None:
        """How much later it is set up than then; None when it had or has no time."""
        before = _moment(self.first["from_at"])
        if before is None or self.plate is None or self.plate.setup_at is None:
            return None
        return self.plate.setup_at - before

    @property
    def has_moved(self) -> bool:
        """Whether it stands elsewhere now than then, by more than the room minds."""
        if self.plate is None or self.later is None:
            return True
        return self.plate.printer_id != self.first["from_printer"] or abs(self.later) > TOLERANCE


def _stories(plans: Sequence[RoomPlan], plates: dict[int, Plate]) -> list[Story]:
    """The plates that stand elsewhere than before all these plans, in order of their starts. What forced a plate from
    its place says why; else its last move."""
    first: dict[int, Move] = {}
    reason: dict[int, tuple[RoomPlan, Move]] = {}
    for plan in plans:
        for move in plan.facts.get("moves", []):
            pk = move["plate"]
            first.setdefault(pk, move)
            if pk not in reason or reason[pk][1]["cause"] not in SELF_EVIDENT:
                reason[pk] = (plan, move)
    found = []
    for pk, (plan, move) in reason.items():
        gone = pk not in plates
        if first[pk]["cause"] == "new_plate" or (gone and move["cause"] != "done"):
            continue  # nobody has seen another place for it, or it was started meanwhile
        story = Story(first[pk], plan, move, plates.get(pk))
        if story.has_moved and not (first[pk]["from_at"] is None and (gone or plates[pk].setup_at is None)):
            found.append(story)
    return sorted(found, key=lambda story: (str(story.plate.setup_at) if story.plate else "~", story.first["plate"]))


def _moment(text: str | None) -> datetime | None:
    return parse_datetime(text) if text else None


def _where(printer_id: int | None, moment: datetime | None, names: dict[int, str]) -> str:
    if printer_id is None or moment is None:
        return _("no place")
    printer = names.get(printer_id, _("a printer that is gone"))
    return _("%(printer)s, %(when)s") % {"printer": printer, "when": day_clock(moment)}


def _mark(story: Story) -> tuple[str, str, str]:
    """Earlier, later, or without a place: word and shape."""
    if story.plate is None:
        return ("plain", "s-out", _("given up"))
    if story.plate.setup_at is None:
        return ("bad", "s-out", _("no place"))
    if story.later is None:
        return ("good", "s-plan", _("has a place now"))
    time = hours_and_minutes(abs(story.later.total_seconds()))
    if story.later > timedelta(0):
        return ("care", "down", _("%(time)s later") % {"time": time})
    if story.later < timedelta(0):
        return ("good", "up", _("%(time)s earlier") % {"time": time})
    return ("plain", "s-plan", _("same time"))


def _why(move: Move, names: dict[int, str]) -> str:
    """Why this plate: its own cause."""
    names_of = {"printer": names.get(move["from_printer"] or 0, _("its printer")), "plate": _plate(move["by"])}
    words = {
        "pinned": _("fixed by staff"),
        "printer_gone": _("%(printer)s cannot print it any more"),
        "outage": _("%(printer)s is out of service then"),
        "printer_busy": _("%(printer)s is not clear by then"),
        "passed": _("its start has passed and it was not started"),
        "nobody_there": _("nobody is there to set it up then any more"),
        "late_end": _("%(printer)s would still be printing when it must have ended"),
        "spool": _("the spool on %(printer)s is another now, or does not last"),
        "done": _("its parts are on other plates now"),
        "no_place": _("the plan has no place for it"),
        "made_room": _("makes room for %(plate)s"),
        "gain": _("the plan is better so"),
        "new_plate": _("new in the plan"),
    }
    return words[move["cause"]] % names_of if move["cause"] in words else _("the plan is better so")


def _plate(number: int | None) -> str:
    return f"P{number}" if number else _("another plate")


def _because(story: Story, names: dict[int, str], reader: User) -> str:
    """What holds of the printer itself, else what made the plan anew; and when."""
    plan, move = story.plan, story.move
    why = sentence(plan.causes, reader)
    if move["cause"] in TELLS_MORE or not why:
        why = _why(move, names)
    return _("%(why)s (%(when)s)") % {"why": why, "when": clock(plan.made_at)}


def _title(because: str, count: int) -> str:
    return ngettext("One start changed because %(because)s", "%(count)d starts changed because %(because)s", count) % {
        "count": count,
        "because": because,
    }


def order_words(plan: RoomPlan | None, reader: User) -> str:
    """That the queue was changed by hand and no start for it; empty when it was not, or when starts have changed."""
    moved = [each for each in (plan.causes if plan else []) if each["code"] in BY_HAND]
    if plan is None or not moved or plan.facts.get("follows_order"):
        return ""
    why = _("No start changes: its parts are printed with those of others, or somebody would be late for it.")
    return f"{sentence(moved, reader)[:1].upper()}{sentence(moved, reader)[1:]}. {why}"


def stay_words(plan: RoomPlan | None) -> str:
    """What was found and not done, since the gain does not pay for the changes; empty when there was nothing."""
    stay = plan.facts.get("stay") if plan else None
    if not stay:
        return ""
    if stay["late_min"] > 0:
        saved = _("%(time)s of lateness") % {"time": hours_and_minutes(stay["late_min"] * 60)}
    else:
        saved = _("%(time)s of waiting and work") % {"time": hours_and_minutes(max(1, stay["waiting_min"]) * 60)}
    if not stay["changes"]:
        return _("Laying everything out anew would save %(saved)s: not enough, so the plates stay as they are.") % {
            "saved": saved
        }
    return ngettext(
        "A plan was found that saves %(saved)s but changes one start: not enough, so the plan stays.",
        "A plan was found that saves %(saved)s but changes %(count)d starts: not enough, so the plan stays.",
        stay["changes"],
    ) % {"saved": saved, "count": stay["changes"]}
