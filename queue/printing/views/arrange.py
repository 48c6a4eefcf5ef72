"""Lay a plate out by hand: the page, the judgement while copies are moved, saving, and giving it back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from makerlab.components.figures import number
from makerlab.http import SignedInRequest
from printing import actions, by_hand, permissions
from printing.actions.arrange import ChangedMeanwhile
from printing.by_hand import Stand, Verdict, Wish
from printing.hand_drawing import draw_bed
from printing.models import Plate, PrintCopy, Printer, PrinterKind
from printing.queries import placed_copies
from printing.states import NotAllowedNow
from printing.views.common import do
from printing.views.plates import own_plate

PAGE = "printing/plate_arrange.html"
FARTHEST_MM = 2000.0
SHOWN_MM = 0.005  # places are shown in hundredths: a field nobody changed means the exact place behind it


@dataclass(frozen=True)
class Desk:
    """What one person lays out: the plate, the bed, the copies on it and those that may be added."""

    plate: Plate
    kinds: list[PrinterKind]
    kind: PrinterKind
    standing: list[PrintCopy]
    free: list[PrintCopy]
    names: dict[int, str]
    printers: list[Printer]

    @property
    def copies(self) -> list[PrintCopy]:
        return [*self.standing, *self.free]

    @property
    def now(self) -> tuple[Stand, ...]:
        return by_hand.stands_now(self.plate, self.standing, self.kind)


def desk_of(request: SignedInRequest, plate: Plate, kind_id: str | None) -> Desk:
    """Raises Http404 when the room has no printer of that kind for the plate."""
    printers = by_hand.printers_of(plate)
    kinds = by_hand.kinds_of(plate, printers)
    chosen = [kind for kind in kinds if str(kind.pk) == kind_id] if kind_id else kinds
    if not chosen:
        raise Http404
    standing = placed_copies(plate)
    free = by_hand.free_copies(plate, request.user, standing)
    return Desk(plate, kinds, chosen[0], standing, free, by_hand.names_of(standing, free), printers)


def allowed(request: SignedInRequest, plate: Plate) -> str:
    """Empty when this person may lay it out now, else why not; 404 when it is nothing to them."""
    try:
        permissions.check_can_arrange(request.user, plate)
    except PermissionDenied as error:
        raise Http404 from error
    except NotAllowedNow as told:
        return str(told)
    return ""


def stands_of(values: QueryDict, desk: Desk) -> tuple[tuple[Stand, ...], list[str]]:
    """The copies that were ticked with their places, and what is wrong with the figures."""
    shown = {stand.copy_id: stand for stand in desk.now}
    known = {copy.pk for copy in desk.copies}
    ticked = [int(value) for value in values.getlist("on") if value.isdigit()]
    stands, wrong = [], []
    for copy_id in ticked:
        if copy_id not in known:
            continue
        written = [values.get(f"{name}-{copy_id}", "").strip().replace(",", ".") for name in ("x", "y", "turn")]
        figures = [number(text) if text else None for text in written]
        pairs = zip(written, figures, strict=True)
        if any(text and (figure is None or abs(figure) > FARTHEST_MM) for text, figure in pairs):
            wrong.append(_("%(copy)s: write its place and turn in figures.") % {"copy": desk.names[copy_id]})
            continue
        x, y, turn = figures
        stand = Stand(copy_id, x, y, turn or 0.0) if x is not None and y is not None else Stand(copy_id)
        stands.append(_exact(stand, shown.get(copy_id)))
    return tuple(stands), wrong


def _exact(stand: Stand, shown: Stand | None) -> Stand:
    """The place behind a field that was left as it was shown."""
    if shown is None or not stand.has_place:
        return stand
    pairs = [(stand.x_mm, shown.x_mm), (stand.y_mm, shown.y_mm), (stand.turn_deg, shown.turn_deg)]
    same = [abs((mine or 0.0) - (theirs or 0.0)) <= SHOWN_MM + 1e-9 for mine, theirs in pairs]
    x, y, turn = (theirs if close else mine for (mine, theirs), close in zip(pairs, same, strict=True))
    return Stand(stand.copy_id, x, y, turn or 0.0)


def verdict_of(desk: Desk, stands: tuple[Stand, ...]) -> Verdict:
    chosen = {stand.copy_id for stand in stands}
    wanted = by_hand.copies_by_id(copy for copy in desk.copies if copy.pk in chosen)
    known = tuple(stand for stand in stands if stand.copy_id in wanted)
    return by_hand.judge(desk.plate, Wish(desk.kind, known), wanted, desk.names, desk.printers)


def page(
    request: SignedInRequest, desk: Desk, stands: tuple[Stand, ...], told: tuple[str, ...] = (), status: int = 200
) -> HttpResponse:
    """``told``: why it was not saved. What the person has moved stays as they moved it."""
    verdict = verdict_of(desk, stands)
    drawn = draw_bed(desk.kind, desk.copies, verdict.stands, desk.names, desk.plate.room.gap_mm, verdict.by_copy)
    context: dict[str, Any] = {
        "plate": desk.plate,
        "kind": desk.kind,
        "kinds": desk.kinds,
        "drawing": drawn,
        "verdict": verdict,
        "version": by_hand.version_of(desk.plate, desk.standing),
        "none_free": not desk.free,
        "told": told,
    }
    return render(request, PAGE, context, status=status)


@require_safe
def plate_arrange(request: SignedInRequest, pk: int) -> HttpResponse:
    """The bed with its copies to be moved; ``?bed=`` chooses the kind of printer it is laid out for."""
    plate = own_plate(request, pk)
    if why_not := allowed(request, plate):
        messages.error(request, why_not)
        return redirect("printing:plate-detail", pk=plate.pk)
    desk = desk_of(request, plate, request.GET.get("bed"))
    return page(request, desk, desk.now)


@require_POST
def plate_judge(request: SignedInRequest, pk: int) -> JsonResponse:
    """What would be said of the arrangement posted. Writes nothing."""
    plate = own_plate(request, pk)
    if why_not := allowed(request, plate):
        return JsonResponse({"sentences": [why_not]}, status=409)
    desk = desk_of(request, plate, request.POST.get("bed"))
    stands, wrong = stands_of(request.POST, desk)
    verdict = verdict_of(desk, stands)
    return JsonResponse(
        {
            "places": {
                stand.copy_id: [stand.x_mm, stand.y_mm, stand.turn_deg] for stand in verdict.stands if stand.has_place
            },
            "sentences": [*wrong, *verdict.sentences],
            "copies": {str(copy_id): list(words) for copy_id, words in verdict.by_copy.items()},
            "printers": list(verdict.printers),
            "others": list(verdict.others),
            "changed": request.POST.get("version", "") != by_hand.version_of(plate, desk.standing),
        }
    )


@require_POST
def plate_save(request: SignedInRequest, pk: int) -> HttpResponse:
    """Save it; a broken rule, or a plate changed meanwhile, is told in place and nothing that was moved is lost."""
    plate = own_plate(request, pk)
    if why_not := allowed(request, plate):
        messages.error(request, why_not)
        return redirect("printing:plate-detail", pk=plate.pk)
    desk = desk_of(request, plate, request.POST.get("bed"))
    stands, wrong = stands_of(request.POST, desk)
    if "look" in request.POST or wrong:
        return page(request, desk, stands, tuple(wrong), status=422 if wrong else 200)
    lost = {int(value) for value in request.POST.getlist("on") if value.isdigit()} - {s.copy_id for s in stands}
    try:
        if lost:
            raise ChangedMeanwhile(_("%(count)d of the parts are not to be had any more.") % {"count": len(lost)})
        actions.arrange_plate(plate, request.user, Wish(desk.kind, stands, request.POST.get("version", "")))
    except PermissionDenied as error:
        raise Http404 from error
    except ChangedMeanwhile as told:
        again = _("Below is your arrangement on what stands there now. Save again to keep yours.")
        return page(request, desk, stands, (str(told), again), status=422)
    except NotAllowedNow as told:
        return page(request, desk, stands, (str(told),), status=422)
    messages.success(
        request, _("%(plate)s stays as you laid it out. Its grams, minutes and the plan follow.") % {"plate": plate}
    )
    return redirect("printing:plate-detail", pk=plate.pk)


@require_POST
def plate_lay_out_again(request: SignedInRequest, pk: int) -> HttpResponse:
    """Give it back to the planner."""
    plate = own_plate(request, pk)
    said = _("The planner lays %(plate)s out again; the room plan follows.") % {"plate": plate}
    if do(request, lambda: actions.lay_out_again(plate, request.user), said):
        return redirect("printing:room-plan")
    return redirect("printing:plate-detail", pk=plate.pk)
