"""Files students hand in, version by version, and what the teacher decided."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lessons.models import Assignment, KitPart, MeasuredFile, Team
from makerlab.accounts.models import User
from submissions.states import State


class SubmissionQuerySet(models.QuerySet["Submission"]):
    def visible_to(self, user: User) -> SubmissionQuerySet:
        """Students see their own team's; staff what belongs to the classes they may see."""
        return self.filter(team__in=Team.objects.visible_to(user))

    def editable_by(self, user: User) -> SubmissionQuerySet:
        """A student edits the team's, a teacher the class's; technicians only look."""
        return self.none() if user.is_technician else self.visible_to(user)

    def light(self) -> SubmissionQuerySet:
        """Without the report and the picture: for lists."""
        return self.defer("report", "picture")

    def newest_first(self) -> SubmissionQuerySet:
        return self.order_by("-version", "-id")


class Submission(MeasuredFile):
    """One uploaded file for one kit part: version 1, 2, 3 of a team's design."""

    school_path = "assignment__school_class__school_id"

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="submissions")
    kit_part = models.ForeignKey(KitPart, on_delete=models.PROTECT, related_name="submissions")
    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="submissions")
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    uploaded_at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    handed_in_at = models.DateTimeField(null=True, blank=True)
    hand_in_note = models.CharField(max_length=400, blank=True)  # why a part with must-fix findings came in anyway

    objects = SubmissionQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["assignment", "kit_part", "team", "version"], name="one_file_a_version"),
        ]
        indexes = [
            models.Index(fields=["assignment", "state"]),
            models.Index(fields=["team"], condition=models.Q(state="handed_in"), name="submission_waiting_for_review"),
            # what a school stores is added up with each upload, from the index alone
            models.Index(fields=["assignment", "file", "file_bytes"], name="submission_stored_bytes"),
            models.Index(fields=["kit_part", "design_volume_mm3"], name="submission_of_a_design"),  # look-alikes
            models.Index(fields=["file"], name="submission_of_a_file"),  # who else has it, before it is deleted
        ]

    def __str__(self) -> str:
        return f"{self.kit_part}, version {self.version}"


class Review(models.Model):
    """A teacher's decision on one submission. The newest one counts; older ones stay on record."""

    class Decision(models.TextChoices):
        APPROVED = "approved", "approved"
        RETURNED = "returned", "sent back"

    submission = models.ForeignKey(Submission, on_delete=models.CASCADE, related_name="reviews")
    reviewer = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    decision = models.CharField(max_length=8, choices=Decision.choices)
    note = models.TextField(blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.submission} {self.decision}"
