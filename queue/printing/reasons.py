"""Why something is not in the plan, kept with its template and put into words for whoever reads it.

The planner's reasons are made by ``telling.told``. Among a plan's facts they stand as ``telling.as_data`` has them; in
a text field of a row as the same in JSON. Plain texts, from before that was kept, are read as they are.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from lessons.told import in_words
from makerlab.components.figures import hours_and_minutes
from telling import Told, as_data

FULL_PERCENT = 100


def kept_text(reason: str) -> str:
    """A reason for a text field."""
    return json.dumps(as_data(reason), ensure_ascii=False) if isinstance(reason, Told) else reason


def words(kept: Any) -> str:
    """What was kept, of a text field or among facts, in the reader's language."""
    if isinstance(kept, str) and kept.startswith('["'):
        try:
            kept = json.loads(kept)
        except ValueError:
            return str(kept)
    return in_words(kept)


def said(reason: str) -> str:
    """A reason just given, in the reader's language."""
    return in_words(as_data(reason))


def overload_words(load: Mapping[str, Any] | str) -> str:
    """That staff or printers have more to do by a day than they can."""
    if isinstance(load, str):
        return load
    day = date_format(date.fromisoformat(load["until"]), "l j F")
    loads = {"day": day, "staff": load["staff_percent"], "printers": load["printer_percent"]}
    told = _("Until %(day)s: technician load %(staff)d %%, printer load %(printers)d %%.") % loads
    if load["staff_percent"] > FULL_PERCENT:
        time = hours_and_minutes(load["too_many_min"] * 60)
        return f"{told} " + _("That is about %(time)s of starts and clears too many.") % {"time": time}
    return f"{told} " + _("The printers cannot make all that is due by then.")
