"""A look inside a plate, layer by layer."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from makerlab.http import SignedInRequest
from printing.plate_layers import layer_of_plate
from printing.views.plates import own_plate
from submissions.layer_page import asked_layer, shown_layer


@require_safe
def plate_layers(request: SignedInRequest, pk: int) -> HttpResponse:
    """One layer of the plate, drawn and timed: a fragment for the slider, a page of its own without script."""
    plate = own_plate(request, pk)
    if not plate.copies.exists():
        raise Http404
    number = asked_layer(request)
    view = shown_layer(lambda: layer_of_plate(plate, number))
    template = "submissions/layer.html" if request.htmx else "printing/plate_layer_page.html"
    address = reverse("printing:plate-layers", args=[plate.pk])
    return render(request, template, {"plate": plate, "view": view, "address": address, "wide": True})
