"""Numbers as people type them: with a point or a comma, with their unit behind, seconds as a stopwatch shows them."""

from __future__ import annotations

import math
import re
from typing import Any

from django.utils.translation import gettext as _

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")
_STOPWATCH = re.compile(r"(\d{1,2}:)?(\d{1,2}):(\d{1,2}\.\d+)")  # h:mm:ss.s or mm:ss.s
_CLOCK = re.compile(r"\d{1,2}([:.]\d{2}){0,2}\s*[ap]\.?\s?m\.?", re.IGNORECASE)
_COLON = re.compile(r"\d{1,2}(:\d{1,2}){1,2}")
MOST = 1e9


class NotANumber(ValueError):
    """What was typed is no number of this unit; the message says how to write it."""


def number_typed(raw: Any, unit: str = "") -> float | None:
    """The number meant, in ``unit``; None for an empty field. Raises NotANumber.

    A colon is read only where it can mean one thing: 0:02.68 is 2.68 s, but 2:45 may be 2 min 45 s or 2.45 s.
    """
    if raw is None or (isinstance(raw, str) and not raw.strip()):
        return None
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        raise NotANumber(_("Write a number."))
    value = _of_text(raw, unit) if isinstance(raw, str) else float(raw)
    if not math.isfinite(value):
        raise NotANumber(_("Write a number."))
    if abs(value) > MOST:
        raise NotANumber(_("This number is too large."))
    return value


def _of_text(raw: str, unit: str) -> float:
    text = " ".join(raw.replace("\u00a0", " ").replace("\u202f", " ").split()).replace("\u2212", "-")
    if _CLOCK.fullmatch(text):
        raise NotANumber(_("This is a time of day. Write how long the run took, in seconds, such as 2.68."))
    if unit and text.endswith(unit):
        text = text[: -len(unit)]
    plain = text.replace(" ", "").replace(",", ".")
    if _PLAIN.fullmatch(plain):
        return float(plain)
    if unit == "s" and (shown := _STOPWATCH.fullmatch(plain)):
        hours = int(shown[1][:-1]) if shown[1] else 0
        return hours * 3600 + int(shown[2]) * 60 + float(shown[3])
    if unit == "s" and _COLON.fullmatch(plain):
        raise NotANumber(_("Minutes and seconds, or seconds and hundredths? Write seconds, such as 2.68 or 0:02.68."))
    if unit:
        told = _("“%(text)s” is not a number in %(unit)s. Write it like 2.68.")
        raise NotANumber(told % {"text": raw.strip()[:20], "unit": unit})
    raise NotANumber(_("“%(text)s” is not a number. Write it like 2.68.") % {"text": raw.strip()[:20]})
