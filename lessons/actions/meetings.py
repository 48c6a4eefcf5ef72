"""Meetings of a class: add them by period, move one, remove one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons import signals
from lessons.actions.classes import locked
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.classes.members import fingerprint
from lessons.classes.moving import Move, work_out
from lessons.models import Assignment, Meeting, SchoolClass
from lessons.school_days import Skipped, Slot, read_school_days, slots
from makerlab.accounts.models import User
from makerlab.audit.models import record

DATES_MAX = 200


@dataclass(frozen=True, slots=True)
class NewMeetings:
    """What adding would do: dates that get a meeting, dates that do not and why, and a fingerprint."""

    slots: tuple[Slot, ...]
    skipped: tuple[Skipped, ...]
    seen: str


def new_meetings(school_class: SchoolClass, dates: Sequence[date], period: str) -> NewMeetings:
    """Work out the meetings by the bell schedule as it is now. Changes nothing. Raises NotPossible."""
    if len(dates) > DATES_MAX:
        raise NotPossible(_("These are more than %(count)d dates. Add one term at a time.") % {"count": DATES_MAX})
    found, skipped = slots(read_school_days(school_class.school), dates, period)
    taken = list(school_class.meetings.values_list("starts_at", "ends_at"))
    free = []
    for slot in found:
        if any(starts < slot.ends_at and slot.starts_at < ends for starts, ends in taken):
            skipped.append(Skipped(slot.day, _("the class meets then already")))
        else:
            free.append(slot)
    skipped.sort(key=lambda each: each.day)
    return NewMeetings(tuple(free), tuple(skipped), fingerprint([[s.starts_at.isoformat() for s in free], period]))


@transaction.atomic
def add_meetings(
    user: User, school_class: SchoolClass, dates: Sequence[date], period: str, purpose: str, seen: str
) -> list[Meeting]:
    """A meeting in the period on each of the dates, as the preview showed. Raises NotPossible, ChangedMeanwhile."""
    school_class = locked(user, school_class)
    new = new_meetings(school_class, dates, period)
    if new.seen != seen:
        raise ChangedMeanwhile(_("The bell schedule or the class changed meanwhile. Look at the dates again."))
    if not new.slots:
        raise NotPossible(_("None of these dates can have a meeting."))
    values = {"period": period, **({"purpose": purpose} if purpose else {})}
    made = [
        Meeting.objects.create(school_class=school_class, starts_at=slot.starts_at, ends_at=slot.ends_at, **values)
        for slot in new.slots
    ]
    record(user.school_id, user, "add_meetings", school_class, meetings=[meeting.pk for meeting in made])
    return made


@transaction.atomic
def describe_meeting(user: User, meeting: Meeting, purpose: str) -> None:
    """What the meeting is for."""
    locked(user, meeting.school_class)
    Meeting.objects.filter(pk=meeting.pk).update(purpose=purpose)
    record(user.school_id, user, "describe_meeting", meeting)


@transaction.atomic
def move_meeting(user: User, meeting: Meeting, slot: Slot, rule: str, seen: str) -> Move:
    """To another date or period. The limits for files follow by ``rule``, and higher layers are told in this same
    transaction. Raises NotPossible, ChangedMeanwhile."""
    school_class = locked(user, meeting.school_class)
    now = Meeting.objects.filter(pk=meeting.pk, school_class=school_class).first()
    if now is None:
        raise ChangedMeanwhile(_("This meeting was removed."))
    move = work_out(now, slot, rule)
    if move.seen != seen:
        raise ChangedMeanwhile(_("Somebody changed this meeting or its lessons meanwhile. Look at it again."))
    check_can_stand(now, slot)
    before = now.starts_at
    now.starts_at, now.ends_at, now.period = slot.starts_at, slot.ends_at, slot.period
    now.save(update_fields=["starts_at", "ends_at", "period"])
    for limit in move.limits:
        Assignment.objects.filter(pk=limit.assignment.pk).update(upload_by=limit.after)
    record(user.school_id, user, "move_meeting", now, before=before.isoformat(), after=slot.starts_at.isoformat())
    signals.meeting_moved.send(sender=Meeting, meeting=now, before=before, user=user)
    return move


def check_can_stand(meeting: Meeting, slot: Slot) -> None:
    """Raises NotPossible for a time that has passed, or at which the class meets already."""
    if slot.ends_at <= timezone.now():
        raise NotPossible(_("That time has passed."))
    others = Meeting.objects.filter(school_class_id=meeting.school_class_id).exclude(pk=meeting.pk)
    if others.filter(starts_at__lt=slot.ends_at, ends_at__gt=slot.starts_at).exists():
        raise NotPossible(_("The class meets then already."))


@transaction.atomic
def remove_meeting(user: User, meeting: Meeting) -> None:
    """Only a meeting without lessons: parts may be printing for the others. Raises NotPossible."""
    locked(user, meeting.school_class)
    given = meeting.assignments.select_related("plan").first()
    if given:
        told = _("%(plan)s is given for this meeting. Move the meeting, or take the lesson back first.")
        raise NotPossible(told % {"plan": given.plan})
    record(user.school_id, user, "remove_meeting", meeting, school_class=meeting.school_class_id)
    meeting.delete()
