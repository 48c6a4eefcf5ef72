"""The school's year: terms, kinds of day with their periods, and dates that are not as their weekday says."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from itertools import pairwise

from django.db import transaction
from django.utils.translation import gettext as _

from lessons import permissions, signals
from lessons.actions.refusals import NotPossible
from lessons.models import DayKind, Period, SchoolDay, Term
from lessons.rosters import names
from makerlab.accounts.models import School, User
from makerlab.audit.models import record

SPECIAL_DAYS_MAX = 120  # of one span: a long summer
PERIODS_MAX = 30
TERM_DAYS_MAX = 400
_TIME = r"(\d{1,2})[:.](\d{2})\s*([ap]\.?m\.?)?"
_LINE = re.compile(rf"(?P<name>.*?)[\s,;|\t]+{_TIME}\s*(?:-|–|to|,|;|\t|\s)\s*{_TIME}\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class PeriodLine:
    """One period as it was typed."""

    name: str
    starts_at: time
    ends_at: time


def read_periods(text: str) -> list[PeriodLine]:
    """Lines such as ``Period 1, 08:05, 08:55`` or ``Period 6  1:15 pm - 2:05 pm``. Raises NotPossible, which names the
    line that cannot be read, ends before it begins, or lies over another."""
    found: list[PeriodLine] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip():
            found.append(_read_line(number, line.strip()))
    if len(found) > PERIODS_MAX:
        raise NotPossible(_("A day has %(count)d periods at most.") % {"count": PERIODS_MAX}, "periods")
    ordered = sorted(found, key=lambda period: period.starts_at)
    for first, second in pairwise(ordered):
        if second.starts_at < first.ends_at:
            told = _("%(second)s begins before %(first)s ends.")
            raise NotPossible(told % {"first": first.name, "second": second.name}, "periods")
    spelled = [names.key(period.name) for period in found]
    twice = next((period.name for period in found if spelled.count(names.key(period.name)) > 1), None)
    if twice:
        raise NotPossible(_("%(name)s is there twice.") % {"name": twice}, "periods")
    return ordered


def _read_line(number: int, line: str) -> PeriodLine:
    match = _LINE.fullmatch(line)
    name = names.clean(match["name"]).strip(" ,;|") if match else ""
    if match is None or not name or len(name) > 24:
        told = _("Line %(number)d: write a name of up to 24 letters, start and end: Period 1, 08:05, 08:55.")
        raise NotPossible(told % {"number": number}, "periods")
    _name, *parts = match.groups()
    start, end = _clock(*parts[:3]), _clock(*parts[3:])
    if start is None or end is None:
        raise NotPossible(_("Line %(number)d: there is no such time of day.") % {"number": number}, "periods")
    if end <= start:
        raise NotPossible(_("Line %(number)d: it ends before it begins.") % {"number": number}, "periods")
    return PeriodLine(name, start, end)


def _clock(hour: str, minute: str, half: str | None) -> time | None:
    hours, minutes = int(hour), int(minute)
    if half:
        if not 1 <= hours <= 12:
            return None
        hours = hours % 12 + (12 if half[0] in "pP" else 0)
    return time(hours, minutes) if hours < 24 and minutes < 60 else None


@transaction.atomic
def set_day_kind(
    user: User, kind: DayKind | None, name: str, weekdays: Collection[int], periods: Sequence[PeriodLine]
) -> DayKind:
    """Make or change a kind of day. Its weekdays are taken from the kind that had them. Meetings keep their times.
    Raises NotPossible."""
    school = _locked_school(user)
    name = names.clean(name)
    if not name or len(name) > 40:
        raise NotPossible(_("A kind of day has a name of 1 to 40 letters."), "name")
    others = [each for each in school.day_kinds.all() if kind is None or each.pk != kind.pk]
    if names.key(name) in {names.key(each.name) for each in others}:
        raise NotPossible(_("There is a kind of day with this name already."), "name")
    for other in others:
        kept = [day for day in other.weekdays if day not in weekdays]
        if kept != other.weekdays:
            DayKind.objects.filter(pk=other.pk).update(weekdays=kept)
    saved = kind or DayKind(school=school)
    saved.name, saved.weekdays = name, sorted(weekdays)
    saved.save()
    saved.periods.all().delete()
    Period.objects.bulk_create(
        Period(day_kind=saved, name=line.name, starts_at=line.starts_at, ends_at=line.ends_at) for line in periods
    )
    record(school.pk, user, "set_day_kind", saved, name=name, weekdays=saved.weekdays, periods=len(periods))
    signals.days_changed.send(sender=School, school=school, user=user)
    return saved


@transaction.atomic
def remove_day_kind(user: User, kind: DayKind) -> None:
    """Only a kind nothing rests on: no weekday, no special day, no hours of a room. Raises NotPossible."""
    school = _locked_school(user)
    used = bool(kind.weekdays) or any(kind.pk in term.rotation for term in school.terms.all())
    for relation in DayKind._meta.related_objects:
        if relation.related_model is not Period:
            used = used or relation.related_model._default_manager.filter(**{relation.field.name: kind}).exists()
    if used:
        told = _("%(kind)s is still used: by weekdays, special days, the rotation of a term or the hours of a room.")
        raise NotPossible(told % {"kind": kind})
    record(school.pk, user, "remove_day_kind", kind, name=kind.name)
    kind.delete()


@transaction.atomic
def set_special_days(user: User, first: date, last: date, kind: DayKind | None, name: str) -> int:
    """These dates are of this kind, or without school (None). What was said about them before is replaced. Returns how
    many dates. Raises NotPossible."""
    school = _locked_school(user)
    count = (last - first).days + 1
    if not 1 <= count <= SPECIAL_DAYS_MAX:
        told = _("Choose 1 to %(count)d days, the last not before the first.")
        raise NotPossible(told % {"count": SPECIAL_DAYS_MAX}, "last")
    if kind is not None and kind.school_id != school.pk:
        raise NotPossible(_("That kind of day is of another school."), "kind")
    dates = [first + timedelta(days=offset) for offset in range(count)]
    SchoolDay.objects.filter(school=school, date__in=dates).delete()
    SchoolDay.objects.bulk_create(SchoolDay(school=school, date=day, day_kind=kind, name=name) for day in dates)
    record(school.pk, user, "set_special_days", school, first=first.isoformat(), last=last.isoformat())
    signals.days_changed.send(sender=School, school=school, user=user)
    return count


@transaction.atomic
def remove_special_day(user: User, day: SchoolDay) -> None:
    """The date is as its weekday says again."""
    school = _locked_school(user)
    record(school.pk, user, "remove_special_day", day, date=day.date.isoformat())
    day.delete()
    signals.days_changed.send(sender=School, school=school, user=user)


@transaction.atomic
def set_term(
    user: User, term: Term | None, name: str, first: date, last: date, rotation: Sequence[int], turning: Collection[int]
) -> Term:
    """Make or change a term. ``rotation``: keys of the kinds of day that take turns on the weekdays ``turning``, empty
    for none. Meetings keep their times. Raises NotPossible."""
    school = _locked_school(user)
    name = names.clean(name)
    if not name or len(name) > 40:
        raise NotPossible(_("A term has a name of 1 to 40 letters."), "name")
    if not 0 <= (last - first).days <= TERM_DAYS_MAX:
        told = _("A term lasts %(count)d days at most, and its last day is not before its first.")
        raise NotPossible(told % {"count": TERM_DAYS_MAX}, "last")
    others = [each for each in school.terms.all() if term is None or each.pk != term.pk]
    if names.key(name) in {names.key(each.name) for each in others}:
        raise NotPossible(_("There is a term with this name already."), "name")
    over = next((each for each in others if each.first <= last and first <= each.last), None)
    if over is not None:
        raise NotPossible(_("These days lie in %(term)s already.") % {"term": over}, "first")
    if set(rotation) - set(school.day_kinds.values_list("pk", flat=True)):
        raise NotPossible(_("A kind of day in the rotation is not there any more."))
    saved = term or Term(school=school)
    saved.name, saved.first, saved.last = name, first, last
    saved.rotation, saved.turning = list(rotation), sorted(turning) if rotation else []
    saved.save()
    record(school.pk, user, "set_term", saved, name=name, first=first.isoformat(), last=last.isoformat())
    signals.days_changed.send(sender=School, school=school, user=user)
    return saved


@transaction.atomic
def remove_term(user: User, term: Term) -> None:
    """Without any term there is school all year; with others left, these days are outside of them."""
    school = _locked_school(user)
    record(school.pk, user, "remove_term", term, name=term.name)
    term.delete()
    signals.days_changed.send(sender=School, school=school, user=user)


def _locked_school(user: User) -> School:
    permissions.check_can_set_days(user)
    return School.objects.select_for_update(no_key=True).get(pk=user.school_id)
