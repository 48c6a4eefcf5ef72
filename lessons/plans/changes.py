"""What changed between two versions of a plan, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

from django.utils.translation import gettext as _

from lessons.actions.plans import OWN
from lessons.plans import schema
from lessons.plans.schema import EXPERIMENT, FIELD_WORDS, MEETING_MINUTES, PARTS, Part

SHORT = 160


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that changed. ``kind``: changed, added, taken out or moved; before and after in short, empty where
    there was or is nothing."""

    part: str
    kind: str
    before: str = ""
    after: str = ""


def changes_between(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Change]:
    """From ``old`` to ``new``, both as lessons.actions.plans.snapshot gives them; in the order of the page."""
    found = [
        Change(str(FIELD_WORDS[name]), _("changed"), _short(old.get(name)), _short(new.get(name)))
        for name in OWN
        if old.get(name) != new.get(name)
    ]
    before, after = old.get("content") or {}, new.get("content") or {}
    if before.get(MEETING_MINUTES) != after.get(MEETING_MINUTES):
        word = str(FIELD_WORDS[MEETING_MINUTES])
        found.append(
            Change(word, _("changed"), _short(before.get(MEETING_MINUTES)), _short(after.get(MEETING_MINUTES)))
        )
    for part in PARTS.values():
        found += _part(part, before.get(part.name) or [], after.get(part.name) or [])
    if before.get(EXPERIMENT) != after.get(EXPERIMENT):
        found += _experiment(before.get(EXPERIMENT) or {}, after.get(EXPERIMENT) or {})
    return found


def _part(part: Part, old: list[Any], new: list[Any]) -> list[Change]:
    label = str(part.label)
    before, after = [_words(part, row) for row in old], [_words(part, row) for row in new]
    if before == after:
        return []
    if sorted(before) == sorted(after):
        return [Change(label, _("put in another order"))]
    found = []
    matcher = SequenceMatcher(None, before, after, autojunk=False)
    for tag, i1, i2, j1, j2 in matcher.get_opcodes():
        if tag == "equal":
            continue
        pairs = min(i2 - i1, j2 - j1)
        found += [Change(label, _("changed"), _short(before[i1 + k]), _short(after[j1 + k])) for k in range(pairs)]
        found += [Change(label, _("taken out"), before=_short(text)) for text in before[i1 + pairs : i2]]
        found += [Change(label, _("added"), after=_short(text)) for text in after[j1 + pairs : j2]]
    return found


def _words(part: Part, row: Any) -> str:
    """A row as one line; choices by their words."""
    cells = schema.flat(part, row)
    said = []
    for column in part.columns:
        value = cells.get(column.name, "")
        value = dict(column.choices).get(str(value), value) if column.choices and value else value
        if value not in ("", None):
            said.append(f"{column.label} {value}" if column.kind == schema.COUNT else str(value))
    return ", ".join(said)


def _experiment(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Change]:
    label = str(FIELD_WORDS[EXPERIMENT])
    if not old or not new:
        return [Change(label, _("added") if new else _("taken out"))]
    names = sorted(str(key) for key in {*old, *new} if old.get(key) != new.get(key))
    return [Change(label, _("changed"), after=", ".join(name.replace("_", " ") for name in names))]


def _short(value: Any) -> str:
    text = "" if value is None else str(value)
    return text if len(text) <= SHORT else f"{text[: SHORT - 1].rstrip()}…"
