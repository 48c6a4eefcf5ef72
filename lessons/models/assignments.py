"""A lesson plan given to a class."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from lessons.models.classes import Meeting, SchoolClass
from lessons.models.plans import LessonPlan
from makerlab.accounts.models import User


class AssignmentQuerySet(models.QuerySet["Assignment"]):
    def visible_to(self, user: User) -> AssignmentQuerySet:
        return self.filter(school_class__in=SchoolClass.objects.visible_to(user))

    def editable_by(self, user: User) -> AssignmentQuerySet:
        return self.filter(school_class__in=SchoolClass.objects.editable_by(user))


class Assignment(models.Model):
    """Who gets which plan, until when files may come in, for which meeting the parts are needed, and the limits."""

    plan = models.ForeignKey(LessonPlan, on_delete=models.PROTECT, related_name="assignments")
    school_class = models.ForeignKey(SchoolClass, on_delete=models.CASCADE, related_name="assignments")
    meeting = models.ForeignKey(Meeting, on_delete=models.PROTECT, related_name="assignments")
    upload_by = models.DateTimeField()
    mass_max_g = models.FloatField(null=True, blank=True)  # for one printed file
    duration_max_s = models.FloatField(null=True, blank=True)
    size_max_mm = models.FloatField(null=True, blank=True)  # longest side of one printed file
    # what the teacher changed for this class: {code of a kit part: PrintSettings fields that differ from the kit's}
    print_settings = models.JSONField(default=dict, blank=True)
    files_max = models.PositiveSmallIntegerField(default=20)  # versions of one part a team may upload
    priority = models.PositiveSmallIntegerField(default=1)  # weight of this class in the plan
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    objects = AssignmentQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "school_class", "meeting"], name="one_assignment_a_meeting")
        ]

    def __str__(self) -> str:
        return f"{self.plan} for {self.school_class}"

    @property
    def is_open(self) -> bool:
        return timezone.now() <= self.upload_by
