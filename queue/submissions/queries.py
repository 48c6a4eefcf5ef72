"""What the pages of students and teachers ask for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from django.db import models
from django.db.models import Case, Count, OuterRef, Subquery, When
from django.db.models.functions import Coalesce
from django.utils import timezone

from lessons.models import Assignment, CheckState, KitPart, Membership, Team
from makerlab.accounts.models import Role, User
from makerlab.accounts.queries import a_student
from makerlab.prepared import Prepared
from makerlab.work.models import Job
from submissions.models import Review, Submission, SubmissionQuerySet
from submissions.progress import Decision, ProgressSource
from submissions.states import State

# what a page about one submission shows of what it belongs to
RELATED = ("kit_part", "team__school_class__school", "assignment__plan", "assignment__meeting")

# Printing is a higher layer: it adds its source here when it starts (AppConfig.ready).
progress_sources: list[ProgressSource] = []

# The same for what a kilogram of the part's filament costs today; None when nobody has said.
price_sources: list[Callable[[Submission], Decimal | None]] = []

DECIDED = {"by": "reviewer__display_name", "at": "at", "note": "note"}
JOB_KIND = "check-submission"
REVIEWS_WAITING = "reviews_waiting"  # of a person, told with whoever is signed in


def reviews_waiting() -> Case:
    """An expression about a user: how many parts wait for this person's decision."""
    waiting = Submission.objects.filter(state=State.HANDED_IN).order_by()
    own = waiting.filter(team__school_class__teachers=OuterRef("pk"))
    all_of_school = waiting.filter(team__school_class__school=OuterRef("school"))
    count = Coalesce(Subquery(own.values("state").annotate(count=Count("pk")).values("count")), 0)
    count_all = Coalesce(Subquery(all_of_school.values("state").annotate(count=Count("pk")).values("count")), 0)
    return Case(When(role=Role.TEACHER, then=count), When(role=Role.ADMINISTRATOR, then=count_all), default=0)


def progress_rows(team_id: int, assignment_id: int) -> list[tuple[ProgressSource, list[Any]]]:
    """What every registered source has about the parts of this team, as it lies in the database."""
    return [(source, list(source.rows(team_id, assignment_id))) for source in progress_sources]


def state_rows(versions: Iterable[Submission]) -> list[tuple[Any, ...]]:
    """Of versions as ``designs`` reads them, what changes while they are on their way."""
    return sorted((v.pk, v.state, v.check_state, v.verdict, getattr(v, "decisions", 0)) for v in versions)


@Prepared
def _state_rows(team_id: int, assignment_id: int) -> models.QuerySet[Submission, tuple[Any, ...]]:
    found = Submission.objects.filter(team=team_id, assignment=assignment_id).order_by("pk")
    counted = found.annotate(decisions=Count("reviews"))
    return counted.values_list("pk", "state", "check_state", "verdict", "decisions")


def read_state_rows(team_id: int, assignment_id: int) -> list[tuple[Any, ...]]:
    """The same of all versions of a team, without reading them whole. One query."""
    return _state_rows(team_id, assignment_id)


def price_per_kg(submission: Submission) -> Decimal | None:
    """What a kilogram of its filament costs, by the first source that knows."""
    return next((price for source in price_sources if (price := source(submission)) is not None), None)


@Prepared
def _team_of_student(user_id: int, school_id: int, class_id: int) -> models.QuerySet[Team]:
    return Team.objects.visible_to(a_student(user_id, school_id)).filter(school_class=class_id)[:1]


def team_of(user: User, assignment: Assignment) -> Team | None:
    """The student's team in the class of this assignment; None where it may not be seen any more."""
    if not user.is_student:
        return None
    return _team_of_student.first(user.pk, user.school_id, assignment.school_class_id)


@Prepared
def _is_team_of_student(user_id: int, school_id: int, team_id: int) -> models.QuerySet[Team, int]:
    own = Team.objects.visible_to(a_student(user_id, school_id)).filter(pk=team_id)
    return own.values_list("pk", flat=True)[:1]


def is_team_of(user: User, team_id: int) -> bool:
    """Whether it is a team of this student, in a class that is in use."""
    return user.is_student and bool(_is_team_of_student(user.pk, user.school_id, team_id))


@Prepared
def _kit_part_of_student(user_id: int, school_id: int, pk: int) -> models.QuerySet[KitPart]:
    visible = KitPart.objects.visible_to(a_student(user_id, school_id))
    return visible.filter(pk=pk).defer("report", "picture")


def kit_part(user: User, pk: int) -> KitPart | None:
    """The part, if this person may see it; without its report and its picture."""
    if user.is_student:
        return _kit_part_of_student.first(user.pk, user.school_id, pk)
    return KitPart.objects.visible_to(user).filter(pk=pk).defer("report", "picture").first()


Numbered = tuple[int, int, str, str, str]  # key, version, sha256, state, check_state


@Prepared
def numbered(team_id: int, assignment_id: int, kit_part_id: int) -> models.QuerySet[Submission, Numbered]:
    """What a new version of a design is held against: all versions of it, oldest first."""
    same = Submission.objects.filter(team=team_id, assignment=assignment_id, kit_part=kit_part_id)
    return same.order_by("version").values_list("pk", "version", "sha256", "state", "check_state")


@Prepared
def _team_ids(user_id: int, assignment_id: int) -> models.QuerySet[Membership, int]:
    places = Membership.objects.in_use(user_id).filter(school_class__assignments=assignment_id)
    return places.values_list("team_id", flat=True)[:1]


