"""How lab days stand: one meeting, one week, and a list to hand parts out by."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.http import require_safe

from lessons.models import Assignment, Meeting
from makerlab.components.qr import qr_svg
from makerlab.http import SignedInRequest
from printing import queries
from printing.models import Room
from printing.readiness import PartOfTeam, Readiness, TeamRow, readiness_of, state_mark
from printing.views.common import one
from submissions.states import State

PAPERS = ("a4", "letter")


def paper_of(request: SignedInRequest) -> str:
    """The sheet a page is laid out for, as ``?paper=`` asks."""
    asked = request.GET.get("paper", "")
    return asked if asked in PAPERS else PAPERS[0]


def of_meeting(request: SignedInRequest, pk: int) -> tuple[Meeting, list[Readiness]]:
    """A meeting of a class this member of staff may see, and how the lessons given for it stand; 404 otherwise."""
    if not request.user.is_staff_member:
        raise Http404
    given = _with_related(Assignment.objects.visible_to(request.user).filter(meeting=pk))
    if given:
        return given[0].meeting, read(request, given)
    return one(Meeting.objects.visible_to(request.user).select_related("school_class"), pk), []


def _with_related(assignments: QuerySet[Assignment]) -> list[Assignment]:
    """The soonest first."""
    related = ("plan", "school_class", "meeting__school_class")
    return list(assignments.select_related(*related).order_by("meeting__starts_at", "pk"))


def read(request: SignedInRequest, assignments: Sequence[Assignment]) -> list[Readiness]:
    """How the assignments stand by the plans in force."""
    return readiness_of(assignments, queries.newest_plans(Room.objects.visible_to(request.user)))


@require_safe
def meeting_readiness(request: SignedInRequest, pk: int) -> HttpResponse:
    """Every part of every team, who is missing what, the forecast, and a text to remind with."""
    meeting, found = of_meeting(request, pk)
    context = {
        "meeting": meeting,
        "lessons": [(each, state_mark(each)) for each in found],
        "now": timezone.now(),
    }
    return render(request, "printing/meeting_readiness.html", context)


@require_safe
def meeting_hand_out(request: SignedInRequest, pk: int) -> HttpResponse:
    """What lies in which tray for whom, for paper. ``?paper=`` a4 or letter."""
    meeting, lessons = of_meeting(request, pk)
    context = {
        "meeting": meeting,
        "lessons": lessons,
        "paper": paper_of(request),
    }
    return render(request, "printing/meeting_hand_out.html", context)


@require_safe
def meeting_tray_cards(request: SignedInRequest, pk: int) -> HttpResponse:
    """A card for each team's tray, with a code that opens the team's own part. ``?paper=`` a4 or letter."""
    meeting, lessons = of_meeting(request, pk)

    def own_parts(row: TeamRow) -> list[tuple[PartOfTeam, SafeString]]:
        own = []
        for part in row.parts:
            if part.submission and part.submission.state == State.APPROVED:
                path = reverse("submissions:submission-report", args=[part.submission.pk])
                own.append((part, qr_svg(request.build_absolute_uri(path))))
        return own

    context = {
        "meeting": meeting,
        "cards": [(each.assignment, row, own_parts(row)) for each in lessons for row in each.by_tray],
        "paper": paper_of(request),
    }
    return render(request, "printing/meeting_tray_cards.html", context)


@require_safe
def readiness_week(request: SignedInRequest) -> HttpResponse:
    """The lab days of one week. ``?week=`` any date in it; without one, this week, or the next when it is over."""
    if not request.user.is_staff_member:
        raise Http404
    monday = week_of(request.GET.get("week", ""))
    begin, end = (timezone.make_aware(datetime.combine(day, time())) for day in (monday, monday + timedelta(days=7)))
    in_week = Assignment.objects.visible_to(request.user).filter(
        meeting__starts_at__gte=begin, meeting__starts_at__lt=end
    )
    found = read(request, _with_related(in_week))
    context: dict[str, Any] = {
        "lessons": [(each, state_mark(each)) for each in found],
        "monday": monday,
        "sunday": monday + timedelta(days=6),
        "before": monday - timedelta(days=7),
        "after": monday + timedelta(days=7),
        "totals": totals(found),
    }
    return render(request, "printing/readiness_week.html", context)


def week_of(text: str) -> date:
    """The Monday of the week. On a weekend the coming week, unless a date is named."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = timezone.localdate()
        day += timedelta(days=2 if day.weekday() > 4 else 0)
    return day - timedelta(days=day.weekday())


def totals(found: Sequence[Readiness]) -> dict[str, int]:
    """The week in four figures."""
    return {
        "missing": sum(each.designs - each.handed_in for each in found),
        "to_review": sum(each.to_review for each in found),
        "copies": sum(each.copies for each in found),
        "in_tray": sum(each.in_tray for each in found),
    }
