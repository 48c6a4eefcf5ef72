"""The student's page: what to make, where it is, and where files come in."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from lessons.classes.members import places_of
from lessons.models import Assignment, Membership
from makerlab import news
from makerlab.http import SignedInRequest, is_fragment
from submissions import actions, following, queries
from submissions.parts_page import parts_page
from submissions.states import NotAllowedNow
from submissions.steps import period_of
from submissions.uploads import UploadRefused

PAGE = "submissions/part_list.html"
DIGITS_MAX = 18  # of a row number


@require_safe
def part_list(request: SignedInRequest) -> HttpResponse:
    """My parts. ``?assignment=`` picks one; an htmx request gets the live parts, or 204 when nothing changed."""
    if not request.user.is_student:
        return redirect("home")
    if is_fragment(request) and (answer := known_parts(request)):
        return answer
    assignments = queries.assignments_of(request.user)
    wanted = request.GET.get("assignment")
    chosen = next((a for a in assignments if str(a.pk) == wanted), None)
    if wanted and chosen is None:
        raise Http404
    context = page_context(request, chosen or next(iter(assignments), None), assignments)
    if is_fragment(request):
        return HttpResponse(following.drawn_parts(context))
    return render(request, PAGE, context)


def known_parts(request: SignedInRequest) -> HttpResponse | None:
    """204 when the page is as it was when it was last shown; its live parts when a team mate's has them already."""
    assignment, since = request.GET.get("assignment", ""), request.GET.get("since", "")
    if not (assignment.isdecimal() and len(assignment) <= DIGITS_MAX and since):
        return None
    team_id = queries.team_id_of(request.user.pk, int(assignment))
    return None if team_id is None else following.parts_of(team_id, int(assignment), since)


def remember_places(request: SignedInRequest) -> list[Membership]:
    """The student's places, read once for the page and for its head, which says who is signed in."""
    request.memberships = places_of(request.user.pk)
    return request.memberships


def page_context(
    request: SignedInRequest, assignment: Assignment | None, assignments: list[Assignment]
) -> dict[str, Any]:
    """What the page shows for one assignment; without one, or without a team, it says what to do."""
    context: dict[str, Any] = {"assignment": assignment, "assignments": assignments}
    if assignment is None:
        return context
    places = remember_places(request)
    team = next((place.team for place in places if place.school_class_id == assignment.school_class_id), None)
    page = parts_page(assignment, team) if team else None
    watch = news.watch(request, following.PARTS, team.pk, assignment.pk) if team else ""
    return {**context, "team": team, "page": page, "watch": watch, "period": period_of(assignment.meeting)}


def in_place(response: HttpResponse) -> HttpResponse:
    """A form that came back with errors leaves the address line alone: its own address takes only POST."""
    response["HX-Push-Url"] = "false"
    return response


@require_POST
def submission_create(request: SignedInRequest, assignment_id: int, kit_part_id: int) -> HttpResponse:
    """Take a file. Goes to its report; what is wrong with it is said beside the field, and nothing is lost."""
    assignments = queries.assignments_of(request.user)
    assignment = next((a for a in assignments if a.pk == assignment_id), None)
    part = queries.kit_part(request.user, kit_part_id)
    if assignment is None or part is None:
        raise Http404
    try:
        file = request.FILES.get("file")
        if not isinstance(file, UploadedFile):
            raise UploadRefused(_("Choose a file first."))
        submission = actions.upload_part(request.user, assignment, part, file)
    except PermissionDenied as error:
        raise Http404 from error
    except actions.AlreadyHere as told:
        messages.info(request, str(told))
        return redirect("submissions:submission-report", pk=told.earlier.pk)
    except (NotAllowedNow, UploadRefused) as refused:
        context = page_context(request, assignment, assignments)
        context |= {"refused": [str(refused)], "refused_part": part.pk}
        return in_place(render(request, PAGE, context, status=422))
    return redirect("submissions:submission-report", pk=submission.pk)