def team_id_of(user_id: int, assignment_id: int) -> int | None:
    """The student's team in the class of this assignment, by its number; None where there is none, or it may not be
    seen any more."""
    return _team_ids.first(user_id, assignment_id)


@Prepared
def _assignments_of_student(user_id: int, school_id: int) -> models.QuerySet[Assignment]:
    own = Assignment.objects.visible_to(a_student(user_id, school_id))
    return own.select_related("plan", "school_class", "meeting")


def assignments_of(user: User) -> list[Assignment]:
    """The student's assignments, the soonest meeting that is not over first, then those that are over."""
    if user.is_student:
        found = _assignments_of_student(user.pk, user.school_id)
    else:
        found = list(Assignment.objects.visible_to(user).select_related("plan", "school_class", "meeting"))
    now = timezone.now()
    by_start = sorted(found, key=lambda assignment: assignment.meeting.starts_at)
    coming = [assignment for assignment in by_start if assignment.meeting.ends_at > now]
    over = [assignment for assignment in reversed(by_start) if assignment.meeting.ends_at <= now]
    return coming + over


@Prepared
def designs(team_id: int, assignment_id: int) -> SubmissionQuerySet:
    """All versions of all parts of a team in an assignment, newest first, without their pictures; with the number of
    ``decisions`` on each and what ``decision_of`` tells of the newest."""
    newest = Review.objects.filter(submission=OuterRef("pk")).order_by("-pk")
    told = {f"decided_{name}": Subquery(newest.values(path)[:1]) for name, path in DECIDED.items()}
    found = Submission.objects.filter(team=team_id, assignment=assignment_id).select_related("kit_part")
    return found.defer("picture").annotate(decisions=Count("reviews"), **told).newest_first()


def decision_of(version: Submission) -> Decision | None:
    """The decision that counts, of a version as ``designs`` reads it; None where there is none."""
    told = {name: getattr(version, f"decided_{name}") for name in DECIDED}
    return Decision(**{**told, "by": told["by"] or ""}) if told["at"] else None


@Prepared
def _found_by_student(user_id: int, school_id: int, pk: int) -> SubmissionQuerySet:
    own = Submission.objects.visible_to(a_student(user_id, school_id))
    return own.select_related(*RELATED).defer("kit_part__picture").filter(pk=pk)


def found(user: User, pk: int) -> Submission | None:
    """The submission with all it belongs to, if this person may know of it."""
    if user.is_student:
        submission = _found_by_student.first(user.pk, user.school_id, pk)
    else:
        visible = Submission.objects.visible_to(user).select_related(*RELATED).defer("kit_part__picture")
        submission = visible.filter(pk=pk).first()
    if submission is not None:
        submission.assignment.school_class = submission.team.school_class
    return submission


def versions(submission: Submission) -> SubmissionQuerySet:
    """All versions of the same design, oldest first."""
    return Submission.objects.filter(
        team_id=submission.team_id, assignment_id=submission.assignment_id, kit_part_id=submission.kit_part_id
    ).order_by("version")


@Prepared
def reported_versions(team_id: int, assignment_id: int, kit_part_id: int) -> SubmissionQuerySet:
    """All versions of a design, oldest first, without their pictures."""
    same = Submission.objects.filter(team=team_id, assignment=assignment_id, kit_part=kit_part_id)
    return same.defer("picture").order_by("version")


@Prepared
def on_the_way(team_id: int, assignment_id: int, kit_part_id: int) -> SubmissionQuerySet:
    """The versions of a design that the teacher has, without report and picture."""
    same = Submission.objects.filter(team=team_id, assignment=assignment_id, kit_part=kit_part_id)
    return same.filter(state__in=[State.HANDED_IN, State.APPROVED]).light().order_by("version")


@Prepared
def _files_of_team(team_id: int) -> models.QuerySet[Submission, tuple[str, int]]:
    return Submission.objects.filter(team=team_id).order_by().values_list("file", "file_bytes").distinct()


def bytes_of_team(team_id: int) -> int:
    """Bytes of all files of a team, each file once."""
    return sum(size for _name, size in _files_of_team(team_id))


def review_pile(user: User) -> SubmissionQuerySet:
    """What waits for this person's decision: the soonest meeting first, then first come, first served.

    Asks for the person's teams at once: with their keys the database looks at what waits of theirs, and not at what
    waits in a whole district.
    """
    if user.is_technician:
        return Submission.objects.none()
    teams = list(Team.objects.visible_to(user).values_list("pk", flat=True))
    return (
        Submission.objects.filter(team__in=teams, state=State.HANDED_IN, check_state=CheckState.CHECKED)
        .select_related("kit_part", "team__school_class", "assignment__meeting")
        .order_by("assignment__meeting__starts_at", "handed_in_at", "id")
    )


@Prepared
def _check_jobs(subject: str) -> models.QuerySet[Job]:
    return Job.objects.filter(kind=JOB_KIND, subject=subject).order_by("-id")[:1]


def check_job(submission_id: int) -> Job | None:
    """The newest check of this upload."""
    return _check_jobs.first(str(submission_id))


@Prepared
def _reviews(submission_id: int) -> models.QuerySet[Review]:
    return Review.objects.filter(submission=submission_id).select_related("reviewer").order_by("-pk")[:1]


def last_review(submission: Submission) -> Review | None:
    """The decision that counts: the newest one."""
    return _reviews.first(submission.pk)


@Prepared
def kit_parts(plan_id: int) -> models.QuerySet[KitPart]:
    """Everything one team needs."""
    return (
        KitPart.objects.filter(plan_id=plan_id, archived_at=None)
        .select_related("gauge")
        .defer("report", "picture")
        .order_by("position", "id")
    )
