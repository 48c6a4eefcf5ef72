"""A room, its staffed hours, its printers and their spools."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from lessons.models import Assignment, DayKind
from makerlab.accounts.models import User
from makerlab.components.filament import filament_of
from meshcheck.types import Machine
from planning.types import Area


class OfSchoolQuerySet(models.QuerySet):  # type: ignore[type-arg]
    """Objects that belong to a room: all staff of the school see them, technicians and administrators edit them."""

    school_path = "room__school_id"

    def visible_to(self, user: User) -> Self:
        return self.none() if user.is_student else self.filter(**{self.school_path: user.school_id})

    def editable_by(self, user: User) -> Self:
        allowed = user.is_technician or user.is_administrator
        return self.filter(**{self.school_path: user.school_id}) if allowed else self.none()


class RoomQuerySet(OfSchoolQuerySet):
    school_path = "school_id"

    def for_assignment(self, assignment: Assignment) -> Room | None:
        """Where the parts of an assignment are printed: the room its teacher chose, else the school's first."""
        chosen: Room | None = self.filter(assignments__assignment=assignment).first()
        return chosen or self.filter(school_id=assignment.school_class.school_id).order_by("id").first()


class Room(models.Model):
    """A room with printers, and its rules. ``revision`` grows with every change of queue, plan or bench."""

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="rooms")
    name = models.CharField(max_length=60)
    unattended_allowed = models.BooleanField(
        default=False, help_text=_("only with the school's written permission; each printer must allow it too")
    )
    unattended_policy = models.CharField(max_length=200, blank=True)  # the written permission: its title and date
    start_min = models.PositiveSmallIntegerField(default=5)
    swap_min = models.PositiveSmallIntegerField(default=10)
    clear_min = models.PositiveSmallIntegerField(default=10)
    gap_mm = models.FloatField(default=5.0)
    # a published start that begins sooner than this is not moved by a new plan: its spool and file are being prepared
    frozen_min = models.PositiveSmallIntegerField(default=15)
    plate_size = models.CharField(max_length=60, blank=True)  # the way of laying out the staff chose; empty: the best
    revision = models.PositiveIntegerField(default=0)
    # grows when the order of the queue changes: a move made on an older list is refused and told
    queue_version = models.PositiveIntegerField(default=0)

    objects = RoomQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["school", "name"], name="one_room_of_a_name")]

    def __str__(self) -> str:
        return self.name


class RoomHours(models.Model):
    """When, on a kind of day, how many people are there who can start and clear prints."""

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="hours")
    day_kind = models.ForeignKey(DayKind, on_delete=models.CASCADE, related_name="room_hours")
    starts_at = models.TimeField()
    ends_at = models.TimeField()
    staff = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["day_kind", "starts_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")), name="hours_end_after_they_start"
            )
        ]

    def __str__(self) -> str:
        return f"{self.day_kind.name} {self.starts_at:%H:%M} to {self.ends_at:%H:%M}, {self.staff}"


class ExtraHours(models.Model):
    """Somebody is in the room on one date beyond the usual hours: an evening, a Saturday."""

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="extra_hours")
    date = models.DateField()
    starts_at = models.TimeField()
    ends_at = models.TimeField()
    staff = models.PositiveSmallIntegerField(default=1)

    objects = OfSchoolQuerySet.as_manager()

    class Meta:
        ordering = ["date", "starts_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")), name="extra_hours_end_after_they_start"
            ),
            models.UniqueConstraint(fields=["room", "date", "starts_at"], name="one_extra_span_a_start"),
        ]

    def __str__(self) -> str:
        return f"{self.date} {self.starts_at:%H:%M} to {self.ends_at:%H:%M}, {self.staff}"


class PrinterKindQuerySet(OfSchoolQuerySet):
    """All staff see the kinds of the school; administrators change them."""

    school_path = "school_id"

    def editable_by(self, user: User) -> Self:
        return self.visible_to(user) if user.is_administrator else self.none()


