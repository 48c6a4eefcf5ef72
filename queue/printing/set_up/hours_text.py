"""Staffed hours as they are typed: one span a line, from, to, and how many people are there."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import time
from itertools import pairwise

from django.utils.translation import gettext as _

STAFF_MOST, SPANS_MOST = 20, 12
_CLOCK = r"(\d{1,2})[:.](\d{2})"
_LINE = re.compile(rf"{_CLOCK}\s*(?:-|–|to|,|;|\s)\s*{_CLOCK}(?:\s*[,;x×]?\s*(\d{{1,3}})(?:\s*\w+)?)?", re.IGNORECASE)


class HoursProblem(ValueError):
    """A line that cannot be read, in words that name it."""


@dataclass(frozen=True, slots=True)
class Span:
    """Somebody is in the room from a time of day until another one."""

    starts_at: time
    ends_at: time
    staff: int

    def __str__(self) -> str:
        return f"{self.starts_at:%H:%M} - {self.ends_at:%H:%M}, {self.staff}"


def read_hours(text: str) -> list[Span]:
    """Lines such as ``07:45 - 11:40, 1``, in order of time; without a number one person is there. Raises HoursProblem,
    which names the line that cannot be read, ends before it begins, or lies over another."""
    spans = [_read(number, line.strip()) for number, line in enumerate(text.splitlines(), start=1) if line.strip()]
    if len(spans) > SPANS_MOST:
        raise HoursProblem(_("A day has %(most)d spans at most.") % {"most": SPANS_MOST})
    spans.sort(key=lambda span: span.starts_at)
    for first, second in pairwise(spans):
        if second.starts_at < first.ends_at:
            told = _("%(second)s begins before %(first)s ends; write how many people there are in one line.")
            raise HoursProblem(told % {"first": first, "second": second})
    return spans


def write_hours(spans: Iterable[Span]) -> str:
    """The lines ``read_hours`` reads."""
    return "\n".join(str(span) for span in spans)


def _read(number: int, line: str) -> Span:
    match = _LINE.fullmatch(line)
    if match is None:
        told = _("Line %(number)d: write from, to and how many people are there: 07:45 - 11:40, 1.")
        raise HoursProblem(told % {"number": number})
    from_hour, from_minute, to_hour, to_minute = (int(figure) for figure in match.groups()[:4])
    staff = int(match[5]) if match[5] else 1
    if max(from_hour, to_hour) > 23 or max(from_minute, to_minute) > 59:
        raise HoursProblem(_("Line %(number)d: there is no such time of day.") % {"number": number})
    span = Span(time(from_hour, from_minute), time(to_hour, to_minute), staff)
    if span.ends_at <= span.starts_at:
        raise HoursProblem(_("Line %(number)d: it ends before it begins.") % {"number": number})
    if not 1 <= staff <= STAFF_MOST:
        told = _("Line %(number)d: from 1 to %(most)d people are there.")
        raise HoursProblem(told % {"number": number, "most": STAFF_MOST})
    return span
