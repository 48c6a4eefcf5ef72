"""Assignments with what one needs to know to send something for them, and submissions with their reports."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from django.db.models import Prefetch, Q, QuerySet
from ninja import File, Form, Router, Schema
from ninja.files import UploadedFile
from ninja.responses import Status
from pydantic import Field

from lessons.models import Assignment, KitPart, Team
from makerlab.api.door import ApiRequest
from makerlab.api.scopes import Scope
from makerlab.api.views.common import After, Key, Limit, Page, Sent, Since, Text, minutes, needs, one, page
from makerlab.audit.models import Event
from submissions import actions
from submissions.models import Submission

router = Router(tags=["submissions"])
SubmissionState = Literal["draft", "handed_in", "approved", "returned", "replaced"]


class TeamOut(Schema):
    id: int
    number: int
    tray: int


class KitPartOut(Schema):
    id: int
    code: str
    name: str
    redesignable: bool
    copies_per_team: int


class AssignmentOut(Schema):
    """A lesson given to a class."""

    id: int
    lesson: str
    class_name: str
    upload_by: datetime
    meeting_starts_at: datetime
    meeting_ends_at: datetime
    teams: list[TeamOut]
    kit_parts: list[KitPartOut]


class FindingOut(Schema):
    code: str
    level: str
    title: str
    figure: str
    mend: str


class ReviewOut(Schema):
    decision: str
    note: str
    at: datetime


class SubmissionOut(Schema):
    """One uploaded version. Figures are null until it is checked. ``print_minutes`` and ``mass_g`` are of the file."""

    id: int
    assignment: int
    kit_part: int
    team: int
    version: int
    state: str
    check_state: str
    verdict: str
    uploaded_at: datetime
    checked_at: datetime | None
    handed_in_at: datetime | None
    file_name: str
    file_bytes: int
    sha256: str
    copies_in_file: int
    mass_g: float | None
    print_minutes: float | None
    width_mm: float | None
    depth_mm: float | None
    height_mm: float | None


class SubmissionWhole(SubmissionOut):
    """With what the check found and what was decided."""

    check_error: str
    findings: list[FindingOut]
    reviews: list[ReviewOut]


@router.get("/assignments", response=Page[AssignmentOut], url_name="assignment-list", **needs())
def assignment_list(request: ApiRequest, limit: Limit = 50, after: After = None) -> dict[str, Any]:
    """Lessons given to the classes you see, with their teams and kit parts."""
    teams = Prefetch("school_class__teams", Team.objects.visible_to(request.user))
    parts = Prefetch("plan__kit_parts", KitPart.objects.visible_to(request.user).filter(archived_at__isnull=True))
    found = Assignment.objects.visible_to(request.user).select_related("plan", "school_class", "meeting")
    rows, more = page(found.prefetch_related(teams, parts), limit, after)
    return {"items": [_assignment(row) for row in rows], "next": more}


def _assignment(row: Assignment) -> dict[str, Any]:
    return {
        "id": row.pk,
        "lesson": row.plan.title,
        "class_name": row.school_class.name,
        "upload_by": row.upload_by,
        "meeting_starts_at": row.meeting.starts_at,
        "meeting_ends_at": row.meeting.ends_at,
        "teams": list(row.school_class.teams.all()),
        "kit_parts": list(row.plan.kit_parts.all()),
    }


@router.get("/submissions", response=Page[SubmissionOut], url_name="submission-list", **needs(Scope.SUBMISSIONS_READ))
def submission_list(
    request: ApiRequest,
    assignment: Key | None = None,
    state: SubmissionState | None = None,
    since: Since = None,
    limit: Limit = 50,
    after: After = None,
) -> dict[str, Any]:
    """Versions of parts, without their findings."""
    rows = Submission.objects.visible_to(request.user).light()
    if assignment is not None:
        rows = rows.filter(assignment=assignment)
    if state is not None:
        rows = rows.filter(state=state)
    if since is not None:
        rows = rows.filter(Q(checked_at__gte=since) | Q(pk__in=_changed(request, since)))
    found, more = page(rows, limit, after)
    return {"items": [submission_out(row) for row in found], "next": more}


def _changed(request: ApiRequest, since: datetime) -> list[int]:
    """Ids of submissions something was done with since then: every step leaves a record in its own transaction."""
    events = Event.objects.of_school(request.user.school_id).filter(subject_kind="submission", at__gte=since)
    return [int(pk) for pk in set(events.values_list("subject_id", flat=True))]


def submission_out(row: Submission) -> dict[str, Any]:
    """A submission as the interface tells it."""
    told: dict[str, Any] = {name: getattr(row, name) for name in SAME}
    keys = {"id": row.pk, "assignment": row.assignment_id, "kit_part": row.kit_part_id, "team": row.team_id}
    return {**told, **keys, "print_minutes": minutes(row.duration_s)}


SAME = (
    "version", "state", "check_state", "verdict", "uploaded_at", "checked_at", "handed_in_at", "file_name",
    "file_bytes", "sha256", "copies_in_file", "mass_g", "width_mm", "depth_mm", "height_mm",
)  # fmt: skip


def own_submissions(request: ApiRequest) -> QuerySet[Submission]:
    """What this token's owner sees, with what the actions ask for."""
    return Submission.objects.visible_to(request.user).select_related("assignment__school_class", "kit_part", "team")


