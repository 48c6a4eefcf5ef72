"""The district's page, making a school, and a school's store."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from makerlab.accounts.models import School, User
from makerlab.accounts.people import NotPossible, check_new_school
from makerlab.accounts.second_step import has_second_step
from makerlab.district import actions
from makerlab.district.counts import SchoolCounts, counts_of, last_backup
from makerlab.district.forms import SchoolForm, StoreForm, proposed_zones
from makerlab.district.permissions import can_run_district, schools_for
from makerlab.http import SignedInRequest
from makerlab.keeping.retention import LATE
from makerlab.uploads import MEGABYTE

View = Callable[..., HttpResponse]
CHANGE, MAKE = "change", "make"


def for_the_district(view: View) -> View:
    """404 for everybody who does not run the district; who does and has no second step is told where to set it up."""

    @wraps(view)
    def inner(request: SignedInRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not can_run_district(request.user):
            raise Http404
        if not has_second_step(request.user):
            return render(request, "district/closed.html")
        return view(request, *args, **kwargs)

    return inner


@never_cache
@require_safe
@for_the_district
def schools(request: SignedInRequest) -> HttpResponse:
    """All schools in figures."""
    rows, now, backup = counts_of(schools_for(request.user)), timezone.now(), last_backup()
    context = {
        "rows": [(row, _seconds(row, now)) for row in rows],
        "stored_mb": sum(row.stored_bytes for row in rows) / MEGABYTE,
        "jobs_waiting": sum(row.jobs_waiting for row in rows),
        "backups_set": settings.BACKUPS is not None,
        "backup": backup,
        "backup_late": backup is not None and now - backup > LATE,
    }
    return render(request, "district/schools.html", context)


def _seconds(row: SchoolCounts, now: Any) -> float | None:
    """How long the job waits that waits longest."""
    return None if row.oldest_waits_since is None else max(0.0, (now - row.oldest_waits_since).total_seconds())


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@for_the_district
def school_new(request: SignedInRequest) -> HttpResponse:
    """A form, the same once more to be sure, and the new school with the password that is shown once."""
    if request.method != "POST":
        return _form_page(request, SchoolForm(initial={"time_zone": request.user.school.time_zone}))
    form, step = SchoolForm(request.POST), request.POST.get("step")
    if step == CHANGE or not form.is_valid():
        return _form_page(request, form, changing=step == CHANGE)
    values = form.cleaned_data
    try:
        if step != MAKE:
            check_new_school(values["name"], values["time_zone"], values["username"])
            return render(request, "district/school_sure.html", {"form": form, "values": values})
        made = actions.new_school(
            request.user, values["name"], values["time_zone"], values["username"], values["display_name"]
        )
    except NotPossible as told:
        form.add_error(told.field, str(told))
        return _form_page(request, form)
    return _made_page(request, made)


def _form_page(request: SignedInRequest, form: SchoolForm, changing: bool = False) -> HttpResponse:
    context = {"form": form, "zones": proposed_zones()}
    return render(request, "district/school_new.html", context, status=422 if form.errors and not changing else 200)


def _made_page(request: SignedInRequest, made: tuple[School, User, str]) -> HttpResponse:
    school, person, password = made
    context = {"school": school, "person": person, "password": password, "days": settings.GIVEN_PASSWORD_DAYS}
    return render(request, "district/school_made.html", context)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@for_the_district
def school_store(request: SignedInRequest, pk: int) -> HttpResponse:
    """How much a school may store."""
    found = counts_of(schools_for(request.user).filter(pk=pk))
    if not found:
        raise Http404
    (row,) = found
    form = StoreForm(
        request.POST if request.method == "POST" else None, initial={"store_max_mb": row.school.store_max_mb}
    )
    if request.method == "POST" and form.is_valid():
        try:
            actions.set_store(request.user, row.school, form.cleaned_data["store_max_mb"])
        except NotPossible as told:
            form.add_error(told.field, str(told))
        else:
            messages.success(request, _("The limit of %(school)s is saved.") % {"school": row.school})
            return redirect("district:school-list")
    context = {"row": row, "form": form, "usual_mb": settings.SCHOOL_MAX_BYTES // MEGABYTE}
    return render(request, "district/school_store.html", context, status=422 if form.errors else 200)
