"""One part of the kit: what it looks like and what was measured on it."""

from __future__ import annotations

from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from lessons.models import KitPart
from lessons.part_view import part_view
from lessons.showing import MESH, PICTURE, SMALL, answer
from makerlab.http import SignedInRequest


@require_safe
def kit_part(request: SignedInRequest, pk: int) -> HttpResponse:
    """The part with its picture, its 3D view and its figures."""
    part = (
        KitPart.objects.visible_to(request.user).select_related("plan", "gauge").defer("picture").filter(pk=pk).first()
    )
    if part is None:
        raise Http404
    return render(request, "lessons/kit_part.html", {"part": part, "view": part_view(part, "lessons:kit-part")})


def sent(request: SignedInRequest, pk: int, kind: str) -> HttpResponseBase:
    """One file of what is shown; 404 for whoever may not see the kit part."""
    part = KitPart.objects.visible_to(request.user).only("file", "shown").filter(pk=pk).first()
    return answer(request, part, kind)


@require_safe
def kit_part_mesh(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """The mesh as meshcheck.shown.binary describes it."""
    return sent(request, pk, MESH)


@require_safe
def kit_part_picture(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """The rendered picture, PNG."""
    return sent(request, pk, PICTURE)


@require_safe
def kit_part_small(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """The picture as lists show it, PNG."""
    return sent(request, pk, SMALL)
