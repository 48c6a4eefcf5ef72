"""The teacher's desk: the next part fills the screen."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from makerlab.http import SignedInRequest
from meshcheck.for_teachers import FOR_TEACHERS
from meshcheck.types import Level, Verdict
from submissions import actions, queries
from submissions.compare import hole_mm, side_by_side, spin_inertia_gcm2, view_over_kit
from submissions.forms import ReturnForm
from submissions.look_alikes import look_alikes
from submissions.models import Submission
from submissions.permissions import UNDO_TIME
from submissions.pile import Pile, pile_of
from submissions.states import NotAllowedNow, State, can_step
from submissions.steps import period_of
from submissions.views.parts import in_place
from submissions.wording import counts, of_level, ready_sentences, sort_findings, verdict_banner

PAGE = "submissions/review_desk.html"
UNDO = "approved_last"  # the key in the session


def found(request: SignedInRequest, pk: int) -> Submission:
    """The submission, if this person decides about it; 404 otherwise. What staff may edit they may decide about."""
    if request.user.is_student:
        raise Http404
    submission = (
        Submission.objects.editable_by(request.user)
        .select_related(*queries.RELATED, "uploaded_by")
        .defer("kit_part__picture")
        .filter(pk=pk)
        .first()
    )
    if submission is None:
        raise Http404
    submission.assignment.school_class = submission.team.school_class
    return submission


@require_safe
def review_list(request: SignedInRequest) -> HttpResponse:
    """The part that waits longest for the soonest meeting; a calm page when nothing waits."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    pile = pile_of(request.user, request.GET)
    if pile.parts:
        return to_desk(pile.parts[0].pk, pile)
    return render(request, "submissions/review_empty.html", {"pile": pile, "undo": can_undo(request)})


def to_desk(pk: int, pile: Pile) -> HttpResponse:
    """On to a part of the pile, with the same filters."""
    return redirect(reverse("submissions:review-desk", args=[pk]) + pile.query)


@require_safe
def review_desk(request: SignedInRequest, pk: int) -> HttpResponse:
    """One part with all that is needed to decide."""
    return render(request, PAGE, desk_context(request, found(request, pk)))


def desk_context(request: SignedInRequest, submission: Submission, form: ReturnForm | None = None) -> dict[str, Any]:
    """The pile, the report and the form. ``place`` is 0 when the part waits no more."""
    pile = pile_of(request.user, request.GET)
    parts, keys = pile.parts, pile.keys
    waits = submission.state == State.HANDED_IN
    versions = list(queries.versions(submission).defer("picture")) if submission.version > 1 else [submission]
    here = keys.index(submission.pk) if submission.pk in keys else None
    passing = [waiting.pk for waiting in parts if waiting.verdict == Verdict.OK]
    form = form or ReturnForm(initial={"seen": submission.state}, sentences=ready_sentences(submission))
    return {
        "submission": submission,
        "pile": pile,
        "place": 0 if here is None else here + 1,
        "earlier": parts[here - 1] if here else None,
        "later": parts[here + 1] if here is not None and here + 1 < len(parts) else None,
        "undo": can_undo(request),
        "passing": passing,
        "banner": verdict_banner(submission) if submission.verdict else None,
        "counts": counts(submission),
        "told": [
            (finding, FOR_TEACHERS.get(str(finding["code"]), ""))
            for finding in sort_findings(submission)
            if finding["level"] != Level.PASSES
        ],
        "passes": of_level(submission, Level.PASSES),
        "period": period_of(submission.assignment.meeting),
        "spin_inertia": spin_inertia_gcm2(submission),
        "hole_mm": hole_mm(submission),
        "view": view_over_kit(submission),
        "table": side_by_side(submission.kit_part, versions, submission),
        "form": form,
        "review": None if waits else queries.last_review(submission),
        "look_alikes": look_alikes(submission, request.user),
        "can_approve": can_step(submission.state, "approve"),  # who may open the desk may decide
        "can_return": can_step(submission.state, "return"),
    }


