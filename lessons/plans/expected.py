"""What a lesson's text says is to be expected of its experiment: the formula, what it rests on, figures, and errors.

Written under ``content["experiment"]["expected"]`` (docs/lesson-plan.md); for the teacher, never for students, who are
to find out. A lesson brought in from elsewhere may hold anything there: what cannot be read is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

ROWS_MOST, COLUMNS_MOST = 30, 12

# the figures of a row that lessons of the demo name; one that is not here is headed by its own key
HEADS = {
    "wheel": _("Wheel"),
    "hull": _("Hull"),
    "arm": _("Arm"),
    "drum": _("Drum"),
    "mass_g": _("Mass, g"),
    "spin_inertia_g_cm2": _("Spin inertia, g cm²"),
    "load_before_sinking_g": _("Load before sinking, g"),
    "spool_mm": _("Spool of the drum, mm"),
    "crank_force_n": _("Force at the crank, N"),
    "wind_m_s": _("Wind, m/s"),
    "best_pitch_deg": _("Best pitch, deg"),
}


@dataclass(frozen=True, slots=True)
class Expected:
    """``how`` with its source, what the figures are ``based_on``, a table, and ``notes`` with typical errors."""

    how: str
    based_on: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]


def expected_of(content: Mapping[str, Any]) -> Expected | None:
    """None where nothing is said."""
    experiment = content.get("experiment")
    told = experiment.get("expected") if isinstance(experiment, Mapping) else None
    if not isinstance(experiment, Mapping) or not isinstance(told, Mapping):
        return None
    columns, cells = _cells(told.get("rows"))
    notes = told.get("notes")
    found = Expected(
        how=_text(told.get("how")),
        based_on=_text(told.get("from")),
        head=tuple(_head(column, experiment) for column in columns),
        rows=tuple(tuple(row.get(column, "") for column in columns) for row in cells),
        notes=tuple(filter(None, map(_text, notes))) if isinstance(notes, list) else (),
    )
    return found if found.how or found.rows or found.notes else None


Column = tuple[str, str]  # the key of a row, and for figures by the changed value that value


def _cells(rows: Any) -> tuple[list[Column], list[dict[Column, str]]]:
    """All columns in order, and each row's figures by column."""
    columns: dict[Column, None] = {}
    cells = []
    for row in rows[:ROWS_MOST] if isinstance(rows, list) else ():
        if not isinstance(row, Mapping):
            continue
        found: dict[Column, str] = {}
        for key, value in row.items():
            by_value = value.items() if isinstance(value, Mapping) else [("", value)]
            found |= {(str(key), str(at)): _text(each) for at, each in by_value}
        cells.append(found)
        columns |= dict.fromkeys(found)
    return list(columns)[:COLUMNS_MOST], cells


def _head(column: Column, experiment: Mapping[str, Any]) -> str:
    """The figure's name, or what is measured at which value of what is changed."""
    key, at = column
    if not at:
        return str(HEADS.get(key, key.replace("_", " ")))
    measured, changed = (experiment.get(name) for name in ("measured", "changed"))
    if not isinstance(measured, Mapping) or not isinstance(changed, Mapping):
        return f"{key.replace('_', ' ')} {at}"
    words = {
        "what": _with_unit(_text(measured.get("name")), _text(measured.get("unit"))),
        "value": f"{at} {_text(changed.get('unit'))}".strip(),
    }
    head = gettext("%(what)s at %(value)s") % words
    return head[:1].upper() + head[1:]


def _with_unit(name: str, unit: str) -> str:
    return f"{name}, {unit}" if unit else name


def _text(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        return ""
    return value if isinstance(value, str) else f"{value:.6g}"
