"""The school's bell schedule: kinds of day, their periods, and which day is of which kind."""

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
