"""Labels for the single copies of a plate, to be stuck on as they come off the bed."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from makerlab.components.qr import qr_svg
from makerlab.http import SignedInRequest
from printing import queries
from printing.views.plates import own_plate
from printing.views.readiness import paper_of


@require_safe
def plate_labels(request: SignedInRequest, pk: int) -> HttpResponse:
    """A label for each copy in order of its place; the code opens the team's own part. ``?paper=`` a4 or letter."""
    plate = own_plate(request, pk)
    copies = queries.placed_copies(plate)
    wanted = queries.copies_wanted(plate)
    codes = {}
    for own in {copy.request.submission_id for copy in copies} - {None}:
        codes[own] = qr_svg(request.build_absolute_uri(reverse("submissions:submission-report", args=[own])))
    context = {
        "plate": plate,
        "labels": [(copy, wanted[copy.request_id], codes.get(copy.request.submission_id, "")) for copy in copies],
        "paper": paper_of(request),
    }
    return render(request, "printing/plate_labels.html", context)
