"""What the measuring engine says, in the reader's language.

The engine writes English and keeps beside each text how it was made (``telling``). Here the templates are looked
up in the catalogue ``queue/meshcheck/locale`` and filled with figures as the language writes them. A report from before
that was kept, and a template without a translation, stay English.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.formats import get_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from makerlab.components.figures import day_clock
from telling import MOMENT

ENGLISH = "en"


def written(english: str) -> str:
    """A number with the language's decimal and thousands separators in place of the English ones."""
    signs = {".": str(get_format("DECIMAL_SEPARATOR")), ",": str(get_format("THOUSAND_SEPARATOR"))}
    return "".join(signs.get(letter, letter) for letter in english)


class Measure(float):
    def __format__(self, spec: str) -> str:
        return written(super().__format__(spec))


class Amount(int):
    def __format__(self, spec: str) -> str:
        return written(super().__format__(spec))


class Moment(str):
    """A date and time as pages write it, whatever the template asks for."""

    def __format__(self, spec: str) -> str:
        return str(self)


def in_words(said: Any) -> str:
    """A text as ``telling.as_data`` keeps it: a plain string, or [template, {name: value}]."""
    if isinstance(said, str):
        return said
    template, values = said
    filled = {name: _filling(value) for name, value in values.items()}
    return _(template).format(**filled) if template else ""


def _filling(value: Any) -> Any:
    if isinstance(value, list | str):
        return in_words(value)
    if isinstance(value, dict):
        return Moment(day_clock(parse_datetime(value[MOMENT])))
    if isinstance(value, bool) or value is None:
        return value
    return Amount(value) if isinstance(value, int) else Measure(value)


def reworded(kept: Mapping[str, Any]) -> dict[str, Any]:
    """Values kept by the engine whose texts stand once more under ``said``, with these in the reader's language."""
    if (get_language() or ENGLISH).startswith(ENGLISH) or "said" not in kept:
        return dict(kept)
    return {**kept, **{name: in_words(said) for name, said in kept["said"].items()}}


def reason_of(report: Mapping[str, Any]) -> str:
    """The verdict in one sentence."""
    kept: dict[str, Any] = {"reason": str(report.get("reason") or "")}
    if "reason_said" in report:
        kept["said"] = {"reason": report["reason_said"]}
    return str(reworded(kept)["reason"])
