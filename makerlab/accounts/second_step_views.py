"""The second step of signing in: asking for the code, turning it on and off, and the school's rule."""

from __future__ import annotations

import time
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from makerlab.accounts import second_step as verbs
from makerlab.accounts.backends import StaffBackend
from makerlab.accounts.middleware import SINCE
from makerlab.accounts.models import User
from makerlab.accounts.next_page import safe_page
from makerlab.accounts.people import NotPossible, staff_of
from makerlab.accounts.single_sign_on import BY_SERVICE
from makerlab.audit.models import record
from makerlab.components.qr import qr_svg
from makerlab.http import SignedInRequest, done, one

WAITING = "second step"  # key of the session: who gave the right password, when, and where they wanted to go
BACKEND = f"{StaffBackend.__module__}.{StaffBackend.__name__}"


class CodeForm(forms.Form):
    """One code, of the app or from paper."""

    code = forms.CharField(
        label=gettext_lazy("Code"),
        max_length=40,
        widget=forms.TextInput({"autocomplete": "one-time-code", "spellcheck": "false", "autocapitalize": "none"}),
    )


class EnrolForm(CodeForm):
    """The first code, and the password again: a session somebody left open must not lock its owner out."""

    password = forms.CharField(
        label=gettext_lazy("Your password"),
        max_length=256,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "current-password"}),
    )

    def is_somebody_else(self, request: SignedInRequest) -> str:
        """Why this may not be the owner of the session; empty when it is. Who came through the school's service knows
        no password: a sign-in of a moment ago stands for it."""
        if "password" in self.fields:
            right = request.user.check_password(self.cleaned_data["password"])
            return "" if right else _("That is not your password.")
        if time.time() - request.session.get(SINCE, 0) <= settings.SECOND_STEP_S:
            return ""
        return _("Your sign-in is too long ago for this. Sign out, sign in again, and turn it on then.")


def enrol_form(request: SignedInRequest) -> EnrolForm:
    form = EnrolForm(request.POST if request.method == "POST" else None)
    if request.session.get(BY_SERVICE):
        del form.fields["password"]
    return form


def wait_for_code(request: HttpRequest, user: User, target: str, by_service: bool = False) -> HttpResponse:
    """Remember for a few minutes who gave the right password, or came through the school's service, in a session of a
    fresh key; nobody is signed in yet."""
    request.session.cycle_key()
    request.session[WAITING] = {
        "user": user.pk, "at": time.time(), "next": target, "key": user.get_session_auth_hash(),
        "by_service": by_service,
    }  # fmt: skip
    return redirect("accounts:sign-in-code")


def _waiting(request: HttpRequest) -> tuple[User, str, bool] | None:
    held = request.session.get(WAITING)
    if not held or time.time() - held["at"] > settings.SECOND_STEP_S:
        return None
    user = StaffBackend().get_user(held["user"])
    if user is None or user.get_session_auth_hash() != held["key"]:
        return None
    return user, held["next"], held.get("by_service", False)


def enter(request: HttpRequest, user: User, target: str, by_service: bool = False, **facts: bool) -> HttpResponse:
    """Signed in, on record, and on to the page that was wanted."""
    login(request, user, backend=BACKEND)
    if by_service:
        request.session[BY_SERVICE] = True
        facts["by_service"] = True
    record(user.school_id, user, "signed-in", user, **facts)
    return redirect(safe_page(request, target))


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """After the right password: the code. Back to the start when too long ago or too often wrong."""
    found = _waiting(request)
    if found is None:
        request.session.pop(WAITING, None)
        return redirect("accounts:sign-in")
    user, target, by_service = found
    form = CodeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            right = verbs.check(user, form.cleaned_data["code"])
        except verbs.TooMany:
            request.session.flush()
            messages.error(request, _("Too many wrong codes. Wait a quarter of an hour, or ask another administrator."))
            return redirect("accounts:sign-in")
        if right:
            del request.session[WAITING]
            return enter(request, user, target, by_service, second_step=True)
        form.add_error("code", _(verbs.WRONG))
    return render(request, "accounts/sign_in_code.html", {"form": form}, status=422 if form.errors else 200)


def _page(request: SignedInRequest, form: CodeForm, codes: list[str] | None = None) -> HttpResponse:
    user, on = request.user, verbs.has_second_step(request.user)
    step, status = None if on else verbs.begin(user), 422 if form.errors else 200
    if step and not isinstance(form, EnrolForm):
        form = enrol_form(request)
    context: dict[str, Any] = {
        "form": form, "on": on, "codes": codes, "step": step,
        "qr": qr_svg(verbs.address(step)) if step else "",
        "left": user.recovery_codes.filter(used_at__isnull=True).count(),
        "required": user.is_administrator and user.school.second_step_required,
    }  # fmt: skip
    return render(request, "accounts/second_step.html", context, status=status)


@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def own(request: SignedInRequest) -> HttpResponse:
    """One's own second step: the QR code and the first right code, or how it stands. Students have none."""
    _staff(request)
    form = enrol_form(request)
    if request.method == "POST" and form.is_valid():
        if told := form.is_somebody_else(request):
            form.add_error("password" if "password" in form.fields else "code", told)
            return _page(request, form)
        try:
            codes = verbs.confirm(request.user, form.cleaned_data["code"])
            _stay_here_only(request)
            return _page(request, CodeForm(), codes)
        except NotPossible as told:
            form.add_error("code", str(told))
    return _page(request, form)


def _stay_here_only(request: SignedInRequest) -> None:
    """Sessions on other machines end: how this person signs in has changed."""
    request.user.end_sessions()
    update_session_auth_hash(request, request.user)


@never_cache
@require_POST
def renew_codes(request: SignedInRequest) -> HttpResponse:
    """New recovery codes, told once, for who gives a code of now."""
    return _with_code(request, lambda: verbs.renew_recovery_codes(request.user))


@never_cache
@require_POST
def off(request: SignedInRequest) -> HttpResponse:
    """No second step any more, for who gives a code of it."""

    def turn_off() -> None:
        verbs.turn_off(request.user)
        _stay_here_only(request)

    return _with_code(request, turn_off)


def _with_code(request: SignedInRequest, verb: Any) -> HttpResponse:
    _staff(request)
    form = CodeForm(request.POST)
    if form.is_valid() and verbs.has_second_step(request.user):
        try:
            if verbs.check(request.user, form.cleaned_data["code"]):
                return _page(request, CodeForm(), verb())
            form.add_error("code", _(verbs.WRONG))
        except verbs.TooMany:
            form.add_error("code", _("Too many wrong codes. Wait a quarter of an hour."))
        except NotPossible as told:
            form.add_error(None, str(told))
    return _page(request, form)


@require_POST
def require(request: SignedInRequest) -> HttpResponse:
    """Whether the school wants a second step of its administrators, as ``required`` says."""
    if not request.user.is_administrator:
        raise Http404
    wanted = request.POST.get("required") == "yes"
    said = (
        _("Administrators need a second step now.") if wanted else _("A second step is each person's own choice now.")
    )
    done(request, lambda: verbs.require(request.user, wanted), said, NotPossible)
    return redirect("accounts:people")


@require_POST
def person_forget(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take the second step of somebody who lost phone and paper."""
    person: User = one(staff_of(request.user), pk)
    said = _("%(person)s signs in with the password alone and can turn the second step on again.") % {"person": person}
    done(request, lambda: verbs.forget_for(request.user, person), said, NotPossible)
    return redirect("accounts:people")


def _staff(request: SignedInRequest) -> None:
    if not request.user.is_staff_member:
        raise Http404
