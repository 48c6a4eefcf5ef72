"""Lab day: the team's sheet, the readings devices send, and the class board."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.text import get_valid_filename
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from lessons.lab import actions, exports, queries
from lessons.lab.actions import NewReading, ReadingRefused
from lessons.lab.board import board_page
from lessons.lab.expectation import expectation_page
from lessons.lab.experiment import Experiment, ExperimentError
from lessons.lab.model_page import model_page
from lessons.lab.sheet import sheet_page
from lessons.lab.typed import NotANumber, number_typed
from lessons.models import Assignment, LabBoard, Team
from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.http import SignedInRequest, is_fragment

READINGS_MOST = 100  # of one sending; a team makes some twenty in a lesson
BODY_MOST = 64 * 1024


def lab_of(request: SignedInRequest, pk: int) -> tuple[Assignment, Experiment]:
    """An assignment this person may see and its experiment; 404 when there is none."""
    assignment = queries.assignment_for(request.user, pk)
    if assignment is None:
        raise Http404
    try:
        experiment = queries.experiment_of(assignment)
    except ExperimentError as error:
        raise Http404(str(error)) from error
    if experiment is None:
        raise Http404
    return assignment, experiment


def chosen_team(request: SignedInRequest, assignment: Assignment, asked: str) -> Team | None:
    """A student's own team; staff choose one of the class. Of an assignment from ``lab_of``."""
    teams = queries.teams_of(assignment)  # who sees the class sees its teams
    if request.user.is_student:
        own = getattr(assignment, "own_team", None)
        return next((team for team in teams if team.pk == own), None)
    if asked.isdigit() and len(asked) < 12:
        return next((team for team in teams if team.pk == int(asked)), None)
    return teams[0] if teams else None


@require_safe
def lab_list(request: SignedInRequest) -> HttpResponse:
    """The lab days of a person's classes; a student with one goes straight to the sheet."""
    rows = Assignment.objects.visible_to(request.user).select_related("plan", "school_class", "meeting")
    labs = [row for row in rows.order_by("meeting__starts_at", "pk") if row.plan.content.get("experiment")]
    now = timezone.now()
    labs.sort(key=lambda lab: (lab.meeting.ends_at < now, abs(lab.meeting.starts_at - now)))  # the next one first
    if request.user.is_student and len(labs) == 1:
        return redirect("lessons:lab-sheet", pk=labs[0].pk)
    return render(request, "lessons/lab/list.html", {"labs": labs})


@require_safe
def lab_sheet(request: SignedInRequest, pk: int) -> HttpResponse:
    """A team's sheet. The part that follows the readings replaces itself; 204 while nothing has changed."""
    assignment, experiment = lab_of(request, pk)
    board = queries.board_of(assignment)
    asked = request.GET
    if request.htmx and asked.get("since") == str(board.revision):
        return HttpResponse(status=204)
    team = chosen_team(request, assignment, asked.get("team", ""))
    if team is None:
        return render(request, "lessons/lab/no_team.html", {"assignment": assignment})
    page = sheet_page(
        assignment, experiment, team, asked.get("design", ""), asked.get("at", ""), asked.get("correct", "")
    )
    context = {
        "page": page,
        "assignment": assignment,
        "entry": uuid.uuid4(),
        "may_enter": _may_enter(request, page.board),
    }
    template = "lessons/lab/sheet.html#readings" if is_fragment(request) else "lessons/lab/sheet.html"
    return render(request, template, context)


def _may_enter(request: SignedInRequest, board: LabBoard) -> bool:
    return request.user.is_teacher or request.user.is_administrator or (request.user.is_student and board.is_open)


@require_POST
def lab_enter(request: SignedInRequest, pk: int) -> HttpResponse:
    """Readings of a team: a list in JSON from a device, or one from the form of the page."""
    assignment, experiment = lab_of(request, pk)
    if request.content_type == "application/json":
        return _enter_many(request, assignment, experiment)
    return _enter_one(request, assignment, experiment)


