"""The teacher's desk: the next part fills the screen."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from makerlab.http import SignedInRequest
from meshcheck.for_teachers import FOR_TEACHERS
from meshcheck.types import Level, Verdict
from submissions import actions, permissions, queries
from submissions.compare import hole_mm, spin_inertia_gcm2, version_view
from submissions.forms import ReturnForm
from submissions.look_alikes import look_alikes
from submissions.models import Submission
from submissions.states import NotAllowedNow
from submissions.steps import period_of
from submissions.views.parts import in_place
from submissions.views.report import RELATED
from submissions.wording import counts, of_level, ready_sentences, sort_findings, verdict_banner

PAGE = "submissions/review_desk.html"


def found(request: SignedInRequest, pk: int) -> Submission:
    """The submission, if this person decides about it; 404 otherwise."""
    submission = (
        Submission.objects.editable_by(request.user)
        .select_related(*RELATED, "uploaded_by")
        .defer("kit_part__picture", "kit_part__report")
        .filter(pk=pk)
        .first()
    )
    if submission is None:
        raise Http404
    submission.assignment.school_class = submission.team.school_class
    if not permissions.can_review(request.user, submission):
        raise Http404
    return submission


@require_safe
def review_list(request: SignedInRequest) -> HttpResponse:
    """The part that waits longest for the soonest meeting; a calm page when nothing waits."""
    if not (request.user.is_teacher or request.user.is_administrator):
        raise Http404
    first = queries.review_pile(request.user).light().first()
    if first is not None:
        return redirect("submissions:review-desk", pk=first.pk)
    return render(request, "submissions/review_empty.html")


@require_safe
def review_desk(request: SignedInRequest, pk: int) -> HttpResponse:
    """One part with all that is needed to decide."""
    return render(request, PAGE, desk_context(request, found(request, pk)))


def desk_context(request: SignedInRequest, submission: Submission, form: ReturnForm | None = None) -> dict[str, Any]:
    """The pile, the report and the form. ``place`` is 0 when the part waits no more."""
    pile = list(queries.review_pile(request.user).light())
    keys = [waiting.pk for waiting in pile]
    here = keys.index(submission.pk) if submission.pk in keys else None
    passing = [waiting.pk for waiting in pile if waiting.verdict == Verdict.OK]
    form = form or ReturnForm(initial={"seen": submission.state}, sentences=ready_sentences(submission))
    return {
        "submission": submission,
        "pile": pile,
        "place": 0 if here is None else here + 1,
        "earlier": pile[here - 1] if here else None,
        "later": pile[here + 1] if here is not None and here + 1 < len(pile) else None,
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
        "view": version_view(submission, list(queries.versions(submission).defer("picture"))),
        "form": form,
        "review": queries.last_review(submission),
        "look_alikes": look_alikes(submission, request.user),
        "can_approve": permissions.can_approve(request.user, submission),
        "can_return": permissions.can_return(request.user, submission),
    }


def next_after(request: SignedInRequest, pk: int) -> HttpResponse:
    """Where to go from a part that is about to leave the pile: the one after it, else the first of the rest."""
    keys = list(queries.review_pile(request.user).values_list("pk", flat=True))
    at = keys.index(pk) if pk in keys else -1
    rest = keys[at + 1 :] + keys[: max(at, 0)]
    return redirect("submissions:review-desk", pk=rest[0]) if rest else redirect("submissions:review-list")


@require_POST
def review_approve(request: SignedInRequest, pk: int) -> HttpResponse:
    """Approve and go on to the next part."""
    submission = found(request, pk)
    onward = next_after(request, pk)
    try:
        actions.approve(request.user, submission)
    except NotAllowedNow as refused:
        messages.error(request, str(refused))
        return redirect("submissions:review-desk", pk=pk)
    messages.success(request, _("%(part)s of %(team)s is approved.") % _names(submission))
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
            return redirect("submissions:review-desk", pk=pk)
        else:
            messages.success(request, _("%(part)s goes back to %(team)s with your note.") % _names(submission))
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
    return redirect("submissions:review-list")


def _names(submission: Submission) -> dict[str, object]:
    part = _("%(part)s, version %(version)d,") % {
        "part": submission.kit_part.name.capitalize(),
        "version": submission.version,
    }
    return {"part": part, "team": submission.team}
