"""Print settings in words: the values in force beside what lies beneath."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from lessons.settings_table import GROUPS, SETTINGS, SUPPORT_WORDS, Words
from lessons.trying import Answer
from makerlab.components import figures


def value_words(name: str, value: Any) -> str:
    """One value as text with its unit."""
    kind = SETTINGS[name].kind
    if value is None:
        return _("the printer's own")
    if kind == "mm":
        return figures.with_unit(value, "mm", 2)
    if kind == "percent":
        return figures.with_unit(100 * value, "%", 0)
    if kind == "speed":
        return figures.with_unit(value, "mm/s", 0)
    if name == "support":
        return str(SUPPORT_WORDS.get(value, value))
    return str(value)


@dataclass(frozen=True, slots=True)
class Line:
    """One setting as it is in force. ``changed``: it is not what lies beneath, which ``beneath`` says."""

    label: Words
    value: str
    beneath: str
    changed: bool


def lines(values: Mapping[str, Any], beneath: Mapping[str, Any] | None = None) -> list[tuple[Words, list[Line]]]:
    """Settings in force, group by group, beside what they would be without the changes."""
    beneath = values if beneath is None else beneath
    return [
        (
            group.title,
            [
                Line(
                    setting.label,
                    value_words(setting.name, values[setting.name]),
                    value_words(setting.name, beneath[setting.name]),
                    values[setting.name] != beneath[setting.name],
                )
                for setting in group.settings
            ],
        )
        for group in GROUPS
    ]


def in_short(values: Mapping[str, Any]) -> str:
    """The settings that matter most, in one line."""
    share = figures.with_unit(100 * values["infill_share"], "%", 0)
    parts = [
        _("layers %(height)s") % {"height": value_words("layer_height_mm", values["layer_height_mm"])},
        _("%(count)s walls") % {"count": values["walls"]},
        _("infill %(share)s") % {"share": share},
        _("support: %(support)s") % {"support": value_words("support", values["support"])},
    ]
    if values["raft_layers"]:
        parts.append(_("raft"))
    if values["brim_lines"]:
        parts.append(_("brim"))
    return ", ".join(parts)


def difference(before: Answer, after: Answer) -> str:
    """How grams and minutes change, in a sentence; empty when one of the two is not known."""
    if before.mass_g is None or after.mass_g is None or before.duration_s is None or after.duration_s is None:
        return ""
    changes = []
    grams = round(after.mass_g - before.mass_g, 1)
    minutes = round((after.duration_s - before.duration_s) / 60)
    if grams:
        changes.append(
            (_("%(much)s lighter") if grams < 0 else _("%(much)s heavier")) % {"much": figures.grams(abs(grams))}
        )
    if minutes:
        much = {"much": figures.hours_and_minutes(60 * abs(minutes))}
        changes.append((_("%(much)s quicker") if minutes < 0 else _("%(much)s longer")) % much)
    if not changes:
        return _("The same grams and minutes as now.")
    if len(changes) == 2:
        return _("Than now: %(mass)s and %(time)s.") % {"mass": changes[0], "time": changes[1]}
    return _("Than now: %(changes)s.") % {"changes": changes[0]}
