"""The form by which a teacher gives a lesson to classes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.db.models import Count, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from lessons.actions.assignments import Give, Limits
from lessons.models import LessonPlan, Meeting, SchoolClass
from makerlab.accounts.models import User
from makerlab.components.figures import day_clock
from printing.form_fields import number
from printing.giving.values import Gift
from printing.models import Room

DAYS_BEFORE = 2


class GiveForm(forms.Form):
    """For each class of the teacher whether it gets the lesson (``class-<pk>``) and for which lab day
    (``meeting-<pk>``); team size, days to hand in before, and limits for all."""

    team_size = forms.IntegerField(
        label=_("Students in a team"), min_value=1, max_value=12,
        help_text=_("for classes that have no teams yet"),
    )  # fmt: skip
    days_before = forms.IntegerField(
        label=_("Files are due, days before the lab day"), min_value=0, max_value=60, initial=DAYS_BEFORE,
        help_text=_("at the hour at which the lab day begins"),
    )  # fmt: skip
    mass_max_g = number(_("Grams of one file, at most"), 0.1, 2000, _("empty: no limit"), required=False)
    minutes_max = number(_("Minutes of one file, at most"), 1, 3000, _("empty: no limit"), required=False)
    size_max_mm = number(_("Longest side, at most"), 1, 1000, _("empty: no limit"), required=False)
    files_max = forms.IntegerField(label=_("Versions a team may upload"), min_value=1, max_value=99, initial=20)

    def __init__(self, *args: Any, plan: LessonPlan, user: User, rooms: Sequence[Room] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if len(rooms) > 1:  # the room the person has chosen comes first
            self.fields["room"] = forms.TypedChoiceField(
                label=_("Printed in"), choices=[(room.pk, room.name) for room in rooms], coerce=int
            )
        self.rooms = {room.pk: room for room in rooms}
        self.initial.setdefault("team_size", plan.group_size)
        self.classes = classes_of(user)
        self.meetings = coming_meetings(self.classes, plan)
        for row in self.classes:
            days = self.meetings.get(row.pk, [])
            self.fields[f"class-{row.pk}"] = forms.BooleanField(label=row.name, required=False, disabled=not days)
            self.fields[f"meeting-{row.pk}"] = forms.TypedChoiceField(
                label=_("Lab day of %(class)s") % {"class": row.name},
                choices=[(day.pk, day_clock(day.starts_at)) for day in days],
                coerce=int,
                required=False,
            )

    def room_field(self) -> forms.BoundField:
        """Where there are several rooms, the choice of one."""
        return self["room"]

    def room(self) -> Room | None:
        """Where the parts are printed; None while the school has no room."""
        chosen = getattr(self, "cleaned_data", {}).get("room")
        return self.rooms[chosen] if chosen else next(iter(self.rooms.values()), None)

    def rows(self) -> list[dict[str, Any]]:
        """Each class with its fields and how many teams it has or would have."""
        return [
            {
                "class": row,
                "on": self[f"class-{row.pk}"],
                "meeting": self[f"meeting-{row.pk}"],
                "days": self.meetings.get(row.pk, []),
            }
            for row in self.classes
        ]

    def clean(self) -> dict[str, Any]:
        values: dict[str, Any] = super().clean() or {}
        chosen = [row for row in self.classes if values.get(f"class-{row.pk}")]
        if not chosen:
            self.add_error(None, _("Choose at least one class."))
        for row in chosen:
            if not values.get(f"meeting-{row.pk}"):
                self.add_error(f"meeting-{row.pk}", _("Choose a lab day."))
        return values

    def chosen(self) -> list[tuple[SchoolClass, Meeting]]:
        """The classes that get the lesson, each with its lab day."""
        found = []
        for row in self.classes:
            if self.cleaned_data.get(f"class-{row.pk}"):
                key = self.cleaned_data[f"meeting-{row.pk}"]
                found.append((row, next(day for day in self.meetings[row.pk] if day.pk == key)))
        return found

    def gifts(self, team_size: int | None = None) -> list[Gift]:
        """What is to be reckoned; with ``team_size`` as if no class had formed teams yet."""
        size = team_size or self.cleaned_data["team_size"]
        return [
            Gift(row.pk, row.name, teams_of(row, size, team_size is None), day.starts_at) for row, day in self.chosen()
        ]

    def gives(self) -> list[Give]:
        before = timedelta(days=self.cleaned_data["days_before"])
        return [Give(row, day, day.starts_at - before) for row, day in self.chosen()]

    def limits(self) -> Limits:
        values = self.cleaned_data
        seconds = None if values["minutes_max"] is None else values["minutes_max"] * 60
        return Limits(values["mass_max_g"], seconds, values["size_max_mm"], values["files_max"])


def classes_of(user: User) -> list[SchoolClass]:
    """The classes this person may give a lesson to, with ``team_count`` and ``student_count``."""
    rows = SchoolClass.objects.editable_by(user).filter(archived_at__isnull=True)
    counted = rows.annotate(team_count=Count("teams", distinct=True), student_count=Count("memberships", distinct=True))
    return list(counted.order_by("name", "pk"))


def coming_meetings(
    classes: Sequence[SchoolClass], plan: LessonPlan, now: datetime | None = None
) -> dict[int, list[Meeting]]:
    """By class: lab days to come for which it does not have the lesson yet."""
    now = now or timezone.now()
    found: dict[int, list[Meeting]] = {}
    rows = Meeting.objects.filter(school_class__in=classes, starts_at__gt=now)
    for row in rows.exclude(Q(assignments__plan=plan)).order_by("starts_at"):
        found.setdefault(row.school_class_id, []).append(row)
    return found


def teams_of(row: Any, size: int, formed: bool = True) -> int:
    """The teams the class has; else as many as its students need; one where nobody has joined yet."""
    if formed and row.team_count:
        return int(row.team_count)
    return max(1, math.ceil(int(row.student_count) / size))
