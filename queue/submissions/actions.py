"""What people do with a part: upload, hand in, take back, re-read, approve, send back.

Each is one transaction with one conditional update: of two who are at it at once, one wins and the other is told.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import UploadedFile
from django.db import connection, transaction
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from lessons.models import Assignment, CheckState, KitPart, Team
from lessons.stored import check_room, store_once
from makerlab.accounts import limits
from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.work.actions import enqueue
from meshcheck.types import Unit, Verdict
from submissions import permissions, queries
from submissions.models import Review, Submission, SubmissionQuerySet
from submissions.signals import approved, undone, withdrawn
from submissions.states import NotAllowedNow, State, after
from submissions.uploads import UploadRefused, check_size, clean_name, sha256_of

NOTE_MAX = 400
REVIEW_NOTE_MAX = 2000
STILL_COUNTS = (State.DRAFT, State.HANDED_IN, State.APPROVED)


class NoteNeeded(NotAllowedNow):
    """The step needs a sentence from the person who takes it. The message is shown beside the field."""


class AlreadyHere(UploadRefused):
    """The team uploaded these very bytes before and that version still counts: ``earlier``."""

    def __init__(self, earlier: Submission) -> None:
        super().__init__(
            _("Your team uploaded this very file already: it is version %(version)d.") % {"version": earlier.version}
        )
        self.earlier = earlier


def upload_part(
    user: User,
    assignment: Assignment,
    kit_part: KitPart,
    uploaded_file: UploadedFile[Any],
    for_team: Team | None = None,
) -> Submission:
    """Store a file as the team's next version and have it checked. Students upload for their own team; a teacher of
    the class names the team, which then looks at it and hands it in, or does not.

    Raises PermissionDenied, NotAllowedNow, UploadRefused (empty, too big, too many) or AlreadyHere.
    """
    team = permissions.check_can_upload(user, assignment, kit_part, for_team=for_team)
    if limits.note("upload", user.pk, 3600) > settings.UPLOADS_AN_HOUR:
        raise UploadRefused(_("That are very many files in one hour. Wait a while, then go on."))
    submission = Submission(
        assignment=assignment,
        kit_part=kit_part,
        team=team,
        uploaded_by=user,
        file_name=clean_name(uploaded_file.name),
        file_bytes=check_size(uploaded_file),
        sha256=sha256_of(uploaded_file),
    )
    school_id = assignment.school_class.school_id
    submission.file.save("", uploaded_file, save=False)
    own = submission.file.name or ""
    try:
        with transaction.atomic():
            _number(submission)
            check_room(school_id, submission.file_bytes, queries.bytes_of_team(team.pk))
            store_once(submission, school_id)
            submission.save()
            _start_check(submission)
            _note(user, "upload", submission, version=submission.version, sha256=submission.sha256)
    except BaseException:  # whatever stopped it, a file without a row must not stay behind
        default_storage.delete(own)
        raise
    return submission


def _number(submission: Submission) -> None:
    """Give the next version number. The team's row is the lock, so that two uploads at once get two numbers."""
    _lock_team(submission.team_id)
    same_design = queries.numbered(submission.team_id, submission.assignment_id, submission.kit_part_id)
    still_counts = [
        pk
        for pk, _version, sha256, state, check_state in same_design
        if sha256 == submission.sha256 and state in STILL_COUNTS and check_state != CheckState.FAILED
    ]
    if still_counts:
        raise AlreadyHere(Submission.objects.light().get(pk=still_counts[-1]))
    if len(same_design) >= submission.assignment.files_max:
        raise UploadRefused(
            _("Your team has uploaded all %(count)d versions of this part that are allowed. Ask your teacher.")
            % {"count": submission.assignment.files_max}
        )
    submission.version = 1 + max((version for _pk, version, *_rest in same_design), default=0)


def _lock_team(team_id: int) -> None:
    """Hold the team until the transaction ends (PostgreSQL; SQLite's immediate transactions already stand in line).

    As everywhere here without its key: rows that name the team may be written meanwhile. Whoever approves writes some,
    and would wait for us at the end while we wait for the part that is approved.
    """
    if connection.features.has_select_for_update:
        Team.objects.select_for_update(no_key=True).get(pk=team_id)


def _start_check(submission: Submission) -> None:
    school_id = submission.assignment.school_class.school_id
    enqueue(queries.JOB_KIND, submission.pk, school_id)


def _note(user: User, verb: str, submission: Submission, **facts: Any) -> None:
    record(submission.assignment.school_class.school_id, user, verb, submission, **facts)


def _move(submission: Submission, step: str, rows: SubmissionQuerySet | None = None, **changes: Any) -> None:
    """Take a step if the row still stands where this object says. Raises NotAllowedNow when somebody was quicker."""
    new = after(submission.state, step)
    rows = Submission.objects.all() if rows is None else rows
    if not rows.filter(pk=submission.pk, state=submission.state).update(state=new, **changes):
        submission.refresh_from_db()
        raise NotAllowedNow(
            _("Somebody was quicker: this part is %(state)s now.") % {"state": State(submission.state).label}
        )
    for name, value in {"state": new, **changes}.items():
        setattr(submission, name, value)


