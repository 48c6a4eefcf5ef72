"""Signing in and out: staff by name and password, everybody by one click in the demo."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST
from django_htmx.http import HttpResponseClientRefresh

from makerlab.accounts import people
from makerlab.accounts.forms import StaffSignInForm
from makerlab.accounts.limits import address_is_over, note_from_address
from makerlab.accounts.next_page import next_page
from makerlab.accounts.queries import demo_people, demo_person
from makerlab.accounts.second_step import has_second_step
from makerlab.accounts.second_step_views import BACKEND, enter, wait_for_code
from makerlab.audit.models import record
from makerlab.http import SignedInRequest

WRONG_PASSWORD = "wrong password"


@login_not_required
@never_cache
@sensitive_post_parameters("password")
def sign_in(request: HttpRequest) -> HttpResponse:
    """Staff by name and password; in the demo also one button for each role."""
    if getattr(request, "htmx", False):
        return HttpResponseClientRefresh()  # a session ended under a fragment: never swap this page into it
    target = next_page(request)
    if request.user.is_authenticated:
        return redirect(target)
    if request.method == "POST" and address_is_over(WRONG_PASSWORD, request):
        return refused(request, many=True)
    form = StaffSignInForm(request, request.POST or None)
    if request.method == "POST" and form.is_valid() and form.user is not None:
        if has_second_step(form.user):
            return wait_for_code(request, form.user, target)
        return enter(request, form.user, target)
    if form.errors.get("__all__"):
        note_from_address(WRONG_PASSWORD, request)
    context = {"form": form, "people": demo_people(), "next": target, "service": service_name()}
    return render(request, "accounts/sign_in.html", context, status=422 if form.errors else 200)


def service_name() -> str:
    """What the school calls its own sign-in service; empty where there is none."""
    if not settings.SINGLE_SIGN_ON:
        return ""
    return settings.ENVIRONMENT.oidc_name or _("your school account")


def refused(request: HttpRequest, many: bool = False) -> HttpResponse:
    """No sign-in for now: this user name was tried too often from here, or (``many``) very many tries were made."""
    return render(request, "accounts/locked_out.html", {"many": many}, status=429)


def locked_out(request: HttpRequest, response: HttpResponse | None, credentials: dict[str, Any]) -> HttpResponse:
    """What the staff's lock answers."""
    return refused(request)


@login_not_required
@require_POST
def demo_sign_in(request: HttpRequest, role: str) -> HttpResponse:
    """Sign in as the first person of a role. Not there (404) unless this is the demo."""
    person = demo_person(role)
    if person is None:
        raise Http404
    login(request, person, backend=BACKEND)
    record(person.school_id, person, "signed-in", person, demo=True)
    return redirect(next_page(request))


@require_POST
def sign_out_everywhere(request: SignedInRequest) -> HttpResponse:
    """End one's sessions on every machine, this one too."""
    people.sign_out_everywhere(request.user)
    return sign_out(request)


@login_not_required
@never_cache
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session and go back to the sign-in the person came through."""
    was_student = request.user.is_authenticated and request.user.is_student
    logout(request)
    messages.success(request, _("You are signed out. The next person can sign in."))
    return redirect("lessons:student-sign-in" if was_student else "accounts:sign-in")
