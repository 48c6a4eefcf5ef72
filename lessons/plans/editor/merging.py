"""Two people at one plan: what the first saved and what the second typed, put together field by field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lessons.actions.plans import OWN, snapshot
from lessons.models import LessonPlan
from lessons.plans.editor.form import PlanForm
from lessons.plans.schema import FIELD_WORDS, MEETING_MINUTES, PARTS


@dataclass(frozen=True, slots=True)
class Merged:
    """The form to go on with, what the other changed that you did not, and what both changed: there yours stands."""

    form: PlanForm
    theirs: list[str]
    both: list[str]


def merge(plan: LessonPlan, mine: PlanForm) -> Merged:
    """``plan`` as it stands now, ``mine`` as typed over an older version of it. Nothing typed is lost: only fields that
    were left as they were get the newer text. Where the older version is not known, all that is typed stands."""
    old = plan.versions.filter(number=mine.version).first()
    base = _form(old.fields) if old else None
    now = _form(snapshot(plan))
    theirs, both = [], []
    merged = PlanForm(plan.version, dict(mine.typed), {name: list(rows) for name, rows in mine.rows.items()})
    merged.opened = set(mine.opened)
    for name in (*OWN, MEETING_MINUTES, *PARTS):
        typed, stands, was = _value(mine, name), _value(now, name), _value(base, name) if base else None
        if typed == stands or stands == was:
            continue
        if base is not None and typed == was:
            theirs.append(str(FIELD_WORDS[name]))
            _put(merged, name, stands)
        else:
            both.append(str(FIELD_WORDS[name]))
    return Merged(merged, theirs, both)


def _form(fields: Mapping[str, Any]) -> PlanForm:
    return PlanForm.of_values(0, fields, fields.get("content") or {})


def _value(form: PlanForm, name: str) -> Any:
    return form.rows[name] if name in PARTS else form.typed[name].strip()


def _put(form: PlanForm, name: str, value: Any) -> None:
    if name in PARTS:
        form.rows[name] = value
    else:
        form.typed[name] = value