def hand_in(user: User, submission: Submission, note: str = "") -> None:
    """Give a checked version to the teacher; the one handed in before is replaced.

    A part with must-fix findings comes in only with a note that says why. Raises PermissionDenied, NotAllowedNow
    or NoteNeeded.
    """
    permissions.check_can_hand_in(user, submission)
    note = note.strip()[:NOTE_MAX]
    if submission.verdict == Verdict.MUST_FIX and not note:
        raise NoteNeeded(_("Say in a sentence why this part should be printed although something must be fixed."))
    with transaction.atomic():
        _lock_team(submission.team_id)
        for other in queries.on_the_way(submission.team_id, submission.assignment_id, submission.kit_part_id):
            other.assignment = submission.assignment  # that of the same design
            _replace(user, other, submission)
        measured = Submission.objects.filter(check_state=CheckState.CHECKED, verdict=submission.verdict)
        _move(submission, "hand_in", measured, handed_in_at=timezone.now(), hand_in_note=note)
        _note(user, "hand_in", submission, version=submission.version, verdict=submission.verdict)


def _replace(user: User, older: Submission, newer: Submission) -> None:
    was_approved = older.state == State.APPROVED
    _move(older, "replace")
    _note(user, "replace", older, by_version=newer.version)
    if was_approved:
        withdrawn.send(sender=Submission, submission=older, user=user)


def take_back(user: User, submission: Submission) -> None:
    """Undo handing in, while the teacher has not decided."""
    permissions.check_can_take_back(user, submission)
    with transaction.atomic():
        _move(submission, "take_back", handed_in_at=None, hand_in_note="")
        _note(user, "take_back", submission, version=submission.version)


def reread_in_unit(user: User, submission: Submission, unit: str) -> None:
    """Check the same upload again, read in another length unit. Raises UploadRefused for a unit nobody knows."""
    permissions.check_can_reread(user, submission)
    if unit not in set(Unit):
        raise UploadRefused(_("That is not a length unit we can read a file in."))
    with transaction.atomic():
        ready = Submission.objects.filter(pk=submission.pk, state=State.DRAFT).exclude(check_state=CheckState.CHECKING)
        if not ready.update(unit=unit, check_state=CheckState.CHECKING, check_error=""):
            raise NotAllowedNow(_("This part changed in the meantime. Look at it again."))
        submission.unit, submission.check_state = unit, CheckState.CHECKING
        _start_check(submission)
        _note(user, "reread", submission, unit=unit)


def lay_for_printing(user: User, submission: Submission, *, turned: bool) -> None:
    """Lay the part as the report advises, or as it is drawn again; it is checked anew as it then lies.

    Raises UploadRefused when the report has no better face to offer."""
    permissions.check_can_lay(user, submission)
    advised = (submission.report or {}).get("pose") or {}
    if turned and not is_turned(advised.get("turn")):
        raise UploadRefused(_("There is no better face to lay this part on."))
    pose = advised["turn"] if turned else None
    with transaction.atomic():
        ready = Submission.objects.filter(pk=submission.pk, state=submission.state, check_state=CheckState.CHECKED)
        if not ready.update(pose=pose, check_state=CheckState.CHECKING, check_error=""):
            raise NotAllowedNow(_("This part changed in the meantime. Look at it again."))
        submission.pose, submission.check_state = pose, CheckState.CHECKING
        _start_check(submission)
        _note(user, "lay", submission, turned=turned)


def is_turned(rotation: Any) -> bool:
    """Whether a rotation from a report moves the part at all."""
    as_drawn = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    return rotation is not None and [[float(x) for x in row] for row in rotation] != as_drawn


def approve(user: User, submission: Submission) -> Review:
    """Let a part be printed. Whoever makes print requests hears of it in the same transaction."""
    permissions.check_can_approve(user, submission)
    with transaction.atomic():
        _move(submission, "approve")
        review = Review.objects.create(submission=submission, reviewer=user, decision=Review.Decision.APPROVED)
        _note(user, "approve", submission, version=submission.version, verdict=submission.verdict)
        approved.send(sender=Submission, submission=submission, user=user)
    return review


def undo_approval(user: User, submission: Submission) -> None:
    """Take an approval back: the part waits for review again and what it ordered is wanted no more.

    Raises PermissionDenied, or NotAllowedNow when it is too late or some of it is printing already."""
    permissions.check_can_undo(user, submission)
    with transaction.atomic():
        _move(submission, "undo")
        submission.reviews.filter(decision=Review.Decision.APPROVED).delete()
        undone.send(sender=Submission, submission=submission, user=user)
        _note(user, "undo_approve", submission, version=submission.version)


def return_with_note(user: User, submission: Submission, note: str, seen: str | None = None) -> Review:
    """Send a part back and say what to change. ``seen`` is the state the person looked at: sending back a part
    which somebody else approved in the meantime must not happen by accident."""
    permissions.check_can_return(user, submission)
    if seen is not None and seen != submission.state:
        label = State(submission.state).label
        raise NotAllowedNow(_("Somebody was quicker: this part is %(state)s now.") % {"state": label})
    note = note.strip()[:REVIEW_NOTE_MAX]
    if not note:
        raise NoteNeeded(_("Say what to change, so that the team knows how to go on."))
    was_approved = submission.state == State.APPROVED
    with transaction.atomic():
        _move(submission, "return")
        review = Review.objects.create(
            submission=submission, reviewer=user, decision=Review.Decision.RETURNED, note=note
        )
        _note(user, "return", submission, version=submission.version)
        if was_approved:
            withdrawn.send(sender=Submission, submission=submission, user=user)
    return review


def approve_all_passing(user: User, seen: Collection[int]) -> list[Submission]:
    """Approve what passes every check, of those the person saw (by id); what came in or was decided in the meantime
    is left alone."""
    done = []
    for submission in queries.review_pile(user).filter(verdict=Verdict.OK, pk__in=seen):
        try:
            approve(user, submission)
        except NotAllowedNow:
            continue
        done.append(submission)
    return done
