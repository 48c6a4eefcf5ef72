"""Lab day: what teams measured, what they claim from it, and how the teacher marks it."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from lessons.models.assignments import Assignment
from lessons.models.classes import Team
from makerlab.accounts.models import User


class OfTeamQuerySet(models.QuerySet):  # type: ignore[type-arg]
    """What belongs to a team's work on an assignment: the team's students and the class's staff see and write it."""

    def visible_to(self, user: User) -> Self:
        rows = self.filter(assignment__in=Assignment.objects.visible_to(user))
        return rows.filter(team__in=Team.objects.visible_to(user)) if user.is_student else rows

    def editable_by(self, user: User) -> Self:
        if user.is_student:
            return self.visible_to(user)
        return self.filter(assignment__in=Assignment.objects.editable_by(user))


class Reading(models.Model):
    """One measured run of one design of a team at one value of the changed variable.

    A reading is never changed: a correction is a new one that ``replaces`` the old. ``entry`` is made on the device,
    so that a reading sent twice is stored once. Values are in the units the experiment states.
    """

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="readings")
    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="readings")
    entry = models.UUIDField(unique=True)
    design = models.CharField(max_length=40)  # what was tested: a design of the experiment, such as "own wheel"
    version = models.PositiveSmallIntegerField(null=True, blank=True)  # of the team's own part, where it is known
    changed = models.FloatField()  # the value asked for, such as a load of 100 g
    changed_measured = models.FloatField(null=True, blank=True)  # the value really weighed
    trial = models.PositiveSmallIntegerField()
    measured = models.FloatField(null=True, blank=True)  # empty: this run gave no value, ``note`` says why
    note = models.CharField(max_length=200, blank=True)  # why an odd value is kept, or a run is left out
    is_left_out = models.BooleanField(default=False)
    stopwatch = models.BooleanField(default=False)  # timed on the page, not typed in
    replaces = models.OneToOneField(
        "self", on_delete=models.SET_NULL, null=True, blank=True, related_name="replaced_by"
    )
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)
    measured_at = models.DateTimeField()  # by the device, kept within what the server can believe

    objects = OfTeamQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["assignment", "team"])]

    def __str__(self) -> str:
        return f"{self.team}: {self.design} at {self.changed:g}, trial {self.trial}"


class Coasting(models.Model):
    """A team's unloaded cart rolled on the level until it came to rest, ``length_m`` from the (last) mark.

    How fast it began is told in one of three ways: ``time_s`` from the mark to rest; ``time_s`` between two marks
    ``marks_m`` apart; or ``speed_m_s`` at the mark. A wrong one is taken out, with an audit event, and entered anew.
    """

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="coastings")
    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="coastings")
    design = models.CharField(max_length=40)
    length_m = models.FloatField()
    time_s = models.FloatField(null=True, blank=True)
    marks_m = models.FloatField(null=True, blank=True)
    speed_m_s = models.FloatField(null=True, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    objects = OfTeamQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(length_m__gt=0)
                & (
                    models.Q(time_s__gt=0, speed_m_s__isnull=True, marks_m__isnull=True)
                    | models.Q(time_s__gt=0, speed_m_s__isnull=True, marks_m__gt=0)
                    | models.Q(time_s__isnull=True, speed_m_s__gt=0, marks_m__isnull=True)
                ),
                name="a_coast_down_is_told_in_one_way",
            )
        ]

    def __str__(self) -> str:
        return f"{self.team}: {self.length_m:g} m to rest"


class Argument(models.Model):
    """A team's claim, evidence and reasoning. ``says`` is the claim that readings can decide, of lessons.lab.claims;
    ``revision`` grows with each save: an older page is told, not obeyed."""

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="arguments")
    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="arguments")
    says = models.CharField(max_length=12, blank=True, db_default="")
    claim = models.TextField(blank=True)
    evidence = models.TextField(blank=True)
    reasoning = models.TextField(blank=True)
    revision = models.PositiveIntegerField(default=0)
    saved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    saved_at = models.DateTimeField(auto_now=True)

    objects = OfTeamQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["assignment", "team"], name="one_argument_a_team")]

    def __str__(self) -> str:
        return f"argument of {self.team}"


class Mark(models.Model):
    """The level, 1 to 4, a teacher gives a team in one row of the rubric, by the row's place in the plan."""

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="marks")
    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="marks")
    row = models.PositiveSmallIntegerField()
    row_name = models.CharField(max_length=120)  # as it read when the mark was given
    level = models.PositiveSmallIntegerField()
    comment = models.TextField(blank=True)
    marked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    marked_at = models.DateTimeField(auto_now=True)

    objects = OfTeamQuerySet.as_manager()

    class Meta:
        ordering = ["row"]
        constraints = [
            models.UniqueConstraint(fields=["assignment", "team", "row"], name="one_mark_a_team_and_row"),
            models.CheckConstraint(condition=models.Q(level__gte=1, level__lte=4), name="a_mark_is_from_1_to_4"),
        ]

    def __str__(self) -> str:
        return f"{self.team}: {self.row_name} {self.level}"


class LabBoardQuerySet(models.QuerySet["LabBoard"]):
    def visible_to(self, user: User) -> LabBoardQuerySet:
        return self.filter(assignment__in=Assignment.objects.visible_to(user))

    def editable_by(self, user: User) -> LabBoardQuerySet:
        return self.filter(assignment__in=Assignment.objects.editable_by(user))


class LabBoard(models.Model):
    """The class board of an assignment. ``revision`` grows with every reading; while frozen the board stands still."""

    assignment = models.OneToOneField(Assignment, on_delete=models.CASCADE, related_name="board")
    revision = models.PositiveIntegerField(default=0)
    frozen_at = models.DateTimeField(null=True, blank=True)
    notes = models.TextField(blank=True, help_text=_("shown beside the graph for the discussion"))
    pins = models.JSONField(default=list, db_default=[], blank=True)  # notes at points of the graph: team, value, words
    is_open = models.BooleanField(default=True)  # whether teams may enter readings
    # while frozen: team's id, says and claim, as they then stood
    claims = models.JSONField(default=list, db_default=[], blank=True)

    objects = LabBoardQuerySet.as_manager()

    def __str__(self) -> str:
        return f"board of {self.assignment}"
