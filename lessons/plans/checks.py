"""Checks what somebody wrote for a plan, from the editor or from a file: every fault with its place, nothing lost."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from lessons.lab.experiment import ExperimentError, read_experiment
from lessons.plans import schema
from lessons.plans.schema import AMOUNT, CHOICE, COUNT, LINE, PARTS, TEXT, Column, Part

Place = tuple[str, int, str]  # part, row, column; (field, -1, "") for a field of its own


@dataclass
class Checked:
    """What may be stored, sentences by place, and names of what was there and is not known."""

    fields: dict[str, Any] = field(default_factory=dict)
    content: dict[str, Any] = field(default_factory=dict)
    errors: dict[Place, str] = field(default_factory=dict)
    ignored: list[str] = field(default_factory=list)


def check_plan(fields: Mapping[str, Any], content: Mapping[str, Any]) -> Checked:
    """Read both. Values are text as typed or plain JSON values; empty rows are left out."""
    checked = Checked()
    _fields(fields, checked)
    for name, value in content.items():
        if name in PARTS:
            _part(PARTS[name], value, checked)
        elif name == schema.MEETING_MINUTES:
            _minutes(value, checked)
        elif name == schema.EXPERIMENT:
            _experiment(value, checked)
        else:
            checked.ignored.append(str(name)[:60])
    last = checked.fields.get("meetings_count")
    if last:
        for place, row in enumerate(checked.content.get("steps", [])):
            meeting = row["meeting"]  # what was typed, where it is no number yet
            if isinstance(meeting, int) and meeting > last and ("steps", place, "meeting") not in checked.errors:
                checked.errors["steps", place, "meeting"] = _("The lesson has %(count)d meetings.") % {"count": last}
    return checked


def told(checked: Checked) -> list[str]:
    """What is wrong, a sentence each, with where it stands."""
    sentences = []
    for (part, row, column), why in checked.errors.items():
        label = str(schema.FIELD_WORDS.get(part, part))
        if row < 0:
            sentences.append(f"{label}: {why}")
            continue
        columns = {each.name: each.label for each in PARTS[part].columns}
        words = {"part": label, "row": row + 1, "column": columns.get(column, column), "why": why}
        sentences.append(_("%(part)s, row %(row)d, %(column)s: %(why)s") % words)
    return sentences


def _fields(fields: Mapping[str, Any], checked: Checked) -> None:
    kinds = {
        "title": Column("title", "", high=120),
        "summary": Column("summary", "", TEXT),
        "grade_band": Column("grade_band", "", high=24),
        "meetings_count": Column("meetings_count", "", COUNT, low=1, high=schema.MEETINGS_MOST),
        "group_size": Column("group_size", "", COUNT, low=1, high=schema.GROUP_MOST),
    }
    for name, value in fields.items():
        if name not in kinds:
            checked.ignored.append(str(name)[:60])
            continue
        read, problem = read_cell(kinds[name], value)
        if not problem and isinstance(read, str) and name != "summary" and len(read) > kinds[name].high:
            problem = _too_long(len(read), kinds[name].high)
        checked.fields[name] = read
        if problem:
            checked.errors[name, -1, ""] = problem


def _minutes(value: Any, checked: Checked) -> None:
    if value in (None, ""):
        return
    column = Column("", "", COUNT, low=10, high=schema.MINUTES_MOST)
    read, problem = read_cell(column, value)
    checked.content[schema.MEETING_MINUTES] = read
    if problem:
        checked.errors[schema.MEETING_MINUTES, -1, ""] = problem


def _experiment(value: Any, checked: Checked) -> None:
    if not value:
        return
    place = (schema.EXPERIMENT, -1, "")
    try:
        too_large = len(json.dumps(value, allow_nan=False)) > schema.EXPERIMENT_BYTES_MOST
    except (ValueError, TypeError, RecursionError):
        too_large = True
    if too_large:
        checked.errors[place] = _("The experiment holds more than a lesson can have.")
        return
    try:
        read_experiment({schema.EXPERIMENT: value})
    except (ExperimentError, ValueError, TypeError, AttributeError, OverflowError) as error:
        checked.errors[place] = str(error)[:600]
        return
    checked.content[schema.EXPERIMENT] = value


def _part(part: Part, value: Any, checked: Checked) -> None:
    if not isinstance(value, list):
        checked.errors[part.name, -1, ""] = _("This must be a list of rows.")
        return
    if len(value) > schema.ROWS_MOST:
        checked.errors[part.name, -1, ""] = _("At most %(most)d rows.") % {"most": schema.ROWS_MOST}
        return
    rows: list[Any] = []
    for raw in value:
        if not (isinstance(raw, str) if part.plain else isinstance(raw, dict)):
            checked.errors[part.name, len(rows), part.columns[0].name] = _("This row is not written as it should be.")
            rows.append(None)
            continue
        cells = schema.flat(part, raw)
        if not is_empty(part, cells):
            rows.append(_row(part, len(rows), cells, checked))
            _unknown(part, raw, checked)
    checked.content[part.name] = [row for row in rows if row is not None]


def is_empty(part: Part, cells: Mapping[str, Any]) -> bool:
    """Whether nobody wrote anything in the row: numbers and choices a new row begins with do not count."""
    texts = [column for column in part.columns if column.kind in (LINE, TEXT)]
    return all(not _text(cells.get(column.name)) for column in texts)


def _row(part: Part, place: int, cells: Mapping[str, Any], checked: Checked) -> Any:
    values = {}
    for column in part.columns:
        values[column.name], problem = read_cell(column, cells.get(column.name))
        if problem:
            checked.errors[part.name, place, column.name] = problem
    return schema.stored(part, values)


def _unknown(part: Part, raw: Any, checked: Checked) -> None:
    if isinstance(raw, dict):
        known = {"row", "levels"} if part.name == "rubric" else {column.name for column in part.columns}
        told = {f"{part.name}: {str(name)[:60]}" for name in raw if name not in known}
        checked.ignored += sorted(told - set(checked.ignored))


def read_cell(column: Column, value: Any) -> tuple[Any, str]:
    """A value as it is stored, and what is wrong with it or nothing."""
    if column.kind in (COUNT, AMOUNT):
        return _number(column, value)
    if value is not None and not isinstance(value, str):
        return "", _("This must be text.")
    text = _text(value)
    if column.kind == CHOICE:
        known = text in {key for key, _label in column.choices}
        return text, "" if known else _("Choose one from the list.")
    if not text:
        return "", _("Please fill this in.") if column.required else ""
    if len(text) > column.length:
        return text, _too_long(len(text), column.length)
    return text, ""


def _too_long(length: int, most: int) -> str:
    return _("%(length)d letters are too many here; at most %(most)d.") % {"length": length, "most": most}


def _text(value: Any) -> str:
    """Text without the signs no page can show; line ends as they should be."""
    if value is None:
        return ""
    text = str(value).replace("\r\n", "\n").replace("\r", "\n")
    kept = "".join(sign for sign in text if sign == "\n" or sign.isprintable() or sign in "\t\u200d\u00a0\u202f")
    return kept.strip()


def _number(column: Column, value: Any) -> tuple[Any, str]:
    whole = column.kind == COUNT
    low = column.low if whole else 0
    if not column.required and (value is None or (isinstance(value, str) and not value.strip())):
        return "", ""
    told = (
        _("Write a whole number from %(low)d to %(high)d.") % {"low": low, "high": column.high}
        if whole
        else _("Write a number above 0, at most %(high)d.") % {"high": column.high}
    )
    if isinstance(value, str):
        try:
            number = float(value.strip().replace(",", "."))
        except ValueError:
            return value, told
    elif isinstance(value, int | float) and not isinstance(value, bool):
        number = float(value) if abs(value) < 1e15 else math.inf
    else:
        return value if value is not None else "", told
    wrong = not math.isfinite(number) or number > column.high or (number < low if whole else number <= 0)
    if wrong or (whole and number != int(number)):
        return value, told
    return (int(number) if number == int(number) else number), ""
