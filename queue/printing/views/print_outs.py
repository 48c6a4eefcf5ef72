"""All that Makerlab puts on paper, in one place: for the next lab days, for the room, for the classes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from lessons.models import Assignment, SchoolClass
from makerlab.http import SignedInRequest
from printing.models import Plate, Room
from printing.states import PlateState
from printing.views.common import own_room

LAB_DAYS_MOST = 8
PLATES_MOST = 12


@dataclass(frozen=True, slots=True)
class Paper:
    """One thing to print: its name, what it is for, and where it is. ``is_file``: a PDF, not a page."""

    name: str | Promise
    use: str | Promise
    url: str
    is_file: bool = False


@require_safe
def print_outs(request: SignedInRequest) -> HttpResponse:
    """What there is to print. Students: 404."""
    room = own_room(request)
    coming = list(_coming(request))
    classes = SchoolClass.objects.editable_by(request.user).filter(archived_at__isnull=True).order_by("name")
    context = {
        "room": room,
        "lab_days": [(given, papers_of(given)) for given in coming],
        "plates": list(_plates(request, room)) if room else [],
        "classes": list(classes),
    }
    return render(request, "printing/print_outs.html", context)


def _coming(request: SignedInRequest) -> Iterable[Assignment]:
    """Lessons given whose meeting is not over, the soonest first."""
    given = Assignment.objects.visible_to(request.user).filter(
        meeting__ends_at__gte=timezone.now(), school_class__archived_at__isnull=True
    )
    related = given.select_related("plan", "school_class", "meeting")
    return related.order_by("meeting__starts_at", "pk")[:LAB_DAYS_MOST]


def _plates(request: SignedInRequest, room: Room) -> Iterable[Plate]:
    """Plates whose copies want labels next: those that print, then by planned start."""
    plates = Plate.objects.visible_to(request.user).filter(
        room=room, state__in=(PlateState.PRINTING, PlateState.PLANNED), printer__isnull=False
    )
    return plates.select_related("printer").order_by(F("starts_at").asc(nulls_last=True), "number")[:PLATES_MOST]


def papers_of(given: Assignment) -> list[Paper]:
    """What a lab day wants on paper, in the order in which it is needed."""
    papers = [
        Paper(
            _("Lesson plan (PDF)"),
            _("Steps with minutes, cautions, questions and figures to expect, for the teacher."),
            reverse("lessons:plan-paper-pdf", args=[given.plan_id]),
            is_file=True,
        ),
        Paper(
            _("Student sheet"),
            _("What to make and to measure, for each student."),
            reverse("lessons:plan-sheet", args=[given.plan_id]),
        ),
    ]
    if given.plan.content.get("experiment"):
        papers.append(
            Paper(
                _("Worksheet for paper"),
                _("Tables to fill in and empty graph paper, where there are no computers."),
                reverse("lessons:lab-paper", args=[given.pk]),
            )
        )
    meeting = [given.meeting_id]
    papers += [
        Paper(
            _("Tray cards"),
            _("One for each tray; its code opens the team's part."),
            reverse("printing:meeting-tray-cards", args=meeting),
        ),
        Paper(
            _("Hand-out list"),
            _("What lies in which tray for whom, to tick off."),
            reverse("printing:meeting-hand-out", args=meeting),
        ),
    ]
    return papers
