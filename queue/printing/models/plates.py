"""Plates, the runs that print them, and the plan of the room."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from lessons.models import CheckState
from printing.models.rooms import OfSchoolQuerySet, Printer, PrinterKind, Room
from printing.reasons import words
from printing.states import FailureReason, Outcome, PlateState


def prepared_path(instance: PreparedFile, filename: str) -> str:
    """Stored by uuid: the name somebody gave never reaches the file system."""
    name = uuid.uuid4().hex
    return f"prepared/{name[:2]}/{name}"


class Plate(models.Model):
    """Copies placed on one bed, printed in one start. Its number stays with it: P6 on the bench is P6 in the plan.

    ``durations_s`` maps printer id to the run expected on that printer; only printers that can hold it are listed.
    ``estimates_s`` holds what the model alone says, before what was learned from the printer's runs.
    """

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="plates")
    number = models.PositiveIntegerField()
    state = models.CharField(max_length=8, choices=PlateState.choices, default=PlateState.PLANNED)
    material = models.CharField(max_length=12)
    colour = models.CharField(max_length=24)
    settings = models.JSONField(default=dict)
    bed_width_mm = models.FloatField()
    bed_depth_mm = models.FloatField()
    bed_round = models.BooleanField(default=False)
    mass_g = models.FloatField()
    durations_s = models.JSONField(default=dict)
    estimates_s = models.JSONField(default=dict)

    # from the room plan; empty when the plan found no place (then ``unplanned_because`` says why)
    printer = models.ForeignKey(Printer, on_delete=models.SET_NULL, null=True, blank=True, related_name="plates")
    swap = models.BooleanField(default=False)
    setup_at = models.DateTimeField(null=True, blank=True)
    starts_at = models.DateTimeField(null=True, blank=True)
    ends_at = models.DateTimeField(null=True, blank=True)
    cleared_at = models.DateTimeField(null=True, blank=True)
    unplanned_because = models.TextField(blank=True)  # as ``printing.reasons`` keeps it
    arranged = models.BooleanField(default=False)  # laid out by hand: its copies and their places stay
    held = models.BooleanField(default=False)  # file already taken by the technician: its copies stay together
    created_at = models.DateTimeField(auto_now_add=True)

    # fixed by staff: on that printer, set up at that time, not before that plate
    pin_printer = models.ForeignKey(Printer, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    pin_setup_at = models.DateTimeField(null=True, blank=True)
    pin_after = models.ForeignKey("self", on_delete=models.SET_NULL, null=True, blank=True, related_name="followers")
    # how often its printer or times were changed: the SEQUENCE of its calendar entries
    changes = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField(null=True, blank=True)  # when what calendars show of it changed last

    objects = OfSchoolQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["room", "number"], name="one_plate_of_a_number")]
        indexes = [models.Index(fields=["room", "state"])]

    def __str__(self) -> str:
        return f"P{self.number}"

    @property
    def why_unplanned(self) -> str:
        """Why the plan found no place for it, in the reader's language; empty when it did."""
        return words(self.unplanned_because)

    @property
    def is_pinned(self) -> bool:
        """Whether staff have fixed its printer, its start or its place in the order."""
        return bool(self.pin_printer_id or self.pin_setup_at or self.pin_after_id)


class PlateEstimate(models.Model):
    """Grams and minutes of one arrangement of files, kept so that planning again is quick.

    ``key`` is the sha256 of the files, their places, the print settings and the machines; ``answer`` is what
    ``meshcheck.service.estimate_plate`` said.
    """

    key = models.CharField(max_length=64, primary_key=True)
    answer = models.JSONField()
    used_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"estimate {self.key[:8]}"


class RunQuerySet(OfSchoolQuerySet):
    school_path = "plate__room__school_id"


