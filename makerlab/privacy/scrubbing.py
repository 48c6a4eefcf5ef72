"""Takes a name out of what other people wrote, where the writing itself stays."""

from __future__ import annotations

import json
import re
from typing import Any

from django.db import models
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from lessons.models import Argument, Coasting, LabBoard, Mark, Reading, SchoolClass, Team
from makerlab.accounts.models import School
from makerlab.api.models import KeptAnswer
from makerlab.audit.models import Event
from printing.models import PrintRequest, Run
from submissions.models import Review, Submission


def free_texts(school_class: SchoolClass) -> list[tuple[QuerySet[Any], tuple[str, ...]]]:
    """Where people of a class and of its room type freely, and in which fields."""
    in_class = {"assignment__school_class": school_class}
    return [
        (Team.objects.filter(school_class=school_class), ("name",)),
        (Submission.objects.filter(**in_class), ("file_name", "hand_in_note", "report", "check_error")),
        (Review.objects.filter(submission__assignment__school_class=school_class), ("note",)),
        (Reading.objects.filter(**in_class), ("design", "note")),
        (Coasting.objects.filter(**in_class), ("design",)),
        (Argument.objects.filter(**in_class), ("claim", "evidence", "reasoning")),
        (Mark.objects.filter(**in_class), ("comment",)),
        (PrintRequest.objects.filter(**in_class), ("urgent_because",)),
        (LabBoard.objects.filter(**in_class), ("notes", "pins")),
        (Run.objects.filter(plate__copies__request__assignment__school_class=school_class).distinct(), ("note",)),
    ]


def take_out(nickname: str, school_class: SchoolClass) -> int:
    """Put "a student" where the nickname stands as a word of its own. Returns how many rows changed."""
    changed = 0
    word = re.compile(rf"(?<!\w){re.escape(nickname)}(?:'s)?(?!\w)", re.IGNORECASE)
    for rows, fields in free_texts(school_class):
        for row in rows:
            fresh = {name: _without(getattr(row, name), word) for name in fields}
            fresh = {name: value for name, value in fresh.items() if value != getattr(row, name)}
            if fresh:
                type(row)._default_manager.filter(pk=row.pk).update(**fresh)
                changed += 1
    return changed


def _without(value: Any, word: re.Pattern[str]) -> Any:
    if isinstance(value, str):
        return word.sub(_("a student"), value)
    if isinstance(value, list):
        return [_without(entry, word) for entry in value]
    if isinstance(value, dict):
        return {key: _without(entry, word) for key, entry in value.items()}
    return value


def forget_in_records(school: School, gone: list[models.Model], names: list[str]) -> None:
    """The audit trail keeps that something was done and by whom of the staff; what it says about what is gone goes.
    Answers kept for programs, which hold names of files, go whole."""
    KeptAnswer.objects.filter(token__owner__school=school).delete()
    keys: dict[str, list[str]] = {}
    for row in gone:
        keys.setdefault(row._meta.model_name or "", []).append(str(row.pk))
    for kind, ids in keys.items():
        Event.objects.filter(school=school, subject_kind=kind, subject_id__in=ids).update(facts={})
    told = [name.casefold() for name in names if name]
    for event in Event.objects.filter(school=school).exclude(facts={}).only("facts").iterator():
        text = json.dumps(event.facts, ensure_ascii=False).casefold()
        if any(name in text for name in told):
            Event.objects.filter(pk=event.pk).update(facts={})
