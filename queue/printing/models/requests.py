"""What stands in the queue: a part x copies wanted for a meeting, and each single copy on its way to a tray."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext

from lessons.models import Assignment, KitPart, Team
from makerlab.accounts.models import User
from printing.states import CopyState
from submissions.models import Submission


class PrintRequestQuerySet(models.QuerySet["PrintRequest"]):
    def visible_to(self, user: User) -> PrintRequestQuerySet:
        if user.is_student:
            return self.filter(team__in=Team.objects.visible_to(user))
        return self.filter(assignment__in=Assignment.objects.visible_to(user))

    def editable_by(self, user: User) -> PrintRequestQuerySet:
        """Teachers order what their classes get; administrators all of it."""
        return self.visible_to(user) if user.is_teacher or user.is_administrator else self.none()


class PrintRequest(models.Model):
    """A part x copies wanted for a meeting. ``rank`` is the place in the room's queue, small first.

    ``team`` is empty for class spares; ``submission`` is empty for a kit part that nobody redesigns.
    """

    room = models.ForeignKey("printing.Room", on_delete=models.CASCADE, related_name="requests")
    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="print_requests")
    kit_part = models.ForeignKey(KitPart, on_delete=models.PROTECT, related_name="print_requests")
    team = models.ForeignKey(Team, on_delete=models.CASCADE, null=True, blank=True, related_name="print_requests")
    submission = models.OneToOneField(
        Submission, on_delete=models.PROTECT, null=True, blank=True, related_name="print_request"
    )
    rank = models.PositiveIntegerField()
    held = models.BooleanField(default=False, db_default=False)  # what is not printing yet is not planned
    # before all others, and why; empty: in its turn
    urgent_because = models.CharField(max_length=120, blank=True, db_default="")
    created_at = models.DateTimeField(auto_now_add=True)

    objects = PrintRequestQuerySet.as_manager()

    class Meta:
        ordering = ["rank", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["assignment", "kit_part", "team"],
                condition=models.Q(submission__isnull=True, team__isnull=False),
                name="one_request_for_a_kit_part_and_team",
            ),
            models.UniqueConstraint(
                fields=["assignment", "kit_part"],
                condition=models.Q(submission__isnull=True, team__isnull=True),
                name="one_request_for_the_spares_of_a_kit_part",
            ),
        ]

    def __str__(self) -> str:
        return gettext("%(part)s for %(whom)s") % {
            "part": self.kit_part,
            "whom": self.team or self.assignment.school_class,
        }

    @property
    def source(self) -> Submission | KitPart:
        """The measured file that is printed."""
        return self.submission or self.kit_part


class AssignmentRoom(models.Model):
    """In which of the school's rooms the parts of an assignment are printed; without a row, in the first."""

    assignment = models.OneToOneField(Assignment, on_delete=models.CASCADE, related_name="print_room")
    room = models.ForeignKey("printing.Room", on_delete=models.CASCADE, related_name="assignments")

    def __str__(self) -> str:
        return f"{self.assignment} in {self.room}"


class TeamBudget(models.Model):
    """What each team of a class may have printed for a lesson, in grams of filament. Without a row: no limit."""

    assignment = models.OneToOneField(Assignment, on_delete=models.CASCADE, related_name="team_budget")
    grams = models.FloatField()

    def __str__(self) -> str:
        return f"{self.grams:.0f} g a team, {self.assignment}"


class PrintCopy(models.Model):
    """One copy of one request. Place on the plate: centre of its footprint, bed's front left corner is 0, 0."""

    request = models.ForeignKey(PrintRequest, on_delete=models.CASCADE, related_name="copies")
    number = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=CopyState.choices, default=CopyState.WAITING)
    plate = models.ForeignKey("printing.Plate", on_delete=models.SET_NULL, null=True, blank=True, related_name="copies")
    place = models.PositiveSmallIntegerField(null=True, blank=True)  # number drawn on the plate picture
    x_mm = models.FloatField(null=True, blank=True)
    y_mm = models.FloatField(null=True, blank=True)
    turn_deg = models.FloatField(default=0.0)
    tries = models.PositiveSmallIntegerField(default=0)  # runs that lost this copy
    in_tray_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["request", "number"]
        constraints = [
            models.UniqueConstraint(fields=["request", "number"], name="one_copy_of_a_number"),
            models.CheckConstraint(
                condition=models.Q(state__in=["waiting", "cancelled"], plate__isnull=True)
                | models.Q(state__in=["planned", "printing", "in_tray"], plate__isnull=False),
                name="a_copy_on_its_way_has_a_plate",
            ),
        ]
        indexes = [
            models.Index(fields=["state"]),
            models.Index(
                fields=["request"],
                condition=models.Q(state__in=["waiting", "planned", "printing"]),
                name="copy_under_way",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.request} copy {self.number}"
