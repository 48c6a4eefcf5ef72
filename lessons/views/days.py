"""The school's year and bell schedule: all staff see them, administrators set them."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.actions import days as verbs
from lessons.class_forms import WEEKDAYS
from lessons.day_forms import DayKindForm, SpecialDaysForm
from lessons.models import DayKind, Meeting, SchoolDay
from lessons.school_days import Rows, SchoolDays, fields_of, rows_of
from lessons.school_year import days_ahead, misfits
from lessons.views.common import do, one, tried
from makerlab.http import SignedInRequest


@require_safe
def day_list(request: SignedInRequest) -> HttpResponse:
    """Terms, kinds of day with their periods, special days from today on, and what the next days are."""
    if not request.user.is_staff_member:
        raise Http404
    rows = rows_of(request.user.school_id)
    return _page(request, rows, SpecialDaysForm(kinds=rows.kinds))


def _page(request: SignedInRequest, rows: Rows, form: SpecialDaysForm) -> HttpResponse:
    days = SchoolDays(**fields_of(rows, request.user.school.time_zone))
    coming = Meeting.objects.visible_to(request.user).coming().select_related("school_class")
    words, today = dict(WEEKDAYS), timezone.localdate()
    context: dict[str, Any] = {
        "kinds": [(kind, [words[day] for day in kind.weekdays], days.periods.get(kind.pk, ())) for kind in rows.kinds],
        "terms": [
            (term, [days.kind_names[key] for key in term.rotation if key in days.kind_names]) for term in rows.terms
        ],
        "ahead": days_ahead(days, today),
        "misfits": misfits(days, coming),
        "special": [
            (day, days.kind_names[day.day_kind_id] if day.day_kind_id else "")
            for day in rows.special
            if day.date >= today
        ],
        "can_set": request.user.is_administrator,
        "form": form,
    }
    return render(request, "lessons/classes/day_list.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def kind_new(request: SignedInRequest) -> HttpResponse:
    """Make a kind of day."""
    if not request.user.is_administrator:
        raise Http404
    return _edit(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def day_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """Change a kind of day."""
    return _edit(request, one(DayKind.objects.editable_by(request.user), pk))


def _edit(request: SignedInRequest, kind: DayKind | None) -> HttpResponse:
    start: dict[str, Any] = {}
    if kind:
        lines = [f"{p.name}, {p.starts_at:%H:%M}, {p.ends_at:%H:%M}" for p in kind.periods.all()]
        start = {"name": kind.name, "weekdays": kind.weekdays, "periods": "\n".join(lines)}
    form = DayKindForm(request.POST or None, initial=start)

    def save() -> None:
        values = form.cleaned_data
        periods = verbs.read_periods(values["periods"])
        verbs.set_day_kind(request.user, kind, values["name"], set(values["weekdays"]), periods)

    if request.method == "POST" and form.is_valid() and tried(form, save):
        messages.success(request, _("The bell schedule is saved. Meetings that exist keep their times."))
        return redirect("lessons:day-list")
    context = {"form": form, "kind": kind}
    return render(request, "lessons/classes/day_edit.html", context, status=422 if form.errors else 200)


@require_POST
def day_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """A kind of day nothing rests on."""
    kind = one(DayKind.objects.editable_by(request.user), pk)
    do(request, lambda: verbs.remove_day_kind(request.user, kind), _("%(kind)s is removed.") % {"kind": kind})
    return redirect("lessons:day-list")


@require_POST
def special_new(request: SignedInRequest) -> HttpResponse:
    """Dates that are not as their weekday says."""
    if not request.user.is_administrator:
        raise Http404
    rows = rows_of(request.user.school_id)
    form = SpecialDaysForm(request.POST, kinds=rows.kinds)

    def save() -> None:
        values = form.cleaned_data
        last = values["last"] or values["first"]
        count = verbs.set_special_days(request.user, values["first"], last, values["kind"], values["name"])
        said = ngettext("%(count)d day is set.", "%(count)d days are set.", count) % {"count": count}
        messages.success(request, said)

    if form.is_valid() and tried(form, save):
        return redirect("lessons:day-list")
    return _page(request, rows, form)


@require_POST
def special_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """The date is as its weekday says again."""
    day = one(SchoolDay.objects.editable_by(request.user), pk)
    do(request, lambda: verbs.remove_special_day(request.user, day))
    return redirect("lessons:day-list")
