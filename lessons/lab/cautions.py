"""The cautions of a lab: those of the lab day, of the bench where parts are fitted, and those that always hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from lessons.models import Assignment
from lessons.plans.cautions import ALWAYS, LAB_DAY, TOOLS, all_cautions


@dataclass(frozen=True)
class CautionGroup:
    """Cautions of one kind: ``text`` and ``source`` each."""

    title: str
    rows: Sequence[Mapping[str, Any]]


def lab_cautions(assignment: Assignment) -> list[CautionGroup]:
    """What to read before the first run, group by group. Standard ones stand here also where a plan lacks them."""
    rows = all_cautions(assignment.plan.content, has_kit=True)
    titles = ((LAB_DAY, _("On lab day")), (TOOLS, _("At the bench")), (ALWAYS, _("Always")))
    groups = [CautionGroup(title, [row for row in rows if row.get("when") == when]) for when, title in titles]
    return [group for group in groups if group.rows]
