"""Class lists brought in: pasted, a CSV file, a OneRoster package; a preview first, compared again when saved."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.core import signing
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from lessons.actions import rosters as verbs
from lessons.actions.refusals import NotPossible
from lessons.class_forms import ClassForm, FileForm, PasteForm
from lessons.models import SchoolClass
from lessons.rosters import (
    Package,
    Problem,
    Roster,
    RosterClass,
    RosterRefused,
    read_csv,
    read_oneroster,
    read_paste,
)
from lessons.rosters.oneroster import PACKAGE
from lessons.rosters.plain import from_plain, to_plain
from lessons.views.common import own_class
from makerlab.http import SignedInRequest

SALT = "lessons.rosters"
PAGE = "lessons/classes/class_import.html"
PACKAGE_PAGE = "lessons/classes/package_import.html"
PREVIEW_AGE_S = 4 * 3600
TOLD_MAX = 30  # problems listed one by one
PACKED = b"PK"


@require_http_methods(["GET", "HEAD", "POST"])
def class_import(request: SignedInRequest, pk: int) -> HttpResponse:
    """Bring a list into one class. ``step``: read (paste or file), choose (one class of a package), save."""
    school_class = own_class(request, pk)
    if request.method != "POST":
        return _page(request, school_class)
    step = request.POST.get("step")
    if step == "save":
        return _save(request, school_class)
    if step == "choose":
        listed = _unpacked(request.POST.get("list", ""))
        return _preview(request, school_class, listed) if listed else _too_old(request, school_class)
    return _read(request, school_class)


def _read(request: SignedInRequest, school_class: SchoolClass) -> HttpResponse:
    pasted = "text" in request.POST
    form = PasteForm(request.POST) if pasted else FileForm(request.POST, request.FILES)
    forms = {"paste" if pasted else "file": form}
    if not form.is_valid():
        return _page(request, school_class, **forms)
    try:
        package = _package_of(form.cleaned_data)
    except RosterRefused as refused:
        form.add_error(None, _sentence(refused.problem))
        return _page(request, school_class, **forms)
    mine = [each for each in package.classes if each.sourced_id and each.sourced_id == school_class.sourced_id]
    classes = mine or list(package.classes)
    if len(classes) == 1:
        return _preview(request, school_class, classes[0], package=package)
    context = {"school_class": school_class, "choices": [(each, _packed(each)) for each in classes]}
    return render(request, PAGE, {**context, "told": _told(package.problems), "notes": _told(package.notes)})


def _package_of(values: dict[str, Any]) -> Package:
    """What was pasted or sent, as a package of one or more classes. Raises RosterRefused."""
    if "text" in values:
        return _alone(read_paste(values["text"]))
    file = values["file"]
    if file.size > PACKAGE.packed_bytes:
        raise RosterRefused("too_large", found="10 MB")
    data = file.read()
    return read_oneroster(data, timezone.localdate()) if data.startswith(PACKED) else _alone(read_csv(data))


def _alone(roster: Roster) -> Package:
    return Package("", (RosterClass("", "", "", "", roster),))


def _page(request: SignedInRequest, school_class: SchoolClass, **forms: Any) -> HttpResponse:
    context = {"school_class": school_class, "paste": PasteForm(), "file": FileForm(), **forms}
    status = 422 if any(form.errors for form in forms.values()) else 200
    return render(request, PAGE, context, status=status)


def _too_old(request: SignedInRequest, school_class: SchoolClass) -> HttpResponse:
    messages.error(request, _("This preview is too old to be saved. Bring the list in again; nothing was changed."))
    return redirect("lessons:class-import", pk=school_class.pk)


def _preview(
    request: SignedInRequest,
    school_class: SchoolClass,
    listed: RosterClass,
    package: Package | None = None,
    again: str = "",
) -> HttpResponse:
    shown = verbs.preview(school_class, listed.roster)
    package_told = (package.problems, package.notes) if package else ((), ())
    context = {
        "school_class": school_class,
        "listed": listed,
        "preview": shown,
        "changes": shown.changes,
        "list": _packed(listed),
        "told": _told((*package_told[0], *listed.roster.problems, *shown.changes.problems)),
        "notes": _told((*package_told[1], *listed.roster.notes)),
        "again": again,
        "leave": {int(key) for key in request.POST.getlist("leave") if key.isdecimal()},
    }
    return render(request, PAGE, context, status=422 if again else 200)


def _save(request: SignedInRequest, school_class: SchoolClass) -> HttpResponse:
    listed = _unpacked(request.POST.get("list", ""))
    if listed is None:
        return _too_old(request, school_class)
    leave = [int(key) for key in request.POST.getlist("leave") if key.isdecimal()]
    try:
        done = verbs.import_roster(
            request.user, school_class, listed.roster, request.POST.get("seen", ""), leave, listed.sourced_id
        )
    except PermissionDenied as error:
        raise Http404 from error
    except NotPossible as told:
        return _preview(request, school_class, listed, again=str(told))
    said = _("The list is in: %(added)d new, %(moved)d in another team, %(renamed)d renamed. Now make the join cards.")
    counts = {"added": len(done.added), "moved": len(done.moved), "renamed": len(done.renamed)}
    messages.success(request, said % counts)
    return redirect("lessons:class-detail", pk=school_class.pk)


@require_http_methods(["GET", "HEAD", "POST"])
def package_import(request: SignedInRequest) -> HttpResponse:
    """Make or bring up to date several classes from one OneRoster package."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    if request.method != "POST":
        return render(request, PACKAGE_PAGE, {"file": FileForm()})
    if request.POST.get("step") == "save":
        return _save_package(request)
    form = FileForm(request.POST, request.FILES)
    if form.is_valid():
        try:
            return _package_page(request, _package_of(form.cleaned_data))
        except RosterRefused as refused:
            form.add_error(None, _sentence(refused.problem))
    return render(request, PACKAGE_PAGE, {"file": form}, status=422)


