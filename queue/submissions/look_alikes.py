"""The same design handed in twice, or the kit's own part unchanged: told to the teacher, who knows what it means."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from makerlab.accounts.models import User
from meshcheck.similarity import SAME_SHARE, is_same_design, signature_from_json
from meshcheck.types import Signature
from submissions.models import Submission

SHOWN_MOST = 5


@dataclass(frozen=True)
class LookAlikes:
    """What one part is the same design as. ``others`` are of other teams, newest first."""

    kit_unchanged: bool
    others: tuple[Submission, ...]


def look_alikes(submission: Submission, user: User) -> LookAlikes:
    """Compare by what turning, moving and other triangles do not change. Only what the person may see anyway is told;
    drafts are the team's own and are not compared."""
    mine = signature_of((submission.report or {}).get("signature"))
    if mine is None:
        return LookAlikes(False, ())
    kits_own = signature_of((submission.kit_part.report or {}).get("signature"))
    others = (
        Submission.objects.visible_to(user)
        .filter(_may_agree(mine), kit_part=submission.kit_part_id)
        .exclude(team_id=submission.team_id)
        .exclude(state="draft")
        .order_by("-id")
    )
    same = [
        pk
        for pk, values in others.values_list("pk", "report__signature")
        if (theirs := signature_of(values)) is not None and is_same_design(mine, theirs)
    ]
    found = others.light().filter(pk__in=same).select_related("team__school_class", "kit_part")[:SHOWN_MOST]
    return LookAlikes(kits_own is not None and is_same_design(mine, kits_own), tuple(found))


def _may_agree(mine: Signature) -> Q:
    """Parts of about the same volume, and those whose volume stands only in their report: a report is long, and a
    school may have thousands of this part."""
    apart = 2 * SAME_SHARE * abs(mine.volume_mm3)
    near = (mine.volume_mm3 - apart, mine.volume_mm3 + apart)
    return Q(design_volume_mm3__range=near) | Q(design_volume_mm3=None)


def signature_of(values: Any) -> Signature | None:
    """The signature a report holds, or None where it could not be worked out."""
    if not isinstance(values, dict):
        return None
    try:
        return signature_from_json(values)
    except (KeyError, ValueError, TypeError):
        return None