def submission_whole(row: Submission) -> dict[str, Any]:
    """With findings and reviews."""
    return {
        **submission_out(row),
        "check_error": row.check_error,
        "findings": row.findings,
        "reviews": list(row.reviews.all()),
    }


@router.get(
    "/submissions/{pk}", response=SubmissionWhole, url_name="submission-detail", **needs(Scope.SUBMISSIONS_READ)
)
def submission_detail(request: ApiRequest, pk: Key) -> dict[str, Any]:
    """One version with its findings and the decisions on it."""
    return submission_whole(one(own_submissions(request).defer("picture"), pk))


class ReturnIn(Sent):
    """``seen`` is the state you decided on: when somebody was quicker, nothing is sent back."""

    note: Annotated[Text, Field(max_length=actions.REVIEW_NOTE_MAX)]
    seen: SubmissionState | None = None


@router.post(
    "/assignments/{pk}/submissions", response={200: SubmissionOut, 201: SubmissionOut},
    url_name="assignment-upload", **needs(Scope.SUBMISSIONS_WRITE),
)  # fmt: skip
def submission_create(
    request: ApiRequest,
    pk: Key,
    kit_part: Annotated[Key, Form()],
    team: Annotated[Key, Form()],
    file: Annotated[UploadedFile, File(description="the mesh: STL, OBJ or 3MF")],
) -> Status[Any]:
    """Upload a part for a team of your class. It becomes the team's next version and is checked; the team hands it
    in, or does not. The very file that counts already: 200 with that version."""
    assignment = one(Assignment.objects.visible_to(request.user).select_related("school_class"), pk)
    part = one(KitPart.objects.visible_to(request.user), kit_part)
    whose = one(Team.objects.visible_to(request.user), team)
    try:
        made = actions.upload_part(request.user, assignment, part, file, for_team=whose)
    except actions.AlreadyHere as told:
        return Status(200, submission_out(told.earlier))
    return Status(201, submission_out(made))


@router.post(
    "/submissions/{pk}/approve", response=SubmissionWhole, url_name="submission-approve",
    **needs(Scope.SUBMISSIONS_WRITE),
)  # fmt: skip
def submission_approve(request: ApiRequest, pk: Key) -> dict[str, Any]:
    """Let a part that was handed in be printed."""
    submission: Submission = one(own_submissions(request), pk)
    actions.approve(request.user, submission)
    return submission_whole(submission)


@router.post(
    "/submissions/{pk}/return", response=SubmissionWhole, url_name="submission-return",
    **needs(Scope.SUBMISSIONS_WRITE),
)  # fmt: skip
def submission_return(request: ApiRequest, pk: Key, told: ReturnIn) -> dict[str, Any]:
    """Send a part back with a note to the team."""
    submission: Submission = one(own_submissions(request), pk)
    actions.return_with_note(request.user, submission, told.note, told.seen)
    return submission_whole(submission)
