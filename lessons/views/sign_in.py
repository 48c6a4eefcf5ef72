"""Students sign in with class code, nickname and picture PIN."""

from __future__ import annotations

import math
from datetime import datetime

from django.conf import settings
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from lessons.forms import StudentSignInForm
from lessons.signin import JoiningClosed, Locked
from makerlab.accounts.limits import address_is_over, note_from_address
from makerlab.accounts.models import User
from makerlab.accounts.next_page import next_page
from makerlab.audit.models import record

WRONG_PICTURES = "wrong pictures"
STUDENT_BACKEND = "lessons.signin.ClassCodeBackend"


@login_not_required
@never_cache
@sensitive_post_parameters()
def student_sign_in(request: HttpRequest) -> HttpResponse:
    """The form; a wrong try or a lock keeps what was typed, never the pictures."""
    target = next_page(request)
    if request.user.is_authenticated:
        return redirect(target)
    if request.method == "POST" and address_is_over(WRONG_PICTURES, request):
        return render(request, "lessons/sign_in_closed.html", status=429)
    start = {"class_code": request.GET.get("class", "")[:12]}
    form = StudentSignInForm(request, request.POST or None, initial=start)
    wait_s, closed = 0, False
    try:
        signed_in = request.method == "POST" and form.is_valid()
    except Locked as lock:
        signed_in, wait_s = False, seconds_until(lock.until)
    except JoiningClosed:
        signed_in, closed = False, True
    if signed_in and form.user is not None:
        _begin_session(request, form.user)
        return redirect(target)
    if wait_s or form.errors.get("__all__"):
        note_from_address(WRONG_PICTURES, request)
    context = {"form": form, "wait_s": wait_s, "closed": closed, "next": target}
    return render(request, "lessons/sign_in.html", context, status=422 if form.is_bound else 200)


@transaction.atomic
def _begin_session(request: HttpRequest, user: User) -> None:
    """Sign in, with the record of it, in one transaction: a class signs in at the same time."""
    login(request, user, backend=STUDENT_BACKEND)
    request.session.set_expiry(settings.STUDENT_SESSION_S)
    record(user.school_id, user, "signed-in", user)
    request.session.save()


def seconds_until(moment: datetime) -> int:
    """Whole seconds from now, at least one; above a minute in whole minutes, rounded up: never told too short."""
    seconds = max(1, math.ceil((moment - timezone.now()).total_seconds()))
    return seconds if seconds < 60 else 60 * math.ceil(seconds / 60)
