"""The step line of one part: from the check to the tray and lab day."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from lessons.models import CheckState, Meeting
from makerlab.components.figures import day_clock
from meshcheck.types import Verdict
from submissions.models import Submission
from submissions.progress import Decision, PartProgress, Stage
from submissions.states import State
from submissions.wording import short_result

Step = dict[str, Any]


def step(state: str, title: str, note: str = "", icon: str = "") -> Step:
    """One step as {% steps %} takes it: ``state`` is done, now, next or bad."""
    made: Step = {"state": state, "title": title, "note": note}
    return {**made, "icon": icon} if icon else made


def step_line(
    submission: Submission, decision: Decision | None, progress: PartProgress | None, tray: int
) -> list[Step]:
    """All steps of one version. ``decision`` is the one that counts, ``progress`` what printing says."""
    return [
        _checked(submission),
        _handed_in(submission),
        _decided(submission, decision),
        _printing(submission, progress),
        _in_tray(progress, tray),
        _lab_day(submission.assignment.meeting),
    ]


def _checked(submission: Submission) -> Step:
    note = short_result(submission)
    if submission.check_state == CheckState.CHECKING:
        return step("now", _("Checking"), note)
    stuck = submission.check_state == CheckState.FAILED or submission.verdict in (Verdict.REJECTED, Verdict.MUST_FIX)
    if stuck and submission.state == State.DRAFT:
        return step("bad", _("Checked"), note, "s-fix")
    return step("done", _("Checked"), note)


def _handed_in(submission: Submission) -> Step:
    if submission.handed_in_at is not None:
        return step("done", _("Handed in"), day_clock(submission.handed_in_at))
    if submission.check_state != CheckState.CHECKED or submission.verdict in (Verdict.REJECTED, Verdict.MUST_FIX):
        return step("next", _("Hand in"))
    return step("now", _("Hand in"), _("your turn"), "s-plan")


def _decided(submission: Submission, decision: Decision | None) -> Step:
    who = f"{decision.by}, {day_clock(decision.at)}" if decision and decision.by else ""
    if submission.state == State.APPROVED:
        return step("done", _("Approved"), who)
    if submission.state == State.RETURNED:
        return step("bad", _("Sent back"), who)
    if submission.state == State.HANDED_IN:
        return step("now", _("Approved"), _("your teacher looks at it"), "s-wait")
    return step("next", _("Approved"))


def _printing(submission: Submission, progress: PartProgress | None) -> Step:
    if submission.state != State.APPROVED or progress is None:
        return step("next", _("Printing"))
    if progress.is_done:
        return step("done", _("Printed"))
    note = ", ".join(text for text in (progress.state, progress.note) if text)
    if progress.stage == Stage.PRINTING:
        return step("now", _("Printing"), note)
    return step("now", _("Printing"), note, progress.icon)


def _in_tray(progress: PartProgress | None, tray: int) -> Step:
    title = _("In tray %(tray)s") % {"tray": tray}
    if progress is None:
        return step("next", title)
    if progress.is_done:
        return step("done", title, _("all %(count)d") % {"count": progress.copies} if progress.copies > 1 else "")
    likely = day_clock(progress.likely_ready_at) if progress.likely_ready_at else ""
    return step("next", title, _("likely %(time)s") % {"time": likely} if likely else "")


def period_of(meeting: Meeting) -> str:
    """``period 3`` where the bell schedule only numbers its periods, else the period's own name."""
    return _("period %(number)s") % {"number": meeting.period} if meeting.period.isdecimal() else meeting.period


def _lab_day(meeting: Meeting) -> Step:
    note = ", ".join(text for text in (day_clock(meeting.starts_at), period_of(meeting)) if text)
    return step("done" if meeting.ends_at < timezone.now() else "next", _("Lab day"), note)
