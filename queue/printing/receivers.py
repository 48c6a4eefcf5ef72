"""What printing does when a part is approved or withdrawn, or its print settings change. Runs in the transaction of the
change itself."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.db.models.signals import post_delete
from django.dispatch import receiver

from lessons.models import Assignment, KitPart, Meeting
from lessons.signals import days_changed, meeting_moved, settings_changed
from makerlab.accounts.models import School, User
from printing import actions
from printing.actions.ground import touch, want_plan
from printing.actions.settings import plan_with_new_settings
from printing.causes import cause
from printing.models import PreparedFile, Room
from submissions.models import Submission
from submissions.signals import approved, undone, withdrawn


@receiver(approved, dispatch_uid="printing.order_kit")
def order(sender: Any, submission: Submission, user: User | None = None, **_rest: Any) -> None:
    actions.order_kit(submission, user)


@receiver(undone, dispatch_uid="printing.take_back_order")
def take_back(sender: Any, submission: Submission, user: User | None = None, **_rest: Any) -> None:
    actions.take_back_order(submission, user)


@receiver(withdrawn, dispatch_uid="printing.cancel_submission")
def cancel(sender: Any, submission: Submission, user: User | None = None, **_rest: Any) -> None:
    actions.cancel_submission(submission, user)


@receiver(settings_changed, dispatch_uid="printing.plan_with_new_settings")
def plan_again(sender: Any, kit_part: KitPart, assignment: Assignment | None = None, **_rest: Any) -> None:
    plan_with_new_settings(kit_part, assignment)


@receiver(meeting_moved, dispatch_uid="printing.plan_for_moved_meeting")
def plan_for_moved_meeting(sender: Any, meeting: Meeting, **_rest: Any) -> None:
    """The deadline of what is printed for it is another: the rooms that print for it plan again."""
    for room in Room.objects.filter(requests__assignment__meeting=meeting).distinct():
        touch(room.pk)
        want_plan(room, cause("meeting_moved", group=meeting.school_class))


@receiver(days_changed, dispatch_uid="printing.plan_for_changed_days")
def plan_for_changed_days(sender: Any, school: School, **_rest: Any) -> None:
    """When somebody is in the room may be another now."""
    for room in Room.objects.filter(school=school, requests__isnull=False).distinct():
        touch(room.pk)
        want_plan(room, cause("days_changed"))


@receiver(post_delete, sender=PreparedFile, dispatch_uid="printing.forget_prepared_file")
def forget_file(sender: Any, instance: PreparedFile, **_rest: Any) -> None:
    """The stored file goes when its row is really gone."""
    if instance.file:
        transaction.on_commit(lambda: instance.file.delete(save=False))
