"""A lesson as a file: export it, and bring one in with a preview before anything is saved."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import get_valid_filename
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.actions import packages as verbs
from lessons.actions.plans import TITLE_MAX
from lessons.models import KitPart, LessonPackage, LessonPlan, PartGauge
from lessons.packed import MEGABYTE
from lessons.plan_forms import TitleForm
from lessons.plan_pages import plan_page
from lessons.plans.package import CAPS, CannotExport, export
from lessons.plans.package_reading import PackageRefused, Reading
from lessons.views.common import one, tried
from lessons.views.plan_edit import own_plan
from makerlab.files import SANDBOX
from makerlab.http import SignedInRequest

TOLD_MOST = 30  # faults listed one by one


@require_safe
def plan_package(request: SignedInRequest, pk: int) -> HttpResponse:
    """The lesson as a package to keep or to hand on."""
    plan = own_plan(request, pk)
    try:
        data = export(plan)
    except CannotExport as told:
        messages.error(request, str(told))
        return redirect("lessons:plan-detail", pk=pk)
    answer = HttpResponse(data, content_type="application/zip")
    name = get_valid_filename(f"{plan.title}.lesson.zip")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Cache-Control"] = "private, no-store"
    answer._csp_config = SANDBOX  # type: ignore[attr-defined]  # django-csp writes the header from it
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
def plan_import(request: SignedInRequest) -> HttpResponse:
    """Choose a package. One that is sound leads to its preview; of any other every fault is told."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    problems: list[str] = []
    if request.method == "POST":
        file = request.FILES.get("file")
        if isinstance(file, UploadedFile):
            try:
                package = verbs.bring_package(request.user, file)
                return redirect("lessons:package-detail", pk=package.pk)
            except PackageRefused as refused:
                problems = refused.problems
        else:
            problems = [_("Choose a file.")]
    most_mb = CAPS.packed_bytes // MEGABYTE
    context = {"most_mb": most_mb, "problems": problems[:TOLD_MOST], "more": max(0, len(problems) - TOLD_MOST)}
    return render(request, "lessons/plans/import.html", context, status=422 if problems else 200)


def _own_package(request: SignedInRequest, pk: int) -> LessonPackage:
    found: LessonPackage = one(LessonPackage.objects.editable_by(request.user), pk)
    return found


@require_http_methods(["GET", "HEAD", "POST"])
def package_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """What a package would bring in, and saving it under a name."""
    package = _own_package(request, pk)
    try:
        reading = verbs.reading_of(package)
        form = TitleForm(
            request.POST if request.method == "POST" else None, initial={"title": _free_title(request, reading)}
        )
        made: list[LessonPlan] = []

        def save() -> None:
            made.append(verbs.save_package(request.user, package, form.cleaned_data["title"]))

        if request.method == "POST" and form.is_valid() and tried(form, save):
            messages.success(request, _("The lesson is here. Its parts are being measured."))
            return redirect("lessons:plan-detail", pk=made[0].pk)
    except PackageRefused as refused:
        messages.error(request, str(refused))
        return redirect("lessons:plan-import")
    return _preview(request, package, reading, form)


@require_POST
def package_drop(request: SignedInRequest, pk: int) -> HttpResponse:
    """Let go of a package that was not saved."""
    _own_package(request, pk).delete()
    return redirect("lessons:plan-import")


def _free_title(request: SignedInRequest, reading: Reading) -> str:
    title = str(reading.fields["title"])
    taken = set(LessonPlan.objects.visible_to(request.user).values_list("title", flat=True))
    names = (title, *(f"{title[: TITLE_MAX - 5]} ({number})" for number in range(2, 1000)))
    return next((name for name in names if name not in taken), title)


def _preview(request: SignedInRequest, package: LessonPackage, reading: Reading, form: forms.Form) -> HttpResponse:
    plan = LessonPlan(school_id=request.user.school_id, content=reading.content, **reading.fields)
    parts = [KitPart(position=place, **part.values) for place, part in enumerate(reading.parts)]
    page = plan_page(plan, request.user, parts)
    looked = [package.looked.get(part.code) or {} for part in parts]
    gauges = [PartGauge(**each.gauge) if each.gauge else None for each in reading.parts]
    open_parts = [part.name for part, found in zip(parts, looked, strict=True) if not found.get("closed", True)]
    kit = [{"part": p, "looked": f, "gauge": g} for p, f, g in zip(parts, looked, gauges, strict=True)]
    context = {
        "package": package, "plan": plan, "text": page.text, "meetings": page.meetings, "minutes_off": page.off,
        "kit": kit, "form": form, "notes": reading.notes[:TOLD_MOST], "open_parts": open_parts,
    }  # fmt: skip
    return render(request, "lessons/plans/import_preview.html", context, status=422 if form.errors else 200)
