"""Who may do what with a file, and when. ``check_can_x`` raises, ``can_x`` asks, so page and action agree.

PermissionDenied: this person never may. NotAllowedNow: not at this moment, with a sentence for people.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.core.exceptions import PermissionDenied
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from lessons.models import Assignment, CheckState, KitPart, SchoolClass, Team
from makerlab.accounts.models import User
from meshcheck.types import Verdict
from submissions import queries
from submissions.models import Submission
from submissions.states import NotAllowedNow, State, after

# a file uploaded in the last minute is still being checked when the time is up
HAND_IN_GRACE = timedelta(minutes=10)
UNDO_TIME = timedelta(minutes=10)


def asks(check: Callable[..., Any], *args: Any, **known: Any) -> bool:
    """Whether a check passes. ``known``: what a page has found out already, so that it is not asked again for each."""
    try:
        check(*args, **known)
    except (PermissionDenied, NotAllowedNow):
        return False
    return True


def check_can_upload(
    user: User, assignment: Assignment, kit_part: KitPart, own_team: Team | None = None, for_team: Team | None = None
) -> Team:
    """Return the team the file would belong to. ``own_team``: known to be the student's in the assignment's class;
    ``for_team``: whose file a teacher of the class, or an administrator, brings."""
    if for_team is not None:
        check_can_review_class(user, assignment)
        own_team = for_team if for_team.school_class_id == assignment.school_class_id else None
    if not user.is_student and own_team is None:
        raise PermissionDenied
    team = own_team or queries.team_of(user, assignment)  # who has one there may see what its class was given
    if team is None and not Assignment.objects.visible_to(user).filter(pk=assignment.pk).exists():
        raise PermissionDenied
    if kit_part.plan_id != assignment.plan_id or not kit_part.redesignable:
        raise PermissionDenied
    if team is None:
        raise NotAllowedNow(_("You are not in a team yet. Ask your teacher to put you in one, then upload again."))
    if not assignment.is_open:
        raise NotAllowedNow(_("The time to upload is over. Ask your teacher whether a late file can still come in."))
    return team


def can_upload(user: User, assignment: Assignment, kit_part: KitPart, own_team: Team | None = None) -> bool:
    return asks(check_can_upload, user, assignment, kit_part, own_team=own_team)


def check_is_own(user: User, submission: Submission, own: bool | None = None) -> None:
    """A student of the team the file belongs to. ``own``: whether it is, where that is known."""
    if own is None:
        own = queries.is_team_of(user, submission.team_id)
    if not own:
        raise PermissionDenied


def check_can_hand_in(user: User, submission: Submission, own: bool | None = None) -> None:
    check_is_own(user, submission, own)
    after(submission.state, "hand_in")
    if submission.check_state == CheckState.CHECKING:
        raise NotAllowedNow(_("The file is still being checked. Wait for the report, then hand it in."))
    if submission.check_state == CheckState.FAILED or submission.verdict == Verdict.REJECTED:
        raise NotAllowedNow(_("This file could not be read as a part, so it cannot be handed in. Upload a mended one."))
    if timezone.now() > submission.assignment.upload_by + HAND_IN_GRACE:
        raise NotAllowedNow(_("The time to hand in is over. Ask your teacher whether a late part can still come in."))


def can_hand_in(user: User, submission: Submission, own: bool | None = None) -> bool:
    return asks(check_can_hand_in, user, submission, own=own)


def check_can_take_back(user: User, submission: Submission, own: bool | None = None) -> None:
    check_is_own(user, submission, own)
    after(submission.state, "take_back")


def can_take_back(user: User, submission: Submission, own: bool | None = None) -> bool:
    return asks(check_can_take_back, user, submission, own=own)


def check_can_reread(user: User, submission: Submission, own: bool | None = None) -> None:
    """Reading the same file in another unit makes another part of it: only while it is not handed in."""
    check_is_own(user, submission, own)
    if submission.state != State.DRAFT:
        raise NotAllowedNow(_("This part is handed in. Take it back first, then change its unit."))
    if submission.check_state == CheckState.CHECKING:
        raise NotAllowedNow(_("The file is still being checked. Wait for the report first."))


def can_reread(user: User, submission: Submission, own: bool | None = None) -> bool:
    return asks(check_can_reread, user, submission, own=own)


def check_can_lay(user: User, submission: Submission, own: bool | None = None, reviews: bool | None = None) -> None:
    """How a part lies on the plate is the team's to say while it is theirs, and the teacher's once it is handed in."""
    if submission.state == State.HANDED_IN:
        check_can_review(user, submission, reviews)
    else:
        check_is_own(user, submission, own)
        if submission.state != State.DRAFT:
            raise NotAllowedNow(_("This part was decided on already; how it lies cannot be changed any more."))
    if submission.check_state != CheckState.CHECKED:
        raise NotAllowedNow(_("The file is still being checked. Wait for the report first."))


def can_lay(user: User, submission: Submission, own: bool | None = None, reviews: bool | None = None) -> bool:
    return asks(check_can_lay, user, submission, own=own, reviews=reviews)


def check_can_review(user: User, submission: Submission, reviews: bool | None = None) -> None:
    """Teachers of the class, and administrators of the school. ``reviews``: whether they are, where that is known."""
    if reviews is None:
        check_can_review_class(user, submission.assignment)
    elif not reviews:
        raise PermissionDenied


def check_can_review_class(user: User, assignment: Assignment) -> None:
    """Teachers of the class it was given to, and administrators of the school."""
    if not SchoolClass.objects.editable_by(user).filter(pk=assignment.school_class_id).exists():
        raise PermissionDenied


def can_review(user: User, submission: Submission) -> bool:
    return asks(check_can_review, user, submission)


def check_can_approve(user: User, submission: Submission) -> None:
    check_can_review(user, submission)
    after(submission.state, "approve")


def can_approve(user: User, submission: Submission) -> bool:
    return asks(check_can_approve, user, submission)


def check_can_undo(user: User, submission: Submission) -> None:
    """Whoever approved takes it back within ten minutes; later the part is sent back with a note."""
    check_can_review(user, submission)
    after(submission.state, "undo")
    review = queries.last_review(submission)
    if review is None or review.reviewer_id != user.pk:
        raise NotAllowedNow(_("Somebody else approved this part. Send it back with a note instead."))
    if timezone.now() - review.at > UNDO_TIME:
        raise NotAllowedNow(_("It was approved more than ten minutes ago. Send it back with a note instead."))


def check_can_return(user: User, submission: Submission) -> None:
    check_can_review(user, submission)
    after(submission.state, "return")


def can_return(user: User, submission: Submission) -> bool:
    return asks(check_can_return, user, submission)
