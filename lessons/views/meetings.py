"""Meetings of a class: add them by period with a preview, say what one is for, move it, remove it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from lessons.actions import meetings as verbs
from lessons.actions.refusals import NotPossible
from lessons.class_forms import MeetingsForm, MoveMeetingForm, PurposeForm
from lessons.classes.moving import work_out
from lessons.models import Meeting
from lessons.school_days import Slot, read_school_days, slots
from lessons.views.common import do, one, own_class, tried
from makerlab.http import SignedInRequest


@require_http_methods(["GET", "HEAD", "POST"])
def class_meetings(request: SignedInRequest, pk: int) -> HttpResponse:
    """Add meetings. ``step`` show works them out, save makes them."""
    school_class = own_class(request, pk)
    days = read_school_days(school_class.school)
    start = {"first": timezone.localdate()}
    form = MeetingsForm(request.POST or None, periods=days.period_names(), initial=start)
    context: dict[str, Any] = {"school_class": school_class, "form": form, "has_periods": bool(days.period_names())}
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data

        def show() -> None:
            context["new"] = verbs.new_meetings(school_class, form.dates(), values["period"])

        def save() -> None:
            seen = request.POST.get("seen", "")
            made = verbs.add_meetings(
                request.user, school_class, form.dates(), values["period"], values["purpose"], seen
            )
            said = ngettext("%(count)d meeting is added.", "%(count)d meetings are added.", len(made))
            messages.success(request, said % {"count": len(made)})

        if request.POST.get("step") == "save" and tried(form, save):
            return redirect("lessons:class-detail", pk=pk)
        tried(form, show)
    return render(request, "lessons/classes/class_meetings.html", context, status=422 if form.errors else 200)


def own_meeting(request: SignedInRequest, pk: int) -> Meeting:
    """A meeting of a class this person runs; 404 otherwise."""
    found: Meeting = one(Meeting.objects.editable_by(request.user).select_related("school_class__school"), pk)
    return found


@require_http_methods(["GET", "HEAD", "POST"])
def meeting_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """One meeting with its lessons. ``step`` purpose, show (what a move would do) or move."""
    meeting = own_meeting(request, pk)
    days = read_school_days(meeting.school_class.school)
    local = timezone.localtime(meeting.starts_at, days.zone)
    step = request.POST.get("step", "")
    start = {"day": local.date(), "period": meeting.period}
    move = MoveMeetingForm(
        request.POST if step in {"show", "move"} else None, periods=days.period_names(), initial=start
    )
    purpose = PurposeForm(request.POST if step == "purpose" else None, initial={"purpose": meeting.purpose})
    context: dict[str, Any] = {"meeting": meeting, "move_form": move, "purpose_form": purpose}

    def describe() -> None:
        verbs.describe_meeting(request.user, meeting, purpose.cleaned_data["purpose"])

    if step == "purpose" and purpose.is_valid() and tried(purpose, describe):
        messages.success(request, _("Saved."))
        return redirect("lessons:meeting-detail", pk=pk)
    if step in {"show", "move"} and move.is_valid():
        slot = _slot(move, slots(days, [move.cleaned_data["day"]], move.cleaned_data["period"]))
        if slot and step == "move" and tried(move, lambda: _move(request, meeting, slot, move)):
            messages.success(request, _("The meeting is moved. Rooms with parts for it are planned again."))
            return redirect("lessons:meeting-detail", pk=pk)
        if slot:
            _show(context, meeting, slot, move)
    by_bells = slots(days, [local.date()], meeting.period)[0]
    if by_bells and (by_bells[0].starts_at, by_bells[0].ends_at) != (meeting.starts_at, meeting.ends_at):
        context["by_bells"] = by_bells[0]
    context["assignments"] = meeting.assignments.select_related("plan")
    status = 422 if move.errors or purpose.errors else 200
    return render(request, "lessons/classes/meeting_detail.html", context, status=status)


def _slot(form: MoveMeetingForm, worked_out: Any) -> Slot | None:
    """The period on that date, or None with the reason at the form."""
    found, skipped = worked_out
    if found:
        slot: Slot = found[0]
        return slot
    form.add_error("period", _("On that date there is %(why)s.") % {"why": skipped[0].why})
    return None


def _show(context: dict[str, Any], meeting: Meeting, slot: Slot, form: MoveMeetingForm) -> None:
    try:
        verbs.check_can_stand(meeting, slot)
    except NotPossible as told:
        if str(told) not in form.non_field_errors():
            form.add_error(None, str(told))
        return
    context["move"] = work_out(meeting, slot, form.cleaned_data["rule"])


def _move(request: SignedInRequest, meeting: Meeting, slot: Slot, form: MoveMeetingForm) -> None:
    verbs.move_meeting(request.user, meeting, slot, form.cleaned_data["rule"], request.POST.get("seen", ""))


@require_POST
def meeting_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """A meeting without lessons."""
    meeting = own_meeting(request, pk)
    if do(request, lambda: verbs.remove_meeting(request.user, meeting), _("The meeting is removed.")):
        return redirect("lessons:class-detail", pk=meeting.school_class_id)
    return redirect("lessons:meeting-detail", pk=pk)
