"""How long things stay, taking a student or a class out, handing over what is kept, and the records of who did what."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from lessons.models import SchoolClass
from lessons.views.common import own_class, own_student
from makerlab.accounts.models import School
from makerlab.audit.models import Event, record
from makerlab.audit.words import did
from makerlab.files import attachment
from makerlab.http import SignedInRequest, done
from makerlab.privacy import erasing
from makerlab.privacy.export import write_zip
from makerlab.privacy.forms import KeepForm
from makerlab.privacy.retention import due_dates

PAGE_ROWS = 100


def _administrator(request: SignedInRequest) -> None:
    if not request.user.is_administrator:
        raise Http404


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def keeping(request: SignedInRequest) -> HttpResponse:
    """How long classes are kept, and when each is deleted."""
    _administrator(request)
    school: School = request.user.school
    form = KeepForm(request.POST if request.method == "POST" else None, initial={"keep_days": school.keep_days})
    if request.method == "POST" and form.is_valid():
        set_keep_days(request, form.cleaned_data["keep_days"])
        messages.success(request, _("Saved."))
        return redirect("privacy:keeping")
    context: dict[str, Any] = {"form": form, "due": due_dates(school), "now": timezone.now()}
    return render(request, "privacy/keeping.html", context, status=422 if form.errors else 200)


def set_keep_days(request: SignedInRequest, days: int) -> None:
    school = request.user.school
    before, school.keep_days = school.keep_days, days
    school.save(update_fields=["keep_days"])
    record(school.pk, request.user, "keep_days", school, before=before, after=days)


@never_cache
@require_safe
def records(request: SignedInRequest) -> HttpResponse:
    """Who saw, changed, exported and deleted what, newest first. Contents of pupils' work do not stand there."""
    _administrator(request)
    rows = Event.objects.visible_to(request.user).select_related("actor")
    verb, who = request.GET.get("verb", "")[:48], request.GET.get("who", "")[:20]
    if verb:
        rows = rows.filter(verb=verb)
    if who.isdecimal():
        rows = rows.filter(actor_id=int(who))
    page = Paginator(rows, PAGE_ROWS).get_page(request.GET.get("page"))
    done_here = Event.objects.visible_to(request.user).order_by("verb").values_list("verb", flat=True).distinct()
    verbs = sorted(((one, did(one)) for one in done_here), key=lambda pair: pair[1].casefold())
    context = {"page": page, "verbs": verbs, "verb": verb, "who": who}
    return render(request, "privacy/records.html", context)


@require_POST
def student_export(request: SignedInRequest, pk: int) -> FileResponse:
    """All that is kept of a student, as a download."""
    return attachment(_Opened(write_zip(request.user, own_student(request, pk))), "student.zip")


class _Opened:
    """What ``attachment`` takes: something that opens."""

    def __init__(self, stream: Any) -> None:
        self.stream = stream

    def open(self, mode: str) -> Any:
        return self.stream


@require_POST
def student_erase(request: SignedInRequest, pk: int) -> HttpResponse:
    """Delete a student, when the nickname was typed as it is."""
    member = own_student(request, pk)
    school_class = member.school_class
    if request.POST.get("name", "").strip() != member.nickname:
        messages.error(request, _("Type the nickname exactly as it is; nothing was deleted."))
        return redirect("lessons:student-detail", pk=pk)
    said = _("Deleted. Backups made before still hold it until they run out.")
    verb = lambda: erasing.erase_student(request.user, member.user)  # noqa: E731
    if not done(request, verb, said, erasing.NotPossible):
        return redirect("lessons:student-detail", pk=pk)
    return redirect("lessons:class-detail", pk=school_class.pk)


@require_POST
def class_erase(request: SignedInRequest, pk: int) -> HttpResponse:
    """Delete a class now, when its name was typed as it is."""
    _administrator(request)
    school_class: SchoolClass = own_class(request, pk)
    if request.POST.get("name", "").strip() != school_class.name:
        messages.error(request, _("Type the name of the class exactly as it is; nothing was deleted."))
        return redirect("privacy:keeping")
    said = _("Deleted. Backups made before still hold it until they run out.")
    try:
        done(request, lambda: erasing.erase_class(request.user, school_class), said, erasing.NotPossible)
    except PermissionDenied as error:
        raise Http404 from error
    return redirect("privacy:keeping")
