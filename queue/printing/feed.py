"""What a person's calendar shows of the room: an iCalendar object (RFC 5545) by the icalendar package.

Technicians and administrators get what is to be done at the bench; teachers their meetings, until when files may come
in, and when parts are ready. Narrowed to one class, everybody gets what teachers get.
Times are written in UTC (RFC 5545 section 3.3.5, form 2): a local time cannot name the second pass through the hour
that the autumn clock change repeats. An entry keeps its UID for life (3.8.4.7) and its SEQUENCE never falls (3.8.7.4).
Names of pupils and teams are not in it: it is read wherever the address is known.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db.models import Count, Max, Prefetch
from django.urls import reverse
from django.utils.crypto import salted_hmac
from django.utils.dateparse import parse_datetime
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from lessons.models import Assignment, Meeting, SchoolClass
from lessons.models.assignments import AssignmentQuerySet
from makerlab.accounts.models import User
from makerlab.audit.models import Event as Record
from makerlab.components.figures import day_clock, grams
from makerlab.components.filament import filament_of
from printing.chance import in_100
from printing.models import Plate, PrintCopy, Room, RoomPlan
from printing.queries import plate_code
from printing.states import PlateState

PRODUCT = "-//Makerlab//Room calendar//EN"
ASK_AGAIN = timedelta(minutes=15)
MEETINGS_BACK = timedelta(days=30)
MEETING_CHANGES = ("describe_meeting", "move_meeting")
Address = Callable[[str], str]  # a path of the site as a whole address


@dataclass(frozen=True)
class Entry:
    """One thing in the calendar. Without an end it is a moment; ``key`` names it for life."""

    key: str
    summary: str
    starts_at: datetime
    ends_at: datetime | None
    revised_at: datetime
    sequence: int
    path: str
    description: str = ""
    location: str = ""


def calendar_of(user: User, address: Address, now: datetime, only: SchoolClass | None = None) -> bytes:
    """The person's calendar, as it is sent. ``only``: what it shows of one class, which the caller found visible."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", _("Makerlab, %(of)s") % {"of": only or user.school})  # RFC 7986, section 5.1
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})  # RFC 7986, section 5.7
    for entry in entries_of(user, now, only):
        calendar.add_component(_event(entry, address))
    return bytes(calendar.to_ical())


def entries_of(user: User, now: datetime, only: SchoolClass | None = None) -> list[Entry]:
    """By time, then by key."""
    found = _for_class(user, now, only) if only or user.is_teacher else _at_bench(user, now)
    return sorted(found, key=lambda entry: (entry.starts_at, entry.key))


def uid_of(key: str) -> str:
    """The same for the same thing of this installation, whoever asks and whenever; a UUID, which says nothing of where
    it comes from (RFC 7986, section 5.3)."""
    return str(uuid.UUID(bytes=salted_hmac("printing.feed", key, algorithm="sha256").digest()[:16], version=5))


def _event(entry: Entry, address: Address) -> Event:
    event = Event()
    event.add("uid", uid_of(entry.key))
    event.add("dtstamp", _utc(entry.revised_at))
    event.add("last-modified", _utc(entry.revised_at))
    event.add("sequence", entry.sequence)
    event.add("dtstart", _utc(entry.starts_at))
    if entry.ends_at is not None:
        event.add("dtend", _utc(entry.ends_at))
    else:
        event.add("transp", "TRANSPARENT")  # a moment takes up no time (3.6.1, 3.8.2.7)
    event.add("summary", entry.summary)
    if entry.description:
        event.add("description", entry.description)
    if entry.location:
        event.add("location", entry.location)
    event.add("url", address(entry.path))
    return event


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(microsecond=0)


# --- the bench -------------------------------------------------------------------------------------------------------


def _at_bench(user: User, now: datetime) -> Iterator[Entry]:
    """Set-ups with the start at their end, and clears: planned ones, and the clears of what prints now."""
    for room in Room.objects.visible_to(user):
        revised_at = RoomPlan.objects.filter(room=room).aggregate(at=Max("made_at"))["at"] or now
        plates = Plate.objects.filter(room=room, state__in=[PlateState.PLANNED, PlateState.PRINTING])
        copies = PrintCopy.objects.select_related("request__submission", "request__kit_part").order_by("place", "id")
        heavy = [f"request__{of}__{what}" for of in ("submission", "kit_part") for what in ("report", "picture")]
        rows = plates.filter(printer__isnull=False).select_related("printer")
        rows = rows.prefetch_related(Prefetch("copies", copies.defer(*heavy)))
        for plate in rows.order_by("number"):
            yield from _of_plate(plate, room, revised_at)


def _of_plate(plate: Plate, room: Room, revised_at: datetime) -> Iterator[Entry]:
    names = {"plate": plate, "printer": plate.printer}
    path = reverse("printing:plate-detail", args=[plate.pk])
    common: dict[str, Any] = {
        "revised_at": plate.changed_at or revised_at,
        "sequence": plate.changes,
        "path": path,
        "location": room.name,
    }
    if plate.state == PlateState.PLANNED and plate.setup_at and plate.starts_at:
        copies = list(plate.copies.all())
        spool = _("Swap to %(filament)s.") if plate.swap else _("%(filament)s is loaded.")
        words = [
            _("Begins to print %(clock)s.") % {"clock": day_clock(plate.starts_at)},
            capfirst(spool % {"filament": filament_of(plate)}),
            _("%(count)s copies, %(grams)s.") % {"count": len(copies), "grams": grams(plate.mass_g)},
            _("File %(plate)s-%(code)s.") % {"plate": plate, "code": plate_code(plate, copies)},
        ]
        yield Entry(
            key=f"plate {plate.pk} set up",
            summary=_("Set up and start %(plate)s on %(printer)s") % names,
            starts_at=plate.setup_at,
            ends_at=max(plate.starts_at, plate.setup_at + timedelta(minutes=1)),
            description=" ".join(words),
            **common,
        )
    if plate.cleared_at:
        yield Entry(
            key=f"plate {plate.pk} clear",
            summary=_("Clear %(plate)s from %(printer)s") % names,
            starts_at=plate.cleared_at - timedelta(minutes=room.clear_min),
            ends_at=plate.cleared_at,
            description=_("Wait until nozzle and bed are cool. Printed %(clock)s.")
            % {"clock": day_clock(plate.ends_at)},
            **common,
        )