class PreparedFile(models.Model):
    """The G-code the technician prepared for a plate with the printer's own program. While ``stands`` it is the
    plate's estimate on that kind of printer; ``reading`` is what ``meshcheck.service.read_prepared`` said of it.
    """

    plate = models.ForeignKey(Plate, on_delete=models.CASCADE, related_name="prepared_files")
    kind = models.ForeignKey(PrinterKind, on_delete=models.CASCADE, related_name="+")
    file = models.FileField(upload_to=prepared_path, max_length=120)
    file_name = models.CharField(max_length=120)
    file_bytes = models.PositiveIntegerField(default=0)
    sha256 = models.CharField(max_length=64)
    dialect = models.CharField(max_length=24)
    arrangement = models.CharField(max_length=64, default="")  # what stood on it then
    check_state = models.CharField(max_length=8, choices=CheckState.choices, default=CheckState.CHECKING)
    check_error = models.TextField(blank=True)
    reading = models.JSONField(null=True, blank=True)
    mass_g = models.FloatField(null=True, blank=True)
    duration_s = models.FloatField(null=True, blank=True)
    stands = models.BooleanField(default=False)
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    uploaded_at = models.DateTimeField(auto_now_add=True)

    objects = RunQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["plate", "kind"], condition=models.Q(stands=True), name="one_standing_file_a_plate_and_kind"
            )
        ]

    def __str__(self) -> str:
        return f"{self.file_name} for {self.plate}"


class Run(models.Model):
    """One attempt to print a plate on a printer."""

    plate = models.ForeignKey(Plate, on_delete=models.CASCADE, related_name="runs")
    printer = models.ForeignKey(Printer, on_delete=models.PROTECT, related_name="runs")
    outcome = models.CharField(max_length=12, choices=Outcome.choices, default=Outcome.RUNNING)
    started_at = models.DateTimeField()
    expected_end_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    cleared_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    # what the model said at the start; ``expected_end_at`` is what was expected of this printer
    estimate_s = models.FloatField()
    estimate_g = models.FloatField()
    # what was taken off the spool, and what it cost then; empty while it runs, or where no price was on record
    used_g = models.FloatField(null=True, blank=True)
    price_per_kg = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    # for learning: when the printer itself stopped, as somebody saw it, and what the plate's prints weighed
    print_ended_at = models.DateTimeField(null=True, blank=True)
    weighed_g = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    # what is needed to take the clearing back: where each copy lay, and what the spool held
    before = models.JSONField(null=True, blank=True)

    objects = RunQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["printer"], condition=models.Q(outcome="running"), name="one_running_print_a_printer"
            ),
            models.UniqueConstraint(
                fields=["plate"], condition=models.Q(outcome="running"), name="one_running_print_a_plate"
            ),
        ]
        indexes = [models.Index(fields=["printer", "ended_at"], name="run_of_a_printer_ended")]  # what ended today

    def __str__(self) -> str:
        return f"{self.plate} on {self.printer}"


class RunCopy(models.Model):
    """What became of one copy in one run."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="results")
    copy = models.ForeignKey("printing.PrintCopy", on_delete=models.CASCADE, related_name="results")
    good = models.BooleanField()
    reason = models.CharField(max_length=12, choices=FailureReason.choices, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["run", "copy"], name="one_result_a_copy_and_run"),
            models.CheckConstraint(
                condition=models.Q(good=True, reason="") | (models.Q(good=False) & ~models.Q(reason="")),
                name="a_lost_copy_has_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.copy}: {'good' if self.good else self.reason}"


class RoomPlan(models.Model):
    """One computed plan of a room. The newest one counts; plates carry its starts."""

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="plans")
    made_at = models.DateTimeField(auto_now_add=True)
    seconds = models.FloatField()
    plates = models.PositiveIntegerField()
    late_kits = models.PositiveIntegerField(default=0)
    tardiness_min = models.FloatField(default=0.0)
    facts = models.JSONField(default=dict)  # loads, lateness by kit, changes and explanations, all computed
    # why it was made, as printing.causes keeps it: "Wren failed P6"
    causes = models.JSONField(default=list, db_default=[])

    objects = OfSchoolQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["room", "-id"], name="newest_plan_of_a_room")]

    def __str__(self) -> str:
        return f"plan of {self.room} made {self.made_at:%Y-%m-%d %H:%M}"
