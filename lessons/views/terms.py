"""Terms of the school year: administrators set them and see the days they make before they save."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from lessons.actions import days as verbs
from lessons.day_forms import TermForm
from lessons.models import DayKind, Meeting, Term
from lessons.school_days import TermDays, read_school_days, term_days
from lessons.school_year import days_ahead, misfits, with_term
from lessons.views.common import do, one, tried
from makerlab.http import SignedInRequest


@require_http_methods(["GET", "HEAD", "POST"])
def term_new(request: SignedInRequest) -> HttpResponse:
    """Make a term."""
    if not request.user.is_administrator:
        raise Http404
    return _edit(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def term_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """Change a term."""
    return _edit(request, one(Term.objects.editable_by(request.user), pk))


def _edit(request: SignedInRequest, term: Term | None) -> HttpResponse:
    """``do``: save; anything else only shows the days."""
    kinds = list(DayKind.objects.editable_by(request.user).order_by("id"))
    posted = request.method == "POST"
    form = TermForm(request.POST if posted else None, kinds=kinds, term=term)
    context: dict[str, object] = {"form": form, "term": term}
    if posted and form.is_valid():
        values = form.cleaned_data
        turns, turning = form.turns(), values["turning"]

        def save() -> None:
            verbs.set_term(request.user, term, values["name"], values["first"], values["last"], turns, turning)

        if request.POST.get("do") == "save" and tried(form, save):
            messages.success(request, _("The term is saved. Meetings that exist keep their times."))
            return redirect("lessons:day-list")
        turning_days = frozenset(turning) if turns else frozenset()
        new = TermDays(values["first"], values["last"], values["name"], tuple(turns), turning_days)
        context |= _shown(request, term, new, {kind.pk for kind in kinds})
    return render(request, "lessons/classes/term_edit.html", context, status=422 if form.errors else 200)


def _shown(request: SignedInRequest, term: Term | None, new: TermDays, known: set[int]) -> dict[str, object]:
    """The first days of the term from today on, and meetings that would no longer fit."""
    now = read_school_days(request.user.school)
    days = with_term(now, term_days(term, known) if term else None, new)
    start = max(timezone.localdate(), new.first)
    coming = list(Meeting.objects.visible_to(request.user).coming().select_related("school_class"))
    before = {each.meeting.pk for each in misfits(now, coming)}
    return {
        "ahead": [each for each in days_ahead(days, start) if each.day <= new.last],
        "misfits": [each for each in misfits(days, coming) if each.meeting.pk not in before],
        "looked": True,
    }


@require_POST
def term_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take a term away."""
    term = one(Term.objects.editable_by(request.user), pk)
    do(request, lambda: verbs.remove_term(request.user, term), _("%(term)s is removed.") % {"term": term.name})
    return redirect("lessons:day-list")