def next_after(request: SignedInRequest, pk: int) -> HttpResponse:
    """Where to go from a part that is about to leave the pile: the one after it, else the first of the rest."""
    pile = pile_of(request.user, request.GET)
    keys = pile.keys
    at = keys.index(pk) if pk in keys else -1
    rest = keys[at + 1 :] + keys[: max(at, 0)]
    return to_desk(rest[0], pile) if rest else redirect("submissions:review-list")


@require_POST
def review_approve(request: SignedInRequest, pk: int) -> HttpResponse:
    """Approve and go on to the next part."""
    submission = found(request, pk)
    onward = next_after(request, pk)
    try:
        actions.approve(request.user, submission)
    except NotAllowedNow as refused:
        messages.error(request, str(refused))
        return to_desk(pk, pile_of(request.user, request.GET))
    messages.success(request, _("%(part)s, version %(version)d, of %(team)s is approved.") % _names(submission))
    note_undo(request, [submission])
    return onward


@require_POST
def review_return(request: SignedInRequest, pk: int) -> HttpResponse:
    """Send back with a note and go on to the next part; without a note the desk says so, 422."""
    submission = found(request, pk)
    onward = next_after(request, pk)
    form = ReturnForm(request.POST, sentences=ready_sentences(submission))
    if form.is_valid():
        try:
            seen = form.cleaned_data["seen"] or None
            actions.return_with_note(request.user, submission, form.whole_note(), seen=seen)
        except actions.NoteNeeded as needed:
            form.add_error("note", str(needed))
        except NotAllowedNow as refused:
            messages.error(request, str(refused))
            return to_desk(pk, pile_of(request.user, request.GET))
        else:
            messages.success(
                request, _("%(part)s, version %(version)d, goes back to %(team)s with your note.") % _names(submission)
            )
            return onward
    return in_place(render(request, PAGE, desk_context(request, submission, form), status=422))


@require_POST
def review_approve_passing(request: SignedInRequest) -> HttpResponse:
    """Approve all that pass every check, of those the person saw."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    seen = [int(key) for key in request.POST.getlist("seen") if key.isdecimal()]
    done = actions.approve_all_passing(request.user, seen)
    text = ngettext("%(count)d part is approved.", "%(count)d parts are approved.", len(done)) % {"count": len(done)}
    messages.success(request, text)
    note_undo(request, done)
    return redirect("submissions:review-list")


def note_undo(request: SignedInRequest, done: list[Submission]) -> None:
    """Remember what was approved last, so that it can be taken back."""
    request.session[UNDO] = {"parts": [part.pk for part in done], "at": timezone.now().timestamp()}


def can_undo(request: SignedInRequest) -> int:
    """How many parts the last approval can still take back; 0 when it is too long ago."""
    last = request.session.get(UNDO)
    if not last or timezone.now().timestamp() - last["at"] > UNDO_TIME.total_seconds():
        return 0
    return len(last["parts"])


@require_POST
def review_undo(request: SignedInRequest) -> HttpResponse:
    """Take back what was approved last, one part or many: they wait again and leave the queue of the printers."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    last = request.session.pop(UNDO, {"parts": []})
    undone: list[Submission] = []
    for pk in last["parts"]:
        submission = Submission.objects.editable_by(request.user).select_related(*queries.RELATED).filter(pk=pk).first()
        if submission is None:
            continue
        try:
            actions.undo_approval(request.user, submission)
        except NotAllowedNow as refused:
            messages.error(request, f"{submission.team}: {refused}")
        else:
            undone.append(submission)
    if undone:
        text = ngettext("%(count)d part waits again.", "%(count)d parts wait again.", len(undone))
        messages.success(request, text % {"count": len(undone)})
        return redirect("submissions:review-desk", pk=undone[0].pk)
    return redirect("submissions:review-list")


def _names(submission: Submission) -> dict[str, object]:
    part = submission.kit_part.name.capitalize()
    return {"part": part, "version": submission.version, "team": submission.team}
