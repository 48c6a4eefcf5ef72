"""Signing in through the school's own service: there, back again, and what an administrator enters for it."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_POST, require_safe

from makerlab.accounts import people, single_sign_on
from makerlab.accounts.limits import address_is_over, note_from_address
from makerlab.accounts.models import User
from makerlab.accounts.next_page import next_page, safe_page
from makerlab.accounts.second_step import has_second_step
from makerlab.accounts.second_step_views import enter, wait_for_code
from makerlab.accounts.views import refused
from makerlab.http import SignedInRequest, done, one

WANTED = "page wanted from the service"  # key of the session
TRY = "sign-in by the service"  # what is counted by address
WHY: dict[str, str | Promise] = {
    "stopped": gettext_lazy("Nobody was signed in: it was stopped on the other page."),
    "stale": gettext_lazy("That was begun too long ago, or in another window. Please begin again."),
    "away": gettext_lazy("The school's sign-in does not answer. Try again in a minute, or use your password here."),
    "answer": gettext_lazy("The school's sign-in gave an answer that cannot be used. Use your password here, and tell "
                           "your administrator."),
}  # fmt: skip


def _on_or_404() -> None:
    if not settings.SINGLE_SIGN_ON:
        raise Http404


@login_not_required
@never_cache
@require_safe
def begin(request: HttpRequest) -> HttpResponse:
    """Over to the school's service. A link, not a form: the browser's policy on forms would have to name every host the
    service sends on to. Nothing is changed here; the way back is bound to this session."""
    _on_or_404()
    from makerlab.accounts import oidc

    if request.user.is_authenticated:
        return redirect(next_page(request))
    if address_is_over(TRY, request):
        return refused(request, many=True)
    note_from_address(TRY, request)
    request.session[WANTED] = next_page(request)
    try:
        return oidc.ask(request)
    except oidc.NotDone as told:
        return _back(request, WHY[told.why])


@login_not_required
@never_cache
@require_safe
@sensitive_variables("claims")
def come_back(request: HttpRequest) -> HttpResponse:
    """From the service. Whoever it names and an administrator entered is in, or is asked for the second step."""
    _on_or_404()
    from makerlab.accounts import oidc

    target = safe_page(request, request.session.get(WANTED, ""))
    if request.user.is_authenticated:
        return redirect(target)
    try:
        claims = oidc.answer_of(request)
    except oidc.NotDone as told:
        return _back(request, WHY[told.why])
    request.session.pop(WANTED, None)
    person = single_sign_on.person_for(claims)
    if person is None:
        said = _("The school's sign-in knows you, Makerlab does not yet. Give this to your administrator: %(name)s")
        return _back(request, said % {"name": claims.email or claims.subject})
    if has_second_step(person):
        return wait_for_code(request, person, target, by_service=True)
    return enter(request, person, target, by_service=True)


def _back(request: HttpRequest, said: Any) -> HttpResponse:
    messages.error(request, str(said))
    return redirect("accounts:sign-in")


@require_POST
def person_connect(request: SignedInRequest, pk: int) -> HttpResponse:
    """By what the service knows a member of staff; nothing takes it out."""
    _on_or_404()
    person: User = one(people.staff_of(request.user), pk)
    known_as = request.POST.get("known_as", "")
    said = (
        _("%(person)s may sign in through the school's service.")
        if known_as.strip()
        else _("%(person)s no longer signs in through the school's service.")
    )
    done(request, lambda: single_sign_on.connect(request.user, person, known_as), said % {"person": person},
         people.NotPossible)  # fmt: skip
    if person.pk == request.user.pk:
        update_session_auth_hash(request, person)
    return redirect("accounts:people")