def _enter_many(request: SignedInRequest, assignment: Assignment, experiment: Experiment) -> HttpResponse:
    """Answers each reading by its entry: kept, or why not. What was kept need not be sent again."""
    if len(request.body) > BODY_MOST:
        return JsonResponse({"error": _("Too much at once.")}, status=413)
    try:
        sent = json.loads(request.body)
        rows = sent["readings"]
        if not isinstance(rows, list) or len(rows) > READINGS_MOST:
            raise ValueError
        asked = str(sent.get("team", ""))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return JsonResponse({"error": _("This is not a list of readings.")}, status=400)
    team = chosen_team(request, assignment, asked)
    if team is None:
        return JsonResponse({"error": _("You are not in a team yet.")}, status=409)
    answers = [_answer(request.user, assignment, team, experiment, row) for row in rows]
    return JsonResponse({"readings": answers})


def _answer(user: User, assignment: Assignment, team: Team, experiment: Experiment, row: Any) -> dict[str, Any]:
    entry = str(row.get("entry", "")) if isinstance(row, dict) else ""
    try:
        reading = actions.enter(user, assignment, team, experiment, _new_reading(row, experiment))
    except PermissionDenied as error:
        raise Http404 from error
    except ReadingRefused as told:
        return {"entry": entry, "kept": False, "why": str(told), "field": told.field}
    return {"entry": str(reading.entry), "kept": True, "trial": reading.trial}


def _enter_one(request: SignedInRequest, assignment: Assignment, experiment: Experiment) -> HttpResponse:
    team = chosen_team(request, assignment, request.POST.get("team", ""))
    if team is None:
        raise Http404
    posted = request.POST.dict()
    here = {name: posted[name] for name in ("design", "at", "team") if posted.get(name)}
    if posted.get("show"):  # the version the sheet showed
        here["design"] = posted["show"]
    try:
        reading = _new_reading({**posted, "changed": posted.get("at")}, experiment)
        actions.enter(request.user, assignment, team, experiment, reading)
    except PermissionDenied as error:
        raise Http404 from error
    except ReadingRefused as told:
        messages.error(request, str(told))
    return redirect(f"{reverse('lessons:lab-sheet', args=[assignment.pk])}?{urlencode(here)}")


def _new_reading(row: Any, experiment: Experiment) -> NewReading:
    """A reading from what was sent. Raises ReadingRefused with the field that cannot be read."""
    if not isinstance(row, Mapping):
        raise ReadingRefused(_("This is not a reading."))
    try:
        entry = uuid.UUID(str(row.get("entry", "")))
    except ValueError as error:
        raise ReadingRefused(_("This reading has no name of its own. Load the page again."), "entry") from error
    changed = _number(row.get("changed"), "changed")
    if changed is None:
        raise ReadingRefused(_("Write a number."), "changed")
    left_out = row.get("left_out") in (True, "on", "true", "1")
    note = str(row.get("note") or "")
    measured = _number(row.get("measured"), "measured", experiment.measured.unit)
    if measured is None and not note.strip():
        raise ReadingRefused(_("Write what you measured."), "measured")
    replaces, version = (_number(row.get(name), name) for name in ("replaces", "version"))
    return NewReading(
        entry=entry,
        design=str(row.get("design") or "")[:40],
        changed=changed,
        trial=1,
        measured=measured,
        changed_measured=_number(row.get("changed_measured"), "changed_measured", experiment.changed.unit),
        note=note,
        left_out=left_out,
        stopwatch=row.get("stopwatch") in (True, "true", "on", "1"),
        measured_at=_moment(row.get("measured_at")),
        version=int(version) if version is not None else None,
        replaces=int(replaces) if replaces is not None and abs(replaces) < 2**62 else None,
    )


def _number(raw: Any, field: str, unit: str = "") -> float | None:
    try:
        return number_typed(raw, unit)
    except NotANumber as error:
        raise ReadingRefused(str(error), field) from error