def _package_page(request: SignedInRequest, package: Package, again: str = "") -> HttpResponse:
    if not package.version:
        raise RosterRefused("zip_broken")
    problems = [*package.problems, *(p for each in package.classes for p in each.roster.problems)]
    context = {
        "rows": [_package_row(request, each) for each in package.classes],
        "teachers": ClassForm(user=request.user),
        "told": _told(problems),
        "notes": _told(package.notes),
        "again": again,
    }
    return render(request, PACKAGE_PAGE, context, status=422 if again else 200)


def _package_row(request: SignedInRequest, listed: RosterClass, name: str = "") -> dict[str, Any]:
    """One class of a package: the class here with the same key, if this person runs it, and what would change."""
    into, theirs = _class_with_key(request, listed.sourced_id)
    return {
        "listed": listed,
        "into": into,
        "theirs": theirs,
        "name": name or listed.title,
        "changes": verbs.preview(into, listed.roster).changes,
        "list": _packed(listed),
        "seen": verbs.preview(into, listed.roster).seen,
    }


def _class_with_key(request: SignedInRequest, sourced_id: str) -> tuple[SchoolClass | None, bool]:
    """The class with the key and whether somebody else runs it."""
    of_school = SchoolClass.objects.with_key(request.user, sourced_id)
    into = SchoolClass.objects.editable_by(request.user).filter(pk__in=of_school.values("pk")).first()
    return into, into is None and of_school.exists()


def _save_package(request: SignedInRequest) -> HttpResponse:
    entries, rows = [], []
    for key in request.POST.getlist("row"):
        listed = _unpacked(request.POST.get(f"list-{key}", ""))
        if listed is None:
            messages.error(request, _("This preview is too old to be saved. Bring the package in again."))
            return redirect("lessons:package-import")
        name, into = request.POST.get(f"name-{key}", ""), _class_with_key(request, listed.sourced_id)[0]
        rows.append(replace(listed, title=name or listed.title))
        if f"take-{key}" in request.POST:
            entries.append(verbs.PackageEntry(listed, into, name, request.POST.get(f"seen-{key}", "")))
    keys = [key for key in request.POST.getlist("teachers") if key.isdecimal()]
    teachers = request.user.school.people.filter(pk__in=keys)
    try:
        if not entries:
            raise NotPossible(_("Tick the classes to bring in."))
        done = verbs.import_package(request.user, entries, list(teachers))
    except PermissionDenied as error:
        raise Http404 from error
    except NotPossible as told:
        return _package_page(request, Package("1.1", tuple(rows)), again=str(told))
    messages.success(request, _("Brought in: %(classes)s.") % {"classes": ", ".join(str(each) for each in done)})
    return redirect("lessons:class-list")


def _packed(listed: RosterClass) -> str:
    return signing.dumps(to_plain(listed), salt=SALT, compress=True)


def _unpacked(text: str) -> RosterClass | None:
    """The list a page carried, if it is ours, whole and not too old."""
    try:
        return from_plain(signing.loads(text, salt=SALT, max_age=PREVIEW_AGE_S))
    except signing.BadSignature:
        return None


def _sentence(problem: Problem) -> str:
    words = _(problem.sentence) % {"found": problem.found}
    if problem.file and problem.row:
        return _("%(file)s, row %(row)d: %(words)s") % {"file": problem.file, "row": problem.row, "words": words}
    if problem.row:
        return _("Row %(row)d: %(words)s") % {"row": problem.row, "words": words}
    return f"{problem.file}: {words}" if problem.file else words


def _told(problems: Any) -> dict[str, Any]:
    sentences = [_sentence(problem) for problem in problems]
    return {"first": sentences[:TOLD_MAX], "more": max(0, len(sentences) - TOLD_MAX)}
