"""Text that remembers how it was made, so that it can be said again in another language.

``told("{count} holes", count=4)`` is the English text "4 holes" and, beside it, the template and what fills it. Values
may be such texts themselves. ``as_data`` gives the plain lists and dicts that are kept with a report; whoever shows the
report looks the templates up in a catalogue. The engines that measure and plan speak English and know no catalogue.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from numbers import Integral
from string import Formatter
from typing import Any

Data = str | list[Any]
MOMENT = "at"  # a date and time among the values is kept as {"at": ISO 8601}


class Told(str):
    """A text with its template and the values in it."""

    template: str
    values: dict[str, Any]

    def __new__(cls, template: str, values: dict[str, Any]) -> Told:
        made = super().__new__(cls, template.format(**values))
        made.template, made.values = template, values
        return made

    def __reduce__(self) -> tuple[Any, ...]:  # copies and pickles keep the template
        return Told, (self.template, self.values)


def told(template: str, **values: Any) -> Told:
    """The template filled in. Values it does not name are left out. KeyError when one is missing."""
    named = {name for _text, name, _spec, _conversion in Formatter().parse(template) if name}
    return Told(template, {name: _plain(values[name]) for name in sorted(named)})


def chained(parts: Sequence[str], template: str = "{first}, {rest}") -> str:
    """Parts one after the other by a template of two, from the right; one part alone as it is."""
    *others, made = parts
    for part in reversed(others):
        made = told(template, first=part, rest=made)
    return made


def as_data(text: str) -> Data:
    """A text as [template, {name: value}]; one that was not made by ``told`` as it is."""
    if not isinstance(text, Told):
        return str(text)
    return [text.template, {name: _value_as_data(value) for name, value in text.values.items()}]


def _value_as_data(value: Any) -> Any:
    if isinstance(value, datetime):
        return {MOMENT: value.isoformat()}
    return as_data(value) if isinstance(value, str) else value


def from_data(data: Data) -> str:
    """What ``as_data`` was made from."""
    if isinstance(data, str):
        return data
    template, values = data
    return Told(template, {name: _value_from_data(value) for name, value in values.items()})


def _value_from_data(value: Any) -> Any:
    if isinstance(value, dict):
        return datetime.fromisoformat(value[MOMENT])
    return from_data(value) if isinstance(value, list) else value


def _plain(value: Any) -> Any:
    """Numbers as the standard library's, which a report can be written with."""
    if isinstance(value, bool | str | datetime) or value is None:
        return value
    return int(value) if isinstance(value, Integral) else float(value)
