"""How kit parts are printed: for everybody, and as a teacher changed it for one class."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from lessons import trying
from lessons.actions.print_settings import (
    ChangedMeanwhile,
    ClashesInClass,
    set_print_settings,
    try_print_settings,
)
from lessons.models import Assignment, KitPart
from lessons.print_settings import fingerprint, in_force, own_changes, values_beneath, values_in_force
from lessons.settings_form import PrintSettingsForm
from lessons.settings_page import difference, in_short, lines
from lessons.settings_table import SOURCE
from makerlab.http import SignedInRequest

PAGE = "lessons/print_settings.html"


@dataclass(frozen=True, slots=True)
class Target:
    """Whose settings a page is about: a kit part's own, or those of a kit part in one class."""

    kit_part: KitPart
    assignment: Assignment | None = None

    @property
    def address(self) -> str:
        if self.assignment is None:
            return reverse("lessons:kit-settings", args=[self.kit_part.pk])
        return reverse("lessons:assignment-settings-part", args=[self.assignment.pk, self.kit_part.pk])

    @property
    def figures_address(self) -> str:
        if self.assignment is None:
            return reverse("lessons:kit-settings-figures", args=[self.kit_part.pk])
        return reverse("lessons:assignment-settings-figures", args=[self.assignment.pk, self.kit_part.pk])

    def form(self, data: Any = None) -> PrintSettingsForm:
        changes = own_changes(self.kit_part, self.assignment)
        beneath = values_beneath(self.kit_part, self.assignment)
        return PrintSettingsForm(data, beneath=beneath, changes=changes, initial={"seen": fingerprint(changes)})


def target_of(request: SignedInRequest, kit_part_id: int, assignment_id: int | None = None) -> Target:
    """The kit part (and assignment), if this person may set how it is printed; 404 otherwise."""
    kit_part = KitPart.objects.editable_by(request.user).select_related("plan").filter(pk=kit_part_id).first()
    assignment = None if assignment_id is None else own_assignment(request, assignment_id)
    if kit_part is None:
        raise Http404
    if assignment is not None and assignment.plan_id != kit_part.plan_id:
        raise Http404
    return Target(kit_part, assignment)


def own_assignment(request: SignedInRequest, pk: int) -> Assignment:
    assignment = (
        Assignment.objects.editable_by(request.user).select_related("plan", "school_class").filter(pk=pk).first()
    )
    if assignment is None:
        raise Http404
    return assignment


@require_safe
def assignment_settings(request: SignedInRequest, pk: int) -> HttpResponse:
    """How every part of the kit is printed in one class."""
    assignment = own_assignment(request, pk)
    rows = []
    for part in assignment.plan.kit_parts.defer("report", "picture"):
        changes = own_changes(part, assignment)
        rows.append({"part": part, "short": in_short(values_in_force(part, assignment)), "changes": len(changes)})
    context = {"assignment": assignment, "rows": rows}
    return render(request, "lessons/assignment_settings.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def assignment_settings_part(request: SignedInRequest, pk: int, kit_part_id: int) -> HttpResponse:
    """How one part is printed in one class."""
    return edit(request, target_of(request, kit_part_id, pk))


@require_http_methods(["GET", "HEAD", "POST"])
def kit_settings(request: SignedInRequest, pk: int) -> HttpResponse:
    """How a kit part is printed where no class has changes of its own."""
    return edit(request, target_of(request, pk))


@require_safe
def assignment_settings_figures(request: SignedInRequest, pk: int, kit_part_id: int) -> HttpResponse:
    return figures(request, target_of(request, kit_part_id, pk))


@require_safe
def kit_settings_figures(request: SignedInRequest, pk: int) -> HttpResponse:
    return figures(request, target_of(request, pk))


def edit(request: SignedInRequest, target: Target) -> HttpResponse:
    """The page with its form; POST tries or saves. What was typed is never lost."""
    if request.method != "POST":
        return page(request, target, target.form())
    form = target.form(request.POST)
    if not form.is_valid():
        return page(request, target, form, status=422)
    if request.POST.get("step") == "try":
        key = try_print_settings(request.user, target.kit_part, target.assignment, form.chosen())
        return page(request, target, form, key=key)
    return save(request, target, form)


def save(request: SignedInRequest, target: Target, form: PrintSettingsForm) -> HttpResponse:
    seen = form.cleaned_data["seen"]
    try:
        changed = set_print_settings(request.user, target.kit_part, target.assignment, form.chosen(), seen)
    except ChangedMeanwhile:
        fresh = target_of(request, target.kit_part.pk, target.assignment.pk if target.assignment else None)
        told = _(
            "Somebody changed these settings meanwhile. What you typed is kept here; save again to replace theirs."
        )
        return again(request, fresh, told)
    except ClashesInClass as clash:
        told = _("%(class)s changed settings of its own for this part, and they would no longer fit: %(why)s.")
        form.add_error(None, told % {"class": clash.assignment.school_class, "why": clash})
        return page(request, target, form, status=422)
    if changed:
        messages.success(request, _("Saved. Parts are measured again, and the room is planned with the new settings."))
    else:
        messages.info(request, _("Nothing was changed."))
    return redirect(target.address)


def again(request: SignedInRequest, target: Target, told: str) -> HttpResponse:
    """The form with what was typed, to be saved over what somebody else saved."""
    changes = own_changes(target.kit_part, target.assignment)
    form = target.form({**request.POST.dict(), "seen": fingerprint(changes)})
    form.is_valid()
    form.add_error(None, told)
    return page(request, target, form, status=422)


def page(
    request: SignedInRequest, target: Target, form: PrintSettingsForm, key: str = "", status: int = 200
) -> HttpResponse:
    kit_part, assignment = target.kit_part, target.assignment
    beneath = values_beneath(kit_part, assignment)
    context = {
        "target": target,
        "part": kit_part,
        "assignment": assignment,
        "form": form,
        "lines": lines(values_in_force(kit_part, assignment), beneath),
        "source": SOURCE,
        "classes": kit_part.plan.assignments.count() if assignment is None else None,
        **figures_context(target, key),
    }
    return render(request, PAGE, context, status=status)


def figures_context(target: Target, key: str) -> dict[str, Any]:
    """What is known of the settings in force, and of those tried under ``key``."""
    try:
        now = trying.answer_with(target.kit_part, in_force(target.kit_part, target.assignment))
    except (ValueError, TypeError):
        now = trying.NOT_ASKED
    tried = trying.answer_of(target.kit_part, key) if key else trying.NOT_ASKED
    waiting = "waiting" in {now.state, tried.state}
    return {
        "now": now,
        "tried": tried,
        "difference": difference(now, tried),
        "key": key,
        "waiting": waiting,
        "target": target,
    }


def figures(request: SignedInRequest, target: Target) -> HttpResponse:
    """Grams and minutes, now and as tried; the fragment asks again while they are worked out."""
    key = request.GET.get("key", "")[:64]
    return render(request, f"{PAGE}#figures", figures_context(target, key))