class PrinterKind(models.Model):
    """Printers that are alike: bed and speeds. ``machine`` holds meshcheck.types.Machine fields that differ."""

    class Bed(models.TextChoices):
        RECTANGULAR = "rectangular", _("rectangular")
        ROUND = "round", _("round")

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="printer_kinds")
    name = models.CharField(max_length=60)
    bed = models.CharField(max_length=12, choices=Bed.choices, default=Bed.RECTANGULAR)
    width_mm = models.FloatField(help_text=_("bed width, or diameter of a round bed"))
    depth_mm = models.FloatField(help_text=_("bed depth; the diameter again for a round bed"))
    height_mm = models.FloatField()
    margin_mm = models.FloatField(default=5.0)
    # where a clip or a screw sits: rectangles [x, y, width, depth] in mm from the front left corner of the bed, and
    # after them what is there, in words, where somebody said so
    keep_out = models.JSONField(default=list, blank=True)
    nozzle_mm = models.FloatField(default=0.4)
    machine = models.JSONField(default=dict, blank=True)

    objects = PrinterKindQuerySet.as_manager()

    def __str__(self) -> str:
        return self.name

    def machine_value(self) -> Machine:
        """Speeds and waiting times. Raises TypeError for a field that does not exist."""
        return Machine(**self.machine)

    def areas(self) -> tuple[Area, ...]:
        """The areas kept free. Raises TypeError or ValueError where one is not four figures."""
        found = []
        for row in self.keep_out:
            x, y, width, depth = (float(figure) for figure in row[:4])
            if not (width > 0 and depth > 0):
                raise ValueError("an area has a width and a depth")
            found.append(Area(x, y, width, depth))
        return tuple(found)

    def area_words(self) -> tuple[str, ...]:
        """What is in each of the areas, in their order; empty where nobody said."""
        return tuple(str(row[4]) if len(row) > 4 else "" for row in self.keep_out)

    def clean(self) -> None:
        try:
            self.machine_value()
        except TypeError as error:
            raise ValidationError({"machine": str(error)}) from error
        try:
            self.areas()
        except (TypeError, ValueError) as error:
            raise ValidationError({"keep_out": _("Each area is [x, y, width, depth] in millimetres.")}) from error


class Printer(models.Model):
    """One printer of the room."""

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="printers")
    kind = models.ForeignKey(PrinterKind, on_delete=models.PROTECT, related_name="printers")
    name = models.CharField(max_length=40)
    icon = models.CharField(max_length=24, default="printer")  # name of a symbol in the icon sprite
    may_run_unattended = models.BooleanField(default=False)
    position = models.PositiveSmallIntegerField(default=0)

    objects = OfSchoolQuerySet.as_manager()

    class Meta:
        ordering = ["position", "id"]
        constraints = [models.UniqueConstraint(fields=["room", "name"], name="one_printer_of_a_name")]

    def __str__(self) -> str:
        return self.name


class Outage(models.Model):
    """A printer is out of service from a time until another; ``until`` empty: until somebody says otherwise."""

    printer = models.ForeignKey(Printer, on_delete=models.CASCADE, related_name="outages")
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=120)

    class Meta:
        ordering = ["-since"]

    def __str__(self) -> str:
        return f"{self.printer} out of service: {self.reason}"


class Spool(models.Model):
    """A spool of filament; at most one is loaded on a printer."""

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="spools")
    printer = models.OneToOneField(Printer, on_delete=models.SET_NULL, null=True, blank=True, related_name="spool")
    material = models.CharField(max_length=12, default="PLA")
    colour = models.CharField(max_length=24)
    maker = models.CharField(max_length=40, blank=True)  # whose empty spool the tare is of
    grams_full = models.FloatField(default=750.0)
    grams_left = models.FloatField()
    tare_g = models.FloatField(null=True, blank=True)  # the empty spool; None: nobody knows
    price_per_kg = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    weighed_at = models.DateTimeField(null=True, blank=True)

    objects = OfSchoolQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=models.Q(grams_left__gte=0), name="a_spool_is_never_below_zero")
        ]

    def __str__(self) -> str:
        return filament_of(self)


class EmptySpool(models.Model):
    """What an empty spool of one kind weighs, as this room has weighed it. ``maker`` as written on its spools."""

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="empty_spools")
    maker = models.CharField(max_length=40)
    grams_full = models.FloatField()
    tare_g = models.FloatField()
    weighed_at = models.DateTimeField()

    objects = OfSchoolQuerySet.as_manager()

    class Meta:
        ordering = ["maker", "grams_full"]
        constraints = [
            models.UniqueConstraint(fields=["room", "maker", "grams_full"], name="one_tare_a_kind_of_spool"),
            models.CheckConstraint(condition=models.Q(tare_g__gt=0), name="an_empty_spool_weighs_something"),
        ]

    def __str__(self) -> str:
        return f"{self.maker}, {self.grams_full:.0f} g"


class UpkeepQuerySet(OfSchoolQuerySet):
    school_path = "printer__room__school_id"


class Upkeep(models.Model):
    """What somebody did to keep a printer in order."""

    class Work(models.TextChoices):
        """Trade terms (common practice, no source)."""

        NOZZLE = "nozzle", _("nozzle changed")
        BED = "bed", _("bed cleaned or levelled")
        GREASE = "grease", _("rods or screws greased")
        BELT = "belt", _("belts tightened")
        FAN = "fan", _("fan cleaned or changed")
        OTHER = "other", _("something else")

    printer = models.ForeignKey("printing.Printer", on_delete=models.CASCADE, related_name="upkeep")
    work = models.CharField(max_length=8, choices=Work.choices)
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")

    objects = UpkeepQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.printer}: {self.get_work_display()}"
