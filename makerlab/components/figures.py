"""Figures with their units as text. A number and its unit never part, and what is not known says so."""

from __future__ import annotations

import math
from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

NO_BREAK = "\u00a0"


def number(value: Any) -> float | None:
    """The value as a finite float, or None when it is not known."""
    try:
        figure = float(value)
    except (TypeError, ValueError):
        return None
    return figure if math.isfinite(figure) else None


def with_unit(value: Any, unit: str, decimals: int) -> str:
    """``12.4 g`` in the reader's number format, or "not known"."""
    figure = number(value)
    if figure is None:
        return _("not known")
    return f"{number_format(round(figure, decimals), decimals)}{NO_BREAK}{unit}"


def mass_parts(mass_g: float) -> tuple[str, str]:
    """Digits and unit of a mass: tenths of a gram below 100 g, whole grams below 1 kg, then kilograms."""
    if abs(mass_g) >= 999.5:
        return number_format(round(mass_g / 1000, 2), 2), "kg"
    decimals = 1 if abs(mass_g) < 99.95 else 0
    return number_format(round(mass_g, decimals), decimals), "g"


def grams(mass_g: Any) -> str:
    """A mass in grams as text."""
    figure = number(mass_g)
    if figure is None:
        return _("not known")
    digits, unit = mass_parts(figure)
    return f"{digits}{NO_BREAK}{unit}"


def millimetres(length_mm: Any, decimals: int | None = None) -> str:
    """A length as text: hundredths below 10 mm, where fits are decided, else tenths."""
    figure = number(length_mm)
    if decimals is None:
        decimals = 2 if figure is not None and abs(figure) < 9.995 else 1
    return with_unit(length_mm, "mm", decimals)


def megabytes(size_mb: Any) -> str:
    """A size as text: tenths below 10 MB, whole megabytes above, thousands apart."""
    figure = number(size_mb)
    if figure is None:
        return _("not known")
    decimals = 1 if 0 < abs(figure) < 9.95 else 0
    return f"{number_format(round(figure, decimals), decimals, force_grouping=True)}{NO_BREAK}MB"


def duration_parts(duration_s: Any) -> list[tuple[str, str]]:
    """Digits and unit of a duration, rounded to whole minutes from one minute on; empty when not known."""
    seconds = number(duration_s)
    if seconds is None or seconds < 0:
        return []
    if seconds < 59.5:
        return [(str(round(seconds)), _("s"))]
    hours, minutes = divmod(round(seconds / 60), 60)
    if not hours:
        return [(str(minutes), _("min"))]
    return [(str(hours), _("h")), (f"{minutes:02d}", _("min"))] if minutes else [(str(hours), _("h"))]


def hours_and_minutes(duration_s: Any) -> str:
    """``2 h 08 min``, ``38 min`` or ``54 s``."""
    parts = duration_parts(duration_s)
    if not parts:
        return _("not known")
    return NO_BREAK.join(f"{digits}{NO_BREAK}{unit}" for digits, unit in parts)


def local(moment: datetime) -> datetime:
    """The moment in the school's time zone (set for each request by makerlab.middleware.school_time)."""
    return timezone.localtime(moment) if timezone.is_aware(moment) else moment


def clock(moment: datetime | None) -> str:
    """``15:10`` in school time."""
    return date_format(local(moment), "H:i") if moment else _("not known")


def long_day(day: date | None) -> str:
    """``Tuesday 17 November``, as the reader's language puts it; of a moment the day in school time."""
    if day is None:
        return _("not known")
    # Translators: a day in full, in the letters of Django's date filter (l weekday, j day, F month)
    form = pgettext("form of a date", "l j F")
    return date_format(local(day) if isinstance(day, datetime) else day, form)


def form_here(form: str) -> str:
    """A form of Django's date filter as the reader's language writes it: Django begins every short month with a
    capital, and some languages write it small (CLDR 46, es: "26 nov")."""
    # Translators: M writes a short month with a capital (Nov), b writes it small (nov)
    month = pgettext("form of a short month", "M")
    return form.replace("M", month)


def short_day(day: date) -> str:
    """``Tue 17 Nov``"""
    return date_format(day, form_here("D j M"))


def day_clock(moment: datetime | None) -> str:
    """``Tue 17 Nov, 15:10`` in school time."""
    if not moment:
        return _("not known")
    return date_format(local(moment), form_here(f"D{NO_BREAK}j{NO_BREAK}M, H:i"))
