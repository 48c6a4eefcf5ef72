"""The form of a situation that is not so: every field empty means "as it is"."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lessons.models import Assignment
from makerlab.accounts.models import User
from printing.actions.queue import SPARES_MOST
from printing.hours import Bells, is_out_of_service, read_bells
from printing.models import Printer, Room
from printing.plan_forms import MOMENT
from printing.planner.values import LIGHT_INFILL
from printing.whatif.changes import Changes, Hours

ADDED_MOST = 3
OUT, BACK = "out", "back"


class WhatIfForm(forms.Form):
    """Printers, hours, who may print with nobody there, and for each class infill, lab day and spare copies."""

    like = forms.ModelChoiceField(
        label=gettext_lazy("One more printer like"),
        queryset=Printer.objects.none(),
        required=False,
        empty_label=gettext_lazy("no more printers"),
    )
    count = forms.IntegerField(
        label=gettext_lazy("How many more"), min_value=1, max_value=ADDED_MOST, required=False, initial=1
    )
    day = forms.DateField(
        label=gettext_lazy("Extra hours on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    starts_at = forms.TimeField(
        label=gettext_lazy("From"), required=False, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    ends_at = forms.TimeField(
        label=gettext_lazy("Until"), required=False, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    staff = forms.IntegerField(
        label=gettext_lazy("People who start and clear"), min_value=1, max_value=9, required=False, initial=1
    )
    change_unattended = forms.BooleanField(required=False)
    unattended = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: Any, room: Room, assignments: list[Assignment], **kwargs: Any) -> None:
        """``assignments``: those ahead of the person who tries it."""
        super().__init__(*args, **{"auto_id": "try_%s", **kwargs})
        self.room = room
        self.printers = list(Printer.objects.filter(room=room).select_related("kind").prefetch_related("outages"))
        self.assignments = assignments
        like = self.fields["like"]
        assert isinstance(like, forms.ModelChoiceField)
        like.queryset = Printer.objects.filter(room=room)
        names = [(printer.pk, str(printer)) for printer in self.printers]
        like.widget.choices = [("", like.empty_label), *names]  # as the query would give, which was asked already
        unattended = self.fields["unattended"]
        assert isinstance(unattended, forms.MultipleChoiceField)
        unattended.choices = [(str(printer.pk), str(printer)) for printer in self.printers]
        self.initial.setdefault("unattended", [str(each.pk) for each in self.printers if each.may_run_unattended])
        for printer in self.printers:
            self._add_printer(printer)
        for assignment in self.assignments:
            self._add_class(assignment)

    def _add_printer(self, printer: Printer) -> None:
        out = is_out_of_service(printer, timezone.now())
        choices = (
            [("", _("out of service, as now")), (BACK, _("back in service"))]
            if out
            else [("", _("in service, as now")), (OUT, _("out of service"))]
        )
        self.fields[f"printer_{printer.pk}"] = forms.ChoiceField(label=str(printer), choices=choices, required=False)

    def _add_class(self, assignment: Assignment) -> None:
        key, name = assignment.pk, str(assignment.school_class)
        self.fields[f"infill_{key}"] = forms.IntegerField(
            label=_("%(class)s: infill in percent") % {"class": name}, min_value=0, max_value=100, required=False
        )
        self.fields[f"meeting_{key}"] = forms.DateTimeField(
            label=_("%(class)s: lab day begins") % {"class": name},
            required=False,
            widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format=MOMENT),
        )
        self.fields[f"spares_{key}"] = forms.IntegerField(
            label=_("%(class)s: more copies of each part for each team") % {"class": name},
            min_value=0,
            max_value=SPARES_MOST,
            required=False,
        )

    def printer_fields(self) -> list[forms.BoundField]:
        return [self[f"printer_{printer.pk}"] for printer in self.printers]

    def added_fields(self) -> list[forms.BoundField]:
        return [self["like"], self["count"]]

    def hours_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("day", "starts_at", "ends_at", "staff")]

    def class_fields(self) -> list[tuple[Assignment, list[forms.BoundField]]]:
        names = ("infill", "meeting", "spares")
        return [(each, [self[f"{name}_{each.pk}"] for name in names]) for each in self.assignments]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        span = [values.get(name) for name in ("day", "starts_at", "ends_at")]
        if any(span) and not all(span) and not {"day", "starts_at", "ends_at"} & set(self.errors):
            self.add_error("day", _("Give the date and both times, or none of them."))
        if all(span) and values["ends_at"] <= values["starts_at"]:
            self.add_error("ends_at", _("The hours must end after they start, on the same day."))
        for assignment in self.assignments:
            at = values.get(f"meeting_{assignment.pk}")
            if at is not None and at <= timezone.now():
                self.add_error(f"meeting_{assignment.pk}", _("That time has passed already."))
        return values

    def changes(self) -> Changes:
        """What the form asks for; what is as it is now is left out."""
        values = self.cleaned_data
        per_printer = {printer.pk: values.get(f"printer_{printer.pk}") for printer in self.printers}
        hours: tuple[Hours, ...] = ()
        if values.get("day"):
            hours = (Hours(values["day"], values["starts_at"], values["ends_at"], values.get("staff") or 1),)
        infill, meetings, spares = {}, {}, {}
        for each in self.assignments:
            share = values.get(f"infill_{each.pk}")
            if share is not None:
                infill[each.pk] = share / 100
            at = values.get(f"meeting_{each.pk}")
            if at is not None and at != each.meeting.starts_at.replace(second=0, microsecond=0):
                meetings[each.meeting_id] = at
            if values.get(f"spares_{each.pk}"):
                spares[each.pk] = values[f"spares_{each.pk}"]
        like = values.get("like")
        return Changes(
            out=tuple(pk for pk, choice in per_printer.items() if choice == OUT),
            back=tuple(pk for pk, choice in per_printer.items() if choice == BACK),
            added=(like.pk,) * (values.get("count") or 1) if like else (),
            hours=hours,
            unattended=self._unattended(values),
            infill=infill,
            meetings=meetings,
            spares=spares,
        )

    def _unattended(self, values: Mapping[str, Any]) -> tuple[int, ...] | None:
        """None where the room does not allow it, or the list is as it is now."""
        if not self.room.unattended_allowed or not values.get("change_unattended"):
            return None
        chosen = {int(pk) for pk in values.get("unattended", [])}
        now = {printer.pk for printer in self.printers if printer.may_run_unattended}
        return None if chosen == now else tuple(sorted(chosen))


def assignments_ahead(room: Room, user: User) -> list[Assignment]:
    """Lessons of the person's classes whose lab day is to come and of which something is ordered in this room."""
    return list(
        Assignment.objects.visible_to(user)
        .filter(print_requests__room=room, meeting__starts_at__gt=timezone.now())
        .distinct()
        .select_related("school_class", "meeting", "plan")
        .order_by("meeting__starts_at", "pk")
    )


