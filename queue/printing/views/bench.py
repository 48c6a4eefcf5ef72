"""The technician's pages: bench, clearing a bed, printers out of service."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from makerlab.http import SignedInRequest
from printing import actions, permissions, queries
from printing.actions.ground import IMPROVE_PLAN, PLAN_ROOM
from printing.actions.undo import UNDO_TIME
from printing.bench_page import (
    TODOS_SHOWN,
    cool_at,
    just_done,
    next_words,
    printer_cards,
    standing,
    todo_list,
    turns_left,
)
from printing.changes_page import plans_for
from printing.forms import ClearForm, OutageForm
from printing.hours import attended_until
from printing.models import Printer, Run
from printing.plate_drawing import draw_plate
from printing.room_read import read_room
from printing.states import NotAllowedNow
from printing.views.common import do, is_fragment, one, own_room

PAGE = "printing/bench.html"
RUN_PAGE = "printing/run_detail.html"


@require_safe
def bench(request: SignedInRequest) -> HttpResponse:
    """To-do line and printers. The board asks with what it saw and gets 204 while that is so."""
    room = own_room(request)
    if room is None:
        return render(request, PAGE, {"room": None})
    now = timezone.now()
    since = request.GET.get("since") if is_fragment(request) else None
    if since and since == queries.board_token(room, queries.planning_job(room), now=now):
        return HttpResponse(status=204)
    plan, unseen = plans_for(room, request.user, now)
    read = read_room(room, request.user, plan)
    job = read.jobs.get(PLAN_ROOM)
    stands = standing(room, now, now - UNDO_TIME)
    todos = todo_list(room, now, stands, read.trays)
    context = {
        "room": room,
        "token": queries.board_token(room, job, now=now),
        "planning": job,
        "todos": todos[:TODOS_SHOWN],
        "plan": plan,
        "unseen": unseen,
        "improving": read.jobs.get(IMPROVE_PLAN),
        "cards": printer_cards(stands, now),
        "next": next_words(todos, now),
        "turns": turns_left(todos, now),
        "closes": attended_until(room, now, read.bells),
        "can_work": permissions.can_work_at_bench(request.user, room),
        "unplanned": [plate for plate in stands.plates if plate.setup_at is None],
        "stands": stands,
        "spools": stands.spools,
        "done": just_done(stands, now),
    }
    return render(request, f"{PAGE}#board" if is_fragment(request) else PAGE, context)


def run_context(request: SignedInRequest, run: Run, form: ClearForm | None = None) -> dict[str, Any]:
    copies = queries.placed_copies(run.plate)
    results = {
        result.copy_id: result
        for result in run.results.select_related("copy__request__kit_part", "copy__request__team")
    }
    now = timezone.now()
    return {
        "run": run,
        "plate": run.plate,
        "copies": copies,
        "results": results,
        "drawing": draw_plate(run.plate, copies),
        "form": form or ClearForm(copy_ids=[copy.pk for copy in copies]),
        "chosen_lost": request.POST.getlist("lost") if form is not None else [],
        "cool_at": cool_at(run),
        "is_cool": now >= cool_at(run),
        "left_s": (run.expected_end_at - now).total_seconds(),
        "can_clear": permissions.can_clear(request.user, run),
    }


def own_run(request: SignedInRequest, pk: int) -> Run:
    run: Run = one(
        Run.objects.visible_to(request.user).select_related(
            "plate__room", "plate__printer__kind", "printer__kind", "started_by", "cleared_by"
        ),
        pk,
    )
    return run


@require_safe
def run_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """One run: what lies on the bed, and the form that says how it went."""
    return render(request, RUN_PAGE, run_context(request, own_run(request, pk)))


@require_POST
def run_clear(request: SignedInRequest, pk: int) -> HttpResponse:
    """How it went: all good, some lost, all failed, stopped."""
    run = own_run(request, pk)
    form = ClearForm(request.POST, copy_ids=[copy.pk for copy in queries.placed_copies(run.plate)])
    if not form.is_valid():
        if not permissions.can_clear(request.user, run):  # somebody was quicker: the page says how it went
            do(request, lambda: permissions.check_can_clear(request.user, run))
            return redirect("printing:run-detail", pk=run.pk)
        return render(request, RUN_PAGE, run_context(request, run, form), status=422)
    done = do(request, lambda: clear(run, request, form), said_of(run, form.cleaned_data["how"]))
    return redirect("printing:bench") if done else redirect("printing:run-detail", pk=run.pk)


def clear(run: Run, request: SignedInRequest, form: ClearForm) -> None:
    """Do what the form says."""
    how, user, now = form.cleaned_data["how"], request.user, timezone.now()
    seen = form.seen(now)
    lost = [int(pk) for pk in form.cleaned_data["lost"]]
    reason = form.cleaned_data["reason"]
    if how == ClearForm.GOOD:
        if lost:
            raise NotAllowedNow(_("Copies are ticked as lost. Save them as lost, or take the ticks away."))
        actions.finish_run(run, user, now, seen)
    elif how == ClearForm.STOPPED:
        actions.stop_run(run, user, now, seen)
    elif how == ClearForm.FAILED or len(lost) == run.plate.copies.count():
        actions.mark_failed(run, user, reason, now, seen)
    else:
        actions.mark_partly(run, user, dict.fromkeys(lost, reason), now, seen)


def said_of(run: Run, how: str) -> str:
    words = {
        ClearForm.GOOD: _("%(plate)s is cleared. Put each part in its tray."),
        ClearForm.PARTLY: _("%(plate)s is cleared. What was lost is back in the queue and the room is planned again."),
        ClearForm.FAILED: _(
            "%(plate)s failed. All of it is back in the queue. Stay away until the printer has cooled."
        ),
        ClearForm.STOPPED: _("%(plate)s was stopped. All of it is back in the queue."),
    }
    return words[how] % {"plate": run.plate}


@require_POST
def run_undo(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take back the start or the clearing."""
    run: Run = one(Run.objects.editable_by(request.user).select_related("plate__room", "printer"), pk)
    words = {
        "start": _("The start of %(plate)s is taken back: it waits again. Stop the printer if it prints."),
        "clear": _("The clearing of %(plate)s is taken back: say again how it went."),
    }
    plate = str(run.plate)
    undone: list[str] = []
    if do(request, lambda: undone.append(actions.undo_run(run, request.user))):
        messages.success(request, words[undone[0]] % {"plate": plate})
    return redirect("printing:bench")


@require_POST
def printer_take_out(request: SignedInRequest, pk: int) -> HttpResponse:
    """Out of service from now."""
    printer = one(Printer.objects.editable_by(request.user).select_related("room"), pk)
    form = OutageForm(request.POST)
    if not form.is_valid():
        for errors in form.errors.values():
            messages.error(request, " ".join(str(error) for error in errors))
        return redirect("printing:bench")
    values = form.cleaned_data
    said = _("%(printer)s is out of service; the room is planned again.") % {"printer": printer}
    do(request, lambda: actions.set_out_of_service(printer, request.user, values["reason"], values["until"]), said)
    return redirect("printing:bench")


@require_POST
def printer_bring_back(request: SignedInRequest, pk: int) -> HttpResponse:
    """Back in service."""
    printer = one(Printer.objects.editable_by(request.user).select_related("room"), pk)
    said = _("%(printer)s is back in service; the room is planned again.") % {"printer": printer}
    do(request, lambda: actions.back_in_service(printer, request.user), said)
    return redirect("printing:bench")
