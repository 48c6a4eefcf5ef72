"""The kit of a lesson as its teachers edit it: parts, meshes, how they lie, what a redesign must keep."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from lessons.actions import kits as verbs
from lessons.actions.refusals import NotPossible
from lessons.models import KitPart
from lessons.plan_forms import GaugeForm, MeshForm, NewPartForm, PartForm
from lessons.plans.kit import differences, fingerprint, gauge_values, last_mesh_change, no_gauge, proposals, use_of
from lessons.views.common import do, one
from lessons.views.plan_edit import own_plan
from makerlab.http import SignedInRequest
from makerlab.uploads import UploadRefused

FORMS = {"part": "part_form", "mesh": "mesh_form", "gauge": "gauge_form"}


def own_part(request: SignedInRequest, pk: int) -> KitPart:
    """The part, if this person may change its kit; 404 otherwise."""
    rows = KitPart.objects.editable_by(request.user).select_related("plan", "gauge").defer("picture")
    found: KitPart = one(rows, pk)
    return found


def attempt(form: forms.Form, verb: Callable[[], Any]) -> bool:
    """Do a verb with a valid form; why it was not done stands at the field to mend, or over the form."""
    if not form.is_valid():
        return False
    try:
        verb()
    except NotPossible as told:
        form.add_error(told.field if told.field in form.fields else None, str(told))
        return False
    except UploadRefused as told:
        form.add_error("file", str(told))
        return False
    return True


@require_http_methods(["GET", "HEAD", "POST"])
def plan_kit(request: SignedInRequest, pk: int) -> HttpResponse:
    """The parts of a kit in order, and a place to add one."""
    plan = own_plan(request, pk)
    posted = request.method == "POST"
    form = NewPartForm(request.POST, request.FILES) if posted else NewPartForm()
    made: list[KitPart] = []

    def add() -> None:
        made.append(verbs.add_part(request.user, plan, form.cleaned_data["name"], form.cleaned_data["file"]))

    if posted and attempt(form, add):
        messages.success(request, _("The part is there and is being measured."))
        return redirect("lessons:kit-edit", pk=made[0].pk)
    parts = list(plan.kit_parts.select_related("gauge").defer("report", "picture"))
    context = {
        "plan": plan,
        "parts": [part for part in parts if part.archived_at is None],
        "away": [part for part in parts if part.archived_at is not None],
        "form": form,
    }
    return render(request, "lessons/plans/kit.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def kit_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """One part. ``what``: part (its figures), mesh, lay, gauge, no-gauge or remove; each names what it saw (``seen``)
    and whether the person knows where the part is used (``known``)."""
    part = own_part(request, pk)
    if request.method != "POST":
        return _page(request, part)
    what, seen, known = request.POST.get("what", ""), request.POST.get("seen", ""), "known" in request.POST
    form, verb, said = _verb(request, part, what, seen, known)
    if form is None or verb is None:
        return _page(request, part, status=422)
    if attempt(form, verb):
        messages.success(request, said)
        still = KitPart.objects.editable_by(request.user).filter(pk=pk, archived_at=None).exists()
        return redirect("lessons:kit-edit", pk=pk) if still else redirect("lessons:plan-kit", pk=part.plan_id)
    shown = {FORMS.get(what, "plain_form"): form}
    return _page(request, own_part(request, pk), status=422, failed=what, **shown)


Verb = tuple[forms.Form | None, Callable[[], Any] | None, str]


def _verb(request: SignedInRequest, part: KitPart, what: str, seen: str, known: bool) -> Verb:
    user, data = request.user, request.POST
    form: forms.Form
    if what == "part":
        form = PartForm(data, part=part)
        return form, lambda: verbs.change_part(user, part, form.cleaned_data, seen, known), _("Saved.")
    if what == "mesh":
        form = MeshForm(data, request.FILES)
        said = _("The new file is there and is being measured. What it changes is told when that is done.")
        return form, lambda: verbs.replace_mesh(user, part, form.cleaned_data["file"], seen, known), said
    if what == "gauge":
        form = GaugeForm(data, values=_gauge_values(part, None))
        said = _("A redesign must keep this now.")
        return form, lambda: verbs.set_gauge(user, part, form.cleaned_data, seen, known), said
    form = forms.Form(data)
    if what == "lay":
        turned = data.get("turned") == "yes"
        said = _("It is measured as it lies now.")
        return form, lambda: verbs.lay_part(user, part, turned=turned, seen=seen, known=known), said
    if what == "no-gauge":
        said = _("Nothing must be kept any more.")
        return form, lambda: verbs.set_gauge(user, part, None, seen, known), said
    if what == "remove":
        return form, lambda: verbs.remove_part(user, part, seen, known), _("The part is out of the kit.")
    return None, None, ""


def _gauge_values(part: KitPart, proposed: int | None) -> dict[str, Any]:
    """What the gauge's form begins with: the proposal asked for, else the gauge there is, else the likeliest."""
    found = proposals(part)
    chosen = next((each.values for each in found if each.number == proposed), None)
    gauge = getattr(part, "gauge", None)
    if chosen is None and gauge is not None:
        return gauge_values(gauge)
    return chosen or (found[0].values if found else no_gauge())


def _page(request: SignedInRequest, part: KitPart, status: int = 200, **more: Any) -> HttpResponse:
    asked = request.GET.get("propose", "")
    proposed = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 4 else None
    before = last_mesh_change(part)
    measured = part.check_state == "checked"
    advised = (part.report or {}).get("pose") or {}
    context = {
        "part": part,
        "plan": part.plan,
        "use": use_of(part),
        "seen": fingerprint(part),
        "measured": measured,
        "gauge": getattr(part, "gauge", None),
        "proposals": proposals(part) if measured else [],
        "proposed": proposed,
        "changes": differences(before, part) if before and measured else [],
        "replaced": before,
        "pose": advised,
        "can_turn": part.pose is not None or verbs.is_turned(advised.get("turn")),
        "findings": part.findings if measured else [],
        "part_form": PartForm(part=part),
        "mesh_form": MeshForm(),
        "gauge_form": GaugeForm(values=_gauge_values(part, proposed)),
        **more,
    }
    return render(request, "lessons/plans/kit_edit.html", context, status=status)


@require_POST
def kit_move(request: SignedInRequest, pk: int) -> HttpResponse:
    """One place up or down (``step``: up, down)."""
    part = own_part(request, pk)
    do(request, lambda: verbs.move_part(request.user, part, -1 if request.POST.get("step") == "up" else 1))
    return redirect("lessons:plan-kit", pk=part.plan_id)


@require_POST
def kit_restore(request: SignedInRequest, pk: int) -> HttpResponse:
    """Back into the kit."""
    part = own_part(request, pk)
    do(request, lambda: verbs.restore_part(request.user, part), _("Back in the kit. Say how many copies a team needs."))
    return redirect("lessons:kit-edit", pk=part.pk)
