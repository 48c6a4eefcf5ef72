"""What the teacher has to decide now, and how the next meetings stand; all of it counted from the rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from lessons.models import Assignment, Meeting
from makerlab.components.figures import clock, day_clock, grams, hours_and_minutes
from makerlab.components.filament import filament_of
from meshcheck.types import Verdict
from printing.bench_page import PrinterCard, Standing
from printing.chance import in_100
from printing.models import Plate, RoomPlan, Run
from printing.plan_trouble import late_kits, unplaced_copies
from printing.states import Outcome
from printing.today_read import Day
from submissions.states import State

OVERDUE = timedelta(minutes=30)


@dataclass(frozen=True)
class Decision:
    """One line of the decision list. ``post``: the button sends instead of leading somewhere."""

    count: str
    unit: str
    title: str
    text: str
    url: str
    action: str
    icon: str
    post: bool = False


@dataclass(frozen=True)
class MeetingRow:
    """How one meeting stands."""

    meeting: Meeting
    assignment: Assignment
    teams: int
    handed_in: int
    approved: int
    wanted: int
    in_tray: int
    late_teams: int
    ready_at: datetime | None
    mark: tuple[str, str, str]
    chance_in_100: int | None


def decisions(
    day: Day, stands: Standing | None, plan: RoomPlan | None, cards: list[PrinterCard], now: datetime
) -> list[Decision]:
    """Most urgent first: reviews, late teams, parts without a place, printers, spools, what was not handed in."""
    found = [*_reviews(day, now), *_not_ordered(day)]
    if stands is not None:
        found += [*_late(plan, day), *_unplaced(plan, day), *_printers(cards, now), *_spools(stands.plates)]
    return [*found, *_locked_out(day), *_not_handed_in(day)]


def _reviews(day: Day, now: datetime) -> Iterable[Decision]:
    if not day.pile:
        return
    passing = sum(row.verdict == Verdict.OK for row in day.pile)
    must_fix = sum(row.verdict == Verdict.MUST_FIX for row in day.pile)
    oldest = min((row.handed_in_at for row in day.pile if row.handed_in_at), default=None)
    parts = [
        ngettext("%(count)d passes every check.", "%(count)d pass every check.", passing) % {"count": passing},
    ]
    if must_fix:
        parts.append(ngettext("%(count)d must be fixed.", "%(count)d must be fixed.", must_fix) % {"count": must_fix})
    if oldest:
        waited = hours_and_minutes((now - oldest).total_seconds())
        parts.append(_("The oldest has waited %(time)s.") % {"time": waited})
    count = len(day.pile)
    yield Decision(
        count=str(count),
        unit=ngettext("part", "parts", count),
        title=ngettext("One part waits for your eye", "%(count)d parts wait for your eye", count) % {"count": count},
        text=" ".join(parts),
        url=reverse("submissions:review-list"),
        action=pgettext("verb", "Review"),
        icon="review",
    )


def _locked_out(day: Day) -> Iterable[Decision]:
    members = day.locked
    if members:
        count, first = len(members), members[0]
        names = ", ".join(f"{member.nickname} ({member.school_class})" for member in members[:5])
        if count > 5:
            names = _("%(names)s and %(count)d more") % {"names": names, "count": count - 5}
        yield Decision(
            count=str(count),
            unit=ngettext("student", "students", count),
            title=_("Locked out after wrong pictures"),
            text=_("%(names)s. Make a new card for who forgot; if nobody did, somebody is guessing.")
            % {"names": names},
            url=f"{reverse('lessons:class-detail', args=[first.school_class_id])}#students",
            action=_("See the class"),
            icon="s-hold",
        )


def _not_ordered(day: Day) -> Iterable[Decision]:
    count = day.unordered
    if count:
        yield Decision(
            count=str(count),
            unit=ngettext("part", "parts", count),
            title=_("Approved, but not in the queue"),
            text=_("They were approved before there was a room to print them in."),
            url=reverse("printing:request-missing"),
            action=_("Order them"),
            icon="layers",
            post=True,
        )


def _late(plan: RoomPlan | None, day: Day) -> Iterable[Decision]:
    by_class: dict[tuple[str, datetime], list[dict[str, object]]] = {}
    for kit in late_kits(plan, day.teams):
        by_class.setdefault((str(kit["school_class"]), kit["deadline"]), []).append(kit)
    for (name, deadline), kits in sorted(by_class.items(), key=lambda item: item[0][1]):
        count = len(kits)
        ready = [kit["ready_at"] for kit in kits]
        last = max((moment for moment in ready if isinstance(moment, datetime)), default=None)
        if last is not None and None not in ready:
            text = _("By the plan the last part is cleared %(ready)s; the lab day begins %(deadline)s.") % {
                "ready": day_clock(last),
                "deadline": day_clock(deadline),
            }
        else:
            text = _("For some parts the plan has found no time; the room plan says why.")
        yield Decision(
            count=str(count),
            unit=_("late"),
            title=ngettext(
                "%(class)s: one team will not have all its parts",
                "%(class)s: %(count)d teams will not have all their parts",
                count,
            )
            % {"class": name, "count": count},
            text=text,
            url=reverse("printing:room-plan"),
            action=_("See the plan"),
            icon="plan",
        )


def _unplaced(plan: RoomPlan | None, day: Day) -> Iterable[Decision]:
    for row in unplaced_copies(plan, day.unplaced):
        yield Decision(
            count=str(row["count"]),
            unit=ngettext("copy", "copies", row["count"]),
            title=_("%(part)s cannot be planned") % {"part": row["request"]},
            text=row["reason"],
            url=reverse("printing:request-list"),
            action=_("Open the queue"),
            icon="layers",
        )


def _printers(cards: list[PrinterCard], now: datetime) -> Iterable[Decision]:
    for card in cards:
        if card.run and now - card.run.expected_end_at > OVERDUE:
            over = now - card.run.expected_end_at
            yield Decision(
                count=str(round(over.total_seconds() / 3600)) if over > timedelta(hours=1) else "<1",
                unit=_("h over"),
                title=_("%(plate)s on %(printer)s should have been cleared")
                % {"plate": card.run.plate, "printer": card.printer},
                text=_("By the estimate it ended %(when)s; nobody has said how it went.")
                % {"when": day_clock(card.run.expected_end_at)},
                url=reverse("printing:bench"),
                action=_("Open the bench"),
                icon="bench",
            )
        elif card.outage:
            yield Decision(
                count="1",
                unit=_("out"),
                title=_("%(printer)s is out of service") % {"printer": card.printer},
                text=capfirst(card.text) + ".",
                url=reverse("printing:room-plan"),
                action=_("See the plan"),
                icon="printer",
            )


def _spools(plates: Sequence[Plate]) -> Iterable[Decision]:
    """Printers whose loaded spool does not last for the next plate planned on them."""
    seen: set[int] = set()
    for plate in plates:
        printer = plate.printer
        if printer is None or plate.setup_at is None or printer.pk in seen:
            continue
        seen.add(printer.pk)
        spool = getattr(printer, "spool", None)
        same = spool is not None and (spool.material, spool.colour) == (plate.material, plate.colour)
        if spool is None or not same or spool.grams_left >= plate.mass_g:
            continue
        yield Decision(
            count=f"{spool.grams_left:.0f}",
            unit="g",
            title=_("%(printer)s has too little %(filament)s for %(plate)s")
            % {"printer": printer, "filament": filament_of(spool), "plate": plate},
            text=_("The plate takes %(need)s and the spool holds %(left)s. The plan has time for a swap at %(when)s.")
            % {"need": grams(plate.mass_g), "left": grams(spool.grams_left), "when": day_clock(plate.setup_at)},
            url=reverse("printing:spool-list"),
            action=_("Spools"),
            icon="spool",
        )


def _not_handed_in(day: Day) -> Iterable[Decision]:
    for assignment in day.closing:
        handed = day.teams_with(assignment, [State.HANDED_IN, State.APPROVED])
        missing = [team for team in day.of_class.get(assignment.school_class_id, []) if team.pk not in handed]
        if not missing:
            continue
        count = len(missing)
        names = ", ".join(str(team) for team in missing[:3]) + (" …" if count > 3 else "")
        yield Decision(
            count=str(count),
            unit=ngettext("team", "teams", count),
            title=ngettext("One team has not handed in", "%(count)d teams have not handed in", count)
            % {"count": count},
            text=_("%(teams)s, class %(class)s. The time ends %(when)s.")
            % {"teams": names, "class": assignment.school_class, "when": day_clock(assignment.upload_by)},
            url=reverse("lessons:plan-detail", args=[assignment.plan_id]),
            action=_("See the lesson"),
            icon="lesson",
        )


def meeting_rows(day: Day, plan: RoomPlan | None) -> list[MeetingRow]:
    """The next meetings for which a lesson was given."""
    return [_meeting_row(assignment, plan, day) for assignment in day.coming]


def _meeting_row(assignment: Assignment, plan: RoomPlan | None, day: Day) -> MeetingRow:
    kits = [kit for kit in (plan.facts.get("kits", []) if plan else []) if kit["assignment"] == assignment.pk]
    late = sum(kit["late_min"] > 0 or not kit["ready_at"] for kit in kits)
    ready = [datetime.fromisoformat(kit["ready_at"]) for kit in kits if kit["ready_at"]]
    teams, counts = len(day.of_class.get(assignment.school_class_id, [])), day.counts(assignment)
    last = max(ready, default=None)
    return MeetingRow(
        meeting=assignment.meeting,
        assignment=assignment,
        teams=teams,
        handed_in=counts["handed_in"],
        approved=counts["approved"],
        wanted=counts["wanted"],
        in_tray=counts["in_tray"],
        late_teams=late,
        ready_at=last,
        mark=_meeting_mark(counts["wanted"], counts["in_tray"], counts["approved"], teams, late, last),
        chance_in_100=in_100((plan.facts if plan else {}).get("chance_by_assignment", {}).get(str(assignment.pk))),
    )


def _meeting_mark(
    wanted: int, in_tray: int, approved: int, teams: int, late: int, ready: datetime | None
) -> tuple[str, str, str]:
    if late:
        return ("bad", "s-late", ngettext("%(count)d team late", "%(count)d teams late", late) % {"count": late})
    if not wanted:
        return ("plain", "s-unknown", _("nothing ordered yet"))
    missing = teams - approved
    if missing > 0:
        words = ngettext("%(count)d team still to come", "%(count)d teams still to come", missing)
        return ("plain", "s-wait", words % {"count": missing})
    if in_tray == wanted:
        return ("good", "s-done", _("all in the trays"))
    if ready:
        return ("good", "s-pass", _("by the plan ready %(when)s") % {"when": day_clock(ready)})
    return ("plain", "s-wait", _("not planned yet"))


@dataclass(frozen=True)
class DayCounts:
    """What was printed today."""

    parts: int
    runs: int
    wrong: int
    grams: float


def day_counts(runs: Sequence[Run]) -> DayCounts:
    """Good parts, ended runs, those in which something was lost, and grams by estimate; ``runs``: those that ended
    today."""
    return DayCounts(
        parts=sum(run.good_copies for run in runs),  # type: ignore[attr-defined]  # counted where they are read
        runs=len(runs),
        wrong=sum(run.outcome != Outcome.FINISHED for run in runs),
        grams=sum(run.estimate_g for run in runs if run.outcome in {Outcome.FINISHED, Outcome.PARTLY_GOOD}),
    )


def closing_words(now: datetime, closes: datetime | None) -> str:
    """When the room closes today."""
    return clock(closes) if closes else _("closed now")


__all__ = ["Decision", "MeetingRow", "Plate", "closing_words", "day_counts", "decisions", "meeting_rows"]
