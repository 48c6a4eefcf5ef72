"""The school's year: terms, kinds of day with their periods, and which day is of which kind."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from makerlab.accounts.models import User


class DayKindQuerySet(models.QuerySet["DayKind"]):
    """All staff see the school's calendar, administrators change it."""

    def visible_to(self, user: User) -> DayKindQuerySet:
        return self.filter(school_id=user.school_id) if user.is_staff_member else self.none()

    def editable_by(self, user: User) -> DayKindQuerySet:
        return self.visible_to(user) if user.is_administrator else self.none()


class DayKind(models.Model):
    """A named bell schedule (regular, early release). ``weekdays`` lists its usual days, Monday 0 to Sunday 6."""

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="day_kinds")
    name = models.CharField(max_length=40)
    weekdays = models.JSONField(default=list, blank=True)

    objects = DayKindQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["school", "name"], name="one_day_kind_of_a_name")]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        days = self.weekdays
        if not isinstance(days, list) or any(type(day) is not int or not 0 <= day <= 6 for day in days):
            raise ValidationError({"weekdays": _("Weekdays are whole numbers from 0, Monday, to 6, Sunday.")})


class Period(models.Model):
    """One row of a bell schedule. Lunch is a period too."""

    day_kind = models.ForeignKey(DayKind, on_delete=models.CASCADE, related_name="periods")
    name = models.CharField(max_length=24)
    starts_at = models.TimeField()
    ends_at = models.TimeField()

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.UniqueConstraint(fields=["day_kind", "name"], name="one_period_of_a_name"),
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")), name="a_period_ends_after_it_starts"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.starts_at:%H:%M} to {self.ends_at:%H:%M}"


class SchoolDayQuerySet(models.QuerySet["SchoolDay"]):
    """All staff see the school's calendar, administrators change it."""

    def visible_to(self, user: User) -> SchoolDayQuerySet:
        return self.filter(school_id=user.school_id) if user.is_staff_member else self.none()

    def editable_by(self, user: User) -> SchoolDayQuerySet:
        return self.visible_to(user) if user.is_administrator else self.none()


class SchoolDay(models.Model):
    """A date that is not as its weekday says: another kind of day, or none (a holiday)."""

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="special_days")
    date = models.DateField()
    day_kind = models.ForeignKey(DayKind, on_delete=models.CASCADE, null=True, blank=True, related_name="special_days")
    name = models.CharField(max_length=60, blank=True)

    objects = SchoolDayQuerySet.as_manager()

    class Meta:
        ordering = ["date"]
        constraints = [models.UniqueConstraint(fields=["school", "date"], name="one_special_day_a_date")]

    def __str__(self) -> str:
        return f"{self.date:%Y-%m-%d} {self.name}"


class TermQuerySet(models.QuerySet["Term"]):
    """All staff see the school's calendar, administrators change it."""

    def visible_to(self, user: User) -> TermQuerySet:
        return self.filter(school_id=user.school_id) if user.is_staff_member else self.none()

    def editable_by(self, user: User) -> TermQuerySet:
        return self.visible_to(user) if user.is_administrator else self.none()


class Term(models.Model):
    """A stretch of the school year. Outside of all terms there is no school; without any term there is school on the
    weekdays of the kinds of day, all year.

    ``rotation``: keys of the kinds of day that take turns, such as A and B; they take their turns over the school days
    on the weekdays ``turning`` (Monday 0). Both empty: every weekday is of its own kind.
    """

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="terms")
    name = models.CharField(max_length=40)
    first = models.DateField()
    last = models.DateField()
    rotation = models.JSONField(default=list, blank=True)
    turning = models.JSONField(default=list, blank=True)

    objects = TermQuerySet.as_manager()

    class Meta:
        ordering = ["first"]
        constraints = [
            models.UniqueConstraint(fields=["school", "name"], name="one_term_of_a_name"),
            models.CheckConstraint(
                condition=models.Q(last__gte=models.F("first")), name="a_term_ends_no_earlier_than_it_begins"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.first:%Y-%m-%d} to {self.last:%Y-%m-%d}"
