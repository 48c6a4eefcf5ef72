"""What a class gets on paper to sign in with: join cards with each student's pictures, and a sign with the code."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from lessons.actions.refusals import NotPossible
from lessons.actions.students import JoinCard, renew_pins
from lessons.classes.members import members_of, pins_seen
from lessons.classes.page import student_rows
from lessons.forms import PICTURE_WORDS
from lessons.models import SchoolClass
from lessons.views.common import own_class
from makerlab.components.qr import qr_svg
from makerlab.http import SignedInRequest

PAPERS = ("a4", "letter")
LOCAL = frozenset({"localhost", "127.0.0.1", "::1"})  # addresses no other device reaches


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def class_cards(request: SignedInRequest, pk: int) -> HttpResponse:
    """Choose who gets a card; POST makes new pictures and shows the cards, this one time only."""
    school_class = own_class(request, pk)
    if request.method != "POST":
        return _choose(request, school_class)
    chosen = {int(key) for key in request.POST.getlist("student") if key.isdecimal()}
    try:
        cards = renew_pins(request.user, school_class, chosen, request.POST.get("seen", ""))
    except PermissionDenied as error:
        raise Http404 from error
    except NotPossible as told:
        return _choose(request, school_class, chosen, str(told))
    context = {"cards": [(card, _pictures(card)) for card in cards], **_sign(request, school_class)}
    return render(request, "lessons/classes/join_cards.html", context)


def _choose(
    request: SignedInRequest, school_class: SchoolClass, chosen: set[int] | None = None, told: str = ""
) -> HttpResponse:
    rows = student_rows(school_class)
    if chosen is None:
        chosen = {row.member.pk for row in rows if not row.member.user.pin}
    context = {
        "school_class": school_class,
        "rows": [(row, row.member.pk in chosen) for row in rows],
        "seen": pins_seen(members_of(school_class)),
        "told": told,
    }
    return render(request, "lessons/classes/choose_cards.html", context, status=422 if told else 200)


@require_safe
def class_sign(request: SignedInRequest, pk: int) -> HttpResponse:
    """A sign for the wall: class code, address and QR code. It holds nobody's pictures."""
    return render(request, "lessons/classes/class_sign.html", _sign(request, own_class(request, pk)))


def _sign(request: SignedInRequest, school_class: SchoolClass) -> dict[str, Any]:
    address = request.build_absolute_uri(reverse("lessons:student-sign-in"))
    paper = request.POST.get("paper") or request.GET.get("paper", "")
    return {
        "school_class": school_class,
        "address": address,
        "is_local": request.get_host().rpartition(":")[0].strip("[]") in LOCAL or request.get_host() in LOCAL,
        "qr": qr_svg(f"{address}?{urlencode({'class': school_class.code})}"),
        "paper": paper if paper in PAPERS else PAPERS[0],
    }


def _pictures(card: JoinCard) -> list[tuple[str, Any]]:
    return [(name, PICTURE_WORDS[name]) for name in card.pictures]
