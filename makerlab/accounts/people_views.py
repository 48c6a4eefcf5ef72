"""An administrator's page of the staff, and everybody's own password."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from makerlab.accounts import people as verbs
from makerlab.accounts.models import STAFF_ROLES, Role, User
from makerlab.accounts.views import service_name
from makerlab.http import SignedInRequest, done, one

PAGE = "accounts/people.html"
PLAIN = {"autocomplete": "off", "spellcheck": "false", "autocapitalize": "none"}


class NamesForm(forms.Form):
    """What somebody new is called."""

    display_name = forms.CharField(
        label=gettext_lazy("Name others see"),
        max_length=64,
        widget=forms.TextInput(PLAIN | {"autocapitalize": "words"}),
    )
    username = forms.RegexField(
        r"^[\w.@+-]{2,64}$",
        label=gettext_lazy("User name"),
        widget=forms.TextInput(PLAIN),
        error_messages={"invalid": gettext_lazy("2 to 64 letters, numbers and . @ + - _ without spaces.")},
    )


class PersonForm(NamesForm):
    """A new member of staff."""

    role = forms.ChoiceField(
        label=gettext_lazy("What they do"), choices=[(role.value, role.label) for role in Role if role in STAFF_ROLES]
    )


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def people(request: SignedInRequest) -> HttpResponse:
    """The staff, and a form for one more. A new password is shown once, in the answer itself."""
    if not request.user.is_administrator:
        raise Http404
    form = PersonForm(request.POST if request.method == "POST" else None, initial={"role": Role.TEACHER})
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            person, password = verbs.add_person(
                request.user, values["username"], values["display_name"], values["role"]
            )
        except verbs.NotPossible as told:
            form.add_error(told.field, str(told))
        else:
            return _page(request, PersonForm(initial={"role": person.role}), shown=(person, password))
    return _page(request, form)


def _page(request: SignedInRequest, form: PersonForm, shown: tuple[User, str] | None = None) -> HttpResponse:
    context: dict[str, Any] = {"form": form, "staff": verbs.staff_of(request.user), "shown": shown}
    context["service"] = service_name()
    return render(request, PAGE, context, status=422 if form.errors else 200)


@never_cache
@require_POST
def person_password(request: SignedInRequest, pk: int) -> HttpResponse:
    """A new password, shown once."""
    person: User = one(verbs.staff_of(request.user), pk)
    try:
        password = verbs.give_password(request.user, person)
    except verbs.NotPossible as told:
        messages.error(request, str(told))
        return redirect("accounts:people")
    if person.pk == request.user.pk:
        update_session_auth_hash(request, person)
    return _page(request, PersonForm(initial={"role": Role.TEACHER}), shown=(person, password))


@require_POST
def person_lock_out(request: SignedInRequest, pk: int) -> HttpResponse:
    """The person no longer signs in."""
    return _set_active(request, pk, False, _("%(person)s no longer signs in."))


@require_POST
def person_let_in(request: SignedInRequest, pk: int) -> HttpResponse:
    """The person signs in again."""
    return _set_active(request, pk, True, _("%(person)s may sign in again."))


def _set_active(request: SignedInRequest, pk: int, active: bool, said: str) -> HttpResponse:
    person: User = one(verbs.staff_of(request.user), pk)
    verb: Callable[[], None] = lambda: verbs.set_active(request.user, person, active)  # noqa: E731
    done(request, verb, said % {"person": person}, verbs.NotPossible)
    return redirect("accounts:people")


@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def own_password(request: SignedInRequest) -> HttpResponse:
    """Change one's own password. Students have none."""
    if not request.user.is_staff_member:
        raise Http404
    form = PasswordChangeForm(request.user, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        user = form.save()
        verbs.note_own_password(user)
        update_session_auth_hash(request, user)
        messages.success(request, _("Your password is changed. Other places where you were signed in are signed out."))
        return redirect("home")
    return render(request, "accounts/own_password.html", {"form": form}, status=422 if form.errors else 200)