def initial_of(changes: Changes, assignments: list[Assignment]) -> dict[str, Any]:
    """The form's fields for changes made before."""
    first = changes.hours[0] if changes.hours else None
    found: dict[str, Any] = {f"printer_{pk}": OUT for pk in changes.out}
    found |= {f"printer_{pk}": BACK for pk in changes.back}
    if changes.added:
        found |= {"like": changes.added[0], "count": len(changes.added)}
    if first:
        found |= {"day": first.day, "starts_at": first.starts_at, "ends_at": first.ends_at, "staff": first.staff}
    if changes.unattended is not None:
        found |= {"change_unattended": True, "unattended": [str(pk) for pk in changes.unattended]}
    found |= {f"infill_{pk}": round(100 * share) for pk, share in changes.infill.items()}
    found |= {f"spares_{pk}": more for pk, more in changes.spares.items()}
    for each in assignments:
        if each.meeting_id in changes.meetings:
            found[f"meeting_{each.pk}"] = changes.meetings[each.meeting_id]
    return found


def initial_from(query: Mapping[str, str], room: Room, assignments: list[Assignment]) -> dict[str, Any]:
    """The form's fields for a remedy the forecast named; what cannot be read is left out."""
    found: dict[str, Any] = {}
    numbers = {key: int(value) for key, value in query.items() if value.isdigit()}
    if day := _date(query.get("evening", "")):
        found |= _evening(read_bells(room), day, numbers.get("evening_min", 180))
    if "like" in numbers:
        found |= {"like": numbers["like"], "count": 1}
    if "spares" in numbers:
        found[f"spares_{numbers['spares']}"] = 1
    if "infill" in numbers:
        found[f"infill_{numbers['infill']}"] = round(100 * LIGHT_INFILL)
    for each in assignments:
        if each.meeting_id == numbers.get("meeting"):
            found[f"meeting_{each.pk}"] = _school_days_later(
                read_bells(room), each.meeting.starts_at, numbers.get("days", 1)
            )
    return found


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _evening(bells: Bells, day: date, minutes: int) -> dict[str, Any]:
    """From the end of the staffed day, for so long."""
    start = max((part.end for part in bells.staffed_on(day)), default=time(15))
    end = min(datetime.combine(day, start) + timedelta(minutes=minutes), datetime.combine(day, time(23, 59)))
    return {"day": day, "starts_at": start, "ends_at": end.time(), "staff": 1}


def _school_days_later(bells: Bells, at: datetime, days: int) -> datetime:
    """The same time of day, so many staffed days later."""
    local = at.astimezone(bells.zone)
    day, left = local.date(), days
    while left and (day - local.date()).days < 60:
        day += timedelta(days=1)
        left -= bool(bells.staffed_on(day))
    return datetime.combine(day, local.time(), bells.zone)
