"""The wheels the teams of the invented club drew, approved before its last lab day and checked like any file."""

from __future__ import annotations

import hashlib

from django.core.files.base import ContentFile

from lessons.models import Assignment, Team
from makerlab.accounts.models import School, User
from makerlab.demo import fixtures
from makerlab.work.actions import enqueue
from printing.models import PrintRequest
from submissions.models import Review, Submission
from submissions.queries import JOB_KIND
from submissions.states import State


def write_wheels(school: School, class_name: str) -> int:
    """One for each team of the class, on the print request of its kit part; returns how many are to be checked."""
    requests = PrintRequest.objects.filter(
        assignment__school_class__school=school, assignment__school_class__name=class_name,
        kit_part__redesignable=True, team__isnull=False,
    )  # fmt: skip
    for request in requests.select_related("assignment", "kit_part", "team").order_by("team__number"):
        teacher = request.assignment.created_by
        if request.team is None or teacher is None:
            continue
        request.submission = _wheel(request, request.assignment, request.team, teacher)
        request.save(update_fields=["submission"])
        enqueue(JOB_KIND, request.submission.pk, school.pk)
    return requests.count()


def _wheel(request: PrintRequest, assignment: Assignment, team: Team, teacher: User) -> Submission:
    name = f"{team.name.lower()}-wheel-1.stl"
    data = (fixtures.FOLDER / "meshes" / "club" / name).read_bytes()
    submission = Submission(
        assignment=assignment, kit_part=request.kit_part, team=team, file_name=name, file_bytes=len(data),
        sha256=hashlib.sha256(data).hexdigest(), version=1, state=State.APPROVED, handed_in_at=assignment.upload_by,
    )  # fmt: skip
    submission.file.save("", ContentFile(data))
    Review.objects.create(submission=submission, reviewer=teacher, decision=Review.Decision.APPROVED)
    return submission