def _moment(raw: Any) -> datetime | None:
    try:
        return parse_datetime(raw) if isinstance(raw, str) and len(raw) < 40 else None
    except ValueError:
        return None


@require_safe
def lab_board(request: SignedInRequest, pk: int) -> HttpResponse:
    """The class board. It follows the class by itself: 204 while nothing has changed."""
    assignment, experiment = lab_of(request, pk)
    board = queries.board_of(assignment)
    if request.htmx and request.GET.get("since") == str(board.revision):
        return HttpResponse(status=204)
    page = board_page(assignment, experiment, request.GET.get("design", ""), request.GET.get("team", ""))
    may_set = queries.may_lead(request.user, assignment)
    part = "#live" if is_fragment(request) else ""
    return render(
        request, f"lessons/lab/board.html{part}", {"page": page, "assignment": assignment, "may_set": may_set}
    )


@require_POST
def lab_board_set(request: SignedInRequest, pk: int) -> HttpResponse:
    """Open or close entries, freeze or let run, write the notes, pin one to a point or take it down."""
    assignment, experiment = lab_of(request, pk)
    changes: dict[str, Any] = {}
    if request.POST.get("entries") in ("open", "closed"):
        changes["is_open"] = request.POST["entries"] == "open"
    if request.POST.get("board") in ("frozen", "live"):
        changes["frozen"] = request.POST["board"] == "frozen"
    if "notes" in request.POST:
        changes["notes"] = request.POST["notes"]
    try:
        if "pin" in request.POST:
            _pin(request, assignment, experiment)
        elif request.POST.get("unpin", "").isdigit():
            actions.unpin(request.user, assignment, int(request.POST["unpin"][:3]))
        else:
            actions.set_board(request.user, assignment, **changes)
    except PermissionDenied as error:
        raise Http404 from error
    except ReadingRefused as told:
        messages.error(request, str(told))
    return redirect("lessons:lab-board", pk=pk)


def _pin(request: SignedInRequest, assignment: Assignment, experiment: Experiment) -> None:
    posted = request.POST
    team = chosen_team(request, assignment, posted.get("team", ""))
    value = _number(posted.get("value"), "value")
    if team is None or value is None:
        raise PermissionDenied
    actions.pin(request.user, assignment, experiment, team, value, posted["pin"])


@require_safe
def lab_physics(request: SignedInRequest, pk: int) -> HttpResponse:
    """What physics expects of a team's cart or other part, beside what it measured."""
    assignment, experiment = lab_of(request, pk)
    team = chosen_team(request, assignment, request.GET.get("team", ""))
    if team is None:
        return render(request, "lessons/lab/no_team.html", {"assignment": assignment})
    asked = request.GET.get("design", "")
    if experiment.cart is None:
        model = model_page(assignment, experiment, team, asked)
        return render(request, "lessons/lab/model.html", {"page": model, "assignment": assignment})
    page = expectation_page(assignment, experiment, team, asked)
    return render(request, "lessons/lab/physics.html", {"page": page, "assignment": assignment})


@require_safe
def lab_results(request: SignedInRequest, pk: int, kind: str) -> HttpResponse:
    """All readings and coast-downs of the class and what physics expects, as CSV or JSON, for its staff."""
    assignment, experiment = lab_of(request, pk)
    if request.user.is_student or kind not in ("csv", "json"):
        raise Http404
    found, coasted = exports.rows(assignment, experiment), exports.coast_rows(assignment, experiment)
    computed = exports.expected_rows(assignment, experiment)
    name = get_valid_filename(f"{assignment.plan}-{assignment.school_class}-readings.{kind}")
    if kind == "json":
        answer: HttpResponse = JsonResponse(
            {"readings": found, "coast_downs": coasted, "expected": computed}, json_dumps_params={"indent": 1}
        )
    else:
        answer = HttpResponse(exports.as_csv([*found, *coasted, *computed]), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    rows = len(found) + len(coasted) + len(computed)
    record(assignment.school_class.school_id, request.user, "export readings", assignment, kind=kind, rows=rows)
    return answer