# --- classes ---------------------------------------------------------------------------------------------------------


def _for_class(user: User, now: datetime, only: SchoolClass | None) -> Iterator[Entry]:
    """Meetings of the person's classes, until when files may come in for their lessons, and when all parts of an
    assignment are ready by the plan in force."""
    of_class = {"school_class": only} if only else {}
    meetings = Meeting.objects.visible_to(user).filter(ends_at__gt=now - MEETINGS_BACK, **of_class)
    changed = _changes(user, "meeting", MEETING_CHANGES)
    for meeting in meetings.select_related("school_class"):
        times, last = changed.get(str(meeting.pk), (0, user.school.created_at))
        yield Entry(
            key=f"meeting {meeting.pk}",
            summary=f"{meeting.school_class}: {meeting.purpose}",
            starts_at=meeting.starts_at,
            ends_at=meeting.ends_at,
            revised_at=last,
            sequence=times,
            path=reverse("printing:meeting-readiness", args=[meeting.pk]),
            description=meeting.period,
        )
    assignments = Assignment.objects.visible_to(user).filter(**of_class)
    yield from _files_due(user, assignments.filter(meeting__in=meetings), changed)
    for room in Room.objects.visible_to(user):
        plan = RoomPlan.objects.filter(room=room).first()
        if plan is not None:
            yield from _ready(assignments, room, plan)


Changes = dict[str, tuple[int, datetime]]  # subject -> how often it was changed, and when last


def _changes(user: User, kind: str, verbs: Iterable[str] = ()) -> Changes:
    """By the record; without ``verbs`` whatever was done to things of that kind."""
    rows = Record.objects.filter(school_id=user.school_id, subject_kind=kind)
    rows = rows.filter(verb__in=verbs) if verbs else rows
    counted = rows.order_by().values("subject_id").annotate(times=Count("id"), last=Max("at"))
    return {row["subject_id"]: (row["times"], row["last"]) for row in counted}


def _files_due(user: User, assignments: AssignmentQuerySet, of_meetings: Changes) -> Iterator[Entry]:
    """Until when files may come in: a moment. It moves with its meeting or when somebody changes the assignment."""
    changed = _changes(user, "assignment")
    for assignment in assignments.select_related("school_class", "plan", "meeting"):
        own = changed.get(str(assignment.pk), (0, assignment.created_at))
        moved = of_meetings.get(str(assignment.meeting_id), (0, assignment.created_at))
        names = {"class": assignment.school_class, "lesson": assignment.plan}
        needed = _("The parts are needed %(meeting)s.") % {"meeting": day_clock(assignment.meeting.starts_at)}
        yield Entry(
            key=f"assignment {assignment.pk} files due",
            summary=_("Files due: %(class)s, %(lesson)s") % names,
            starts_at=assignment.upload_by,
            ends_at=None,
            revised_at=max(own[1], moved[1]),
            sequence=own[0] + moved[0],
            path=reverse("printing:meeting-readiness", args=[assignment.meeting_id]),
            description=needed,
        )


def _ready(visible: AssignmentQuerySet, room: Room, plan: RoomPlan) -> Iterator[Entry]:
    """One moment an assignment: when its last team has its last part. Its SEQUENCE counts how often that
    moment changed. An assignment with a team that has no time in the plan yet has no moment."""
    kits: dict[int, list[dict[str, Any]]] = {}
    for kit in plan.facts.get("kits", []):
        kits.setdefault(kit["assignment"], []).append(kit)
    assignments = visible.filter(pk__in=kits).select_related("school_class", "plan")
    for assignment in assignments:
        rows = kits[assignment.pk]
        moments = [parse_datetime(kit["ready_at"]) for kit in rows if kit["ready_at"]]
        ready = [moment for moment in moments if moment]
        if len(ready) < len(rows):
            continue
        late = sum(kit["late_min"] > 0 for kit in rows)
        words = [_("%(count)s teams wait for parts.") % {"count": len(rows)}]
        if late:
            words.append(_("%(count)s of them get theirs after the lab day begins.") % {"count": late})
        chance = in_100(plan.facts.get("chance_by_assignment", {}).get(str(assignment.pk)))
        if chance is not None:
            words.append(_("Chance that all have everything in time: %(chance)s in 100.") % {"chance": chance})
        names = {"class": assignment.school_class, "lesson": assignment.plan}
        title = _("Late, parts ready: %(class)s, %(lesson)s") if late else _("Parts ready: %(class)s, %(lesson)s")
        yield Entry(
            key=f"room {room.pk} assignment {assignment.pk} ready",
            summary=title % names,
            starts_at=max(ready),
            ends_at=None,
            revised_at=plan.made_at,
            sequence=plan.facts.get("ready", {}).get(str(assignment.pk), {}).get("count", plan.pk),
            path=reverse("printing:meeting-readiness", args=[assignment.meeting_id]),
            description=" ".join(words),
            location=room.name,
        )
