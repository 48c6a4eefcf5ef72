"""What open pages of students ask again and again, answered in few questions (makerlab.news): has my team's page
changed, and where does my file stand in its line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.core.cache import cache
from django.db import models
from django.http import HttpResponse
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import get_language

from lessons.models import CheckState
from makerlab.prepared import Prepared
from makerlab.work.line import expected_wait, place_in_line
from makerlab.work.models import Job
from submissions import queries
from submissions.models import Submission
from submissions.parts_page import PartsPage, read_revision

PARTS, REPORT = "parts", "report"  # the names of the topics
PARTS_PAGE = "submissions/part_list.html"
REPORT_PAGE = "submissions/submission_report.html"
KEPT_S = 60
ASK_AGAIN_MOST_S = 15


def unchanged() -> HttpResponse:
    return HttpResponse(status=204)


# ---- my parts ----------------------------------------------------------------------------------------------------


def parts(user_id: int, since: str, *of: int) -> HttpResponse | None:
    """Of a team and an assignment; None, too, when the person is not in the team or the class is over."""
    team_id, assignment_id = of
    allowed = queries.team_id_of(user_id, assignment_id) == team_id
    return parts_of(team_id, assignment_id, since) if allowed else None


def parts_of(team_id: int, assignment_id: int, since: str) -> HttpResponse | None:
    """204 when the page is as it was seen; the live parts when a team mate's page has them already; None when they are
    to be drawn."""
    revision = read_revision(team_id, assignment_id)
    if since == revision:
        return unchanged()
    drawn = cache.get(_key(team_id, assignment_id, revision))
    return HttpResponse(drawn) if drawn else None


def drawn_parts(context: dict[str, Any]) -> str:
    """The live parts, drawn without a request, so that they hold nothing of one person: they are kept for the others of
    the team until the minute is over."""
    drawn = render_to_string(f"{PARTS_PAGE}#live", {**context, "oob": True})
    page: PartsPage | None = context.get("page")
    if page is not None:
        cache.set(_key(page.team.pk, page.assignment.pk, page.revision), drawn, KEPT_S)
    return drawn


def _key(team_id: int, assignment_id: int, revision: str) -> str:
    minute = int(timezone.now().timestamp()) // 60  # what is drawn tells times
    return f"parts.{team_id}.{assignment_id}.{revision}.{minute}.{get_language()}"


# ---- a report that is not there yet ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Line:
    """Where a file stands: how many checks come first, how long that may take, when to ask again."""

    ahead: int
    wait_min: int
    again_s: int

    @property
    def token(self) -> str:
        return f"{self.ahead}.{self.wait_min}.{self.again_s}"


def line_of(job: Job | None) -> Line:
    """``job``: the check of the file; None where there is none, which is as good as the next one."""
    ahead = place_in_line(job) if job else 0
    wait = expected_wait(job, ahead) if job and ahead else None
    wait_s = wait.total_seconds() if wait else 0.0
    return Line(ahead, round(wait_s / 60), ask_again_s(wait_s))


def ask_again_s(wait_s: float) -> int:
    """When a page that waits so long for its turn asks again: after a quarter of it, 1 s at the least and 15 s at the
    most. A class that uploads all at once would otherwise keep the server busy with asking."""
    return min(ASK_AGAIN_MOST_S, max(1, round(wait_s / 4)))


@Prepared
def _waiting(submission_id: int) -> models.QuerySet[Submission]:
    found = Submission.objects.filter(pk=submission_id, check_state=CheckState.CHECKING)
    return found.only("check_state", "team_id", "assignment_id")


def report(user_id: int, since: str, *of: int) -> HttpResponse | None:
    """Of a file: while it waits, its place in line, 204 when that is as it was seen; None
    when it was checked, and when the person is not in the team or the class is over."""
    (submission_id,) = of
    found = _waiting.first(submission_id)
    if found is None or queries.team_id_of(user_id, found.assignment_id) != found.team_id:
        return None
    line = line_of(queries.check_job(submission_id))
    if since == line.token:
        return unchanged()
    return HttpResponse(render_to_string(f"{REPORT_PAGE}#live", {"submission": found, "line": line, "oob": True}))
