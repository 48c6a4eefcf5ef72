"""What is seen of a submission: the mesh for the viewer, and its pictures."""

from __future__ import annotations

from django.http import HttpResponseBase
from django.views.decorators.http import require_safe

from lessons.showing import MESH, PICTURE, SMALL, answer
from makerlab.http import SignedInRequest
from submissions.models import Submission


def sent(request: SignedInRequest, pk: int, kind: str) -> HttpResponseBase:
    """One file of what is shown; 404 for whoever may not see the submission."""
    item = Submission.objects.visible_to(request.user).only("file", "shown").filter(pk=pk).first()
    return answer(request, item, kind)


@require_safe
def submission_mesh(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """The mesh as meshcheck.shown.binary describes it."""
    return sent(request, pk, MESH)


@require_safe
def submission_picture(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """The rendered picture, PNG."""
    return sent(request, pk, PICTURE)


@require_safe
def submission_small(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """The picture as lists show it, PNG."""
    return sent(request, pk, SMALL)
