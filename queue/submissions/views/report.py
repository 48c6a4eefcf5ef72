"""The report on one file, and what its team can do with it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from lessons.measuring import layer_of
from lessons.models import CheckState
from makerlab import news
from makerlab.audit.models import record_seen
from makerlab.files import attachment
from makerlab.http import SignedInRequest, is_fragment
from meshcheck.types import Unit, Verdict
from meshcheck.units import UNIT_NAMES
from submissions import actions, permissions, queries
from submissions.compare import side_by_side, spin_inertia_gcm2, version_view
from submissions.following import REPORT, line_of
from submissions.forms import HandInForm
from submissions.layer_page import asked_layer, shown_layer
from submissions.models import Submission
from submissions.states import NotAllowedNow, State
from submissions.uploads import UploadRefused
from submissions.views.parts import in_place
from submissions.wording import sort_findings, verdict_banner

PAGE = "submissions/submission_report.html"


def found(request: SignedInRequest, pk: int) -> Submission:
    """The submission, if this person may know of it; 404 otherwise."""
    submission = queries.found(request.user, pk)
    if submission is None:
        raise Http404
    return submission


@require_safe
def submission_report(request: SignedInRequest, pk: int) -> HttpResponse:
    """The report. While the check runs, a fragment of it asks again."""
    submission = found(request, pk)
    context = report_context(request, submission)
    if is_fragment(request):
        return render(request, f"{PAGE}#live", {**context, "oob": True})
    return render(request, PAGE, context)


def report_context(request: SignedInRequest, submission: Submission, form: HandInForm | None = None) -> dict[str, Any]:
    """What the page needs: the place in line while it is checked, the whole report afterwards."""
    context: dict[str, Any] = {"submission": submission, "form": form or HandInForm()}
    if submission.check_state == CheckState.CHECKING:
        watch = news.watch(request, REPORT, submission.pk) if request.user.is_student else ""
        return {**context, "line": line_of(queries.check_job(submission.pk)), "watch": watch}
    user = request.user
    versions = queries.reported_versions(submission.team_id, submission.assignment_id, submission.kit_part_id)
    own = user.is_student  # a student finds nothing but the own team's (``found``)
    reviews = permissions.can_review(user, submission)
    earlier = [v for v in versions if v.version < submission.version and v.sha256 == submission.sha256]
    readable = submission.verdict != Verdict.REJECTED  # else the verdict has said it all
    return {
        **context,
        "banner": verdict_banner(submission),
        "findings": sort_findings(submission) if readable else [],
        "view": version_view(submission, versions),
        "spin_inertia": spin_inertia_gcm2(submission),
        "filament": None if user.is_student else filament_cost(submission),
        "table": side_by_side(submission.kit_part, versions, submission) if readable else None,
        "newer": versions[-1] if versions[-1].version > submission.version else None,
        "replaces": next((v for v in versions if v.state in (State.HANDED_IN, State.APPROVED)), None),
        "same_as": earlier[-1] if earlier else None,
        "review": queries.last_review(submission),
        "unit_name": unit_name((submission.report or {}).get("unit_proposed")),
        "unit_chosen": unit_name(submission.unit),
        "must_fix": submission.verdict == Verdict.MUST_FIX,
        "can_hand_in": permissions.can_hand_in(user, submission, own),
        "can_take_back": permissions.can_take_back(user, submission, own),
        "can_lay": permissions.can_lay(user, submission, own, reviews),
        "better_face": actions.is_turned(((submission.report or {}).get("pose") or {}).get("turn")),
        "can_reread": permissions.can_reread(user, submission, own),
        "can_review": reviews,
        "can_upload": own and permissions.can_upload(user, submission.assignment, submission.kit_part, submission.team),
    }


def filament_cost(submission: Submission) -> dict[str, Any] | None:
    """What the filament of one printed file costs, support and raft included, for staff; None without a price."""
    price, report = queries.price_per_kg(submission), submission.report or {}
    if price is None or submission.mass_g is None:
        return None
    grams = submission.mass_g + (report.get("support_g") or 0.0) + (report.get("raft_brim_g") or 0.0)
    return {"cost": f"{Decimal(grams) * price / 1000:.2f}", "price_per_kg": price, "grams": grams}


def unit_name(unit: str | None) -> str:
    """``inches`` for ``inch``; empty when no other unit was proposed."""
    return UNIT_NAMES[Unit(unit)] if unit else ""


@require_safe
def submission_file(request: SignedInRequest, pk: int) -> FileResponse:
    """The file as it was uploaded, as a download."""
    submission = found(request, pk)
    if request.user.is_staff_member:
        record_seen(request.user.school_id, request.user, "download_part", submission)
    return attachment(submission.file, submission.file_name)


def back_to_report(request: SignedInRequest, submission: Submission, refused: Exception) -> HttpResponse:
    messages.error(request, str(refused))
    return redirect("submissions:submission-report", pk=submission.pk)


@require_POST
def submission_hand_in(request: SignedInRequest, pk: int) -> HttpResponse:
    """Give it to the teacher; with must-fix findings only with a note."""
    submission = found(request, pk)
    form = HandInForm(request.POST)
    try:
        if not form.is_valid():
            raise actions.NoteNeeded(" ".join(str(error) for error in form.errors["note"]))
        actions.hand_in(request.user, submission, form.cleaned_data["note"])
    except PermissionDenied as error:
        raise Http404 from error
    except actions.NoteNeeded as needed:
        form.is_valid()
        if not form.errors:
            form.add_error("note", str(needed))
        return in_place(render(request, PAGE, report_context(request, submission, form), status=422))
    except NotAllowedNow as refused:
        return back_to_report(request, submission, refused)
    messages.success(
        request,
        _("%(part)s, version %(version)d, is handed in. Your teacher looks at it next.")
        % {"part": submission.kit_part.name.capitalize(), "version": submission.version},
    )
    return redirect("submissions:submission-report", pk=submission.pk)


@require_POST
def submission_take_back(request: SignedInRequest, pk: int) -> HttpResponse:
    """Undo handing in."""
    submission = found(request, pk)
    try:
        actions.take_back(request.user, submission)
    except PermissionDenied as error:
        raise Http404 from error
    except NotAllowedNow as refused:
        return back_to_report(request, submission, refused)
    messages.success(request, _("Version %(version)d is yours again.") % {"version": submission.version})
    return redirect("submissions:submission-report", pk=submission.pk)


@require_POST
def submission_reread(request: SignedInRequest, pk: int) -> HttpResponse:
    """Check the same file again in another unit."""
    submission = found(request, pk)
    try:
        actions.reread_in_unit(request.user, submission, request.POST.get("unit", ""))
    except PermissionDenied as error:
        raise Http404 from error
    except (NotAllowedNow, UploadRefused) as refused:
        return back_to_report(request, submission, refused)
    return redirect("submissions:submission-report", pk=submission.pk)


@require_POST
def submission_lay(request: SignedInRequest, pk: int) -> HttpResponse:
    """Lay the part on the face the report advises, or as it is drawn again."""
    submission = found(request, pk)
    try:
        actions.lay_for_printing(request.user, submission, turned=request.POST.get("as") != "drawn")
    except PermissionDenied as error:
        raise Http404 from error
    except (NotAllowedNow, UploadRefused) as refused:
        return back_to_report(request, submission, refused)
    return redirect("submissions:submission-report", pk=submission.pk)


@require_safe
def submission_layers(request: SignedInRequest, pk: int) -> HttpResponse:
    """One layer of the part, drawn and timed: a fragment for the slider, a page of its own without script."""
    submission = found(request, pk)
    if not submission.is_printable:
        raise Http404
    number = asked_layer(request)
    view = shown_layer(
        lambda: layer_of(submission, submission.kit_part, request.user.school_id, number, submission.assignment)
    )
    address = reverse("submissions:submission-layers", args=[submission.pk])
    template = "submissions/layer.html" if request.htmx else "submissions/layer_page.html"
    return render(request, template, {"submission": submission, "view": view, "address": address})
