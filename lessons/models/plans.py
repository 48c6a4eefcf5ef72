"""Lesson plans and the kits of parts they need."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from lessons.models.classes import SchoolClass
from lessons.models.measured import MeasuredFile
from lessons.print_settings import in_force
from makerlab.accounts.models import User
from meshcheck.types import Gauge


class LessonPlanQuerySet(models.QuerySet["LessonPlan"]):
    def visible_to(self, user: User) -> LessonPlanQuerySet:
        """Staff see the school's plans; students those given to their class."""
        plans = self.filter(school_id=user.school_id)
        if user.is_student:
            return plans.filter(assignments__school_class__in=SchoolClass.objects.visible_to(user)).distinct()
        return plans

    def editable_by(self, user: User) -> LessonPlanQuerySet:
        return self.filter(school_id=user.school_id) if user.is_teacher or user.is_administrator else self.none()


class LessonPlan(models.Model):
    """What is taught. ``content`` holds the written parts (objectives, materials, steps, cautions, rubric ...),
    each a list of plain values as described in docs/lesson-plan.md."""

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="lesson_plans")
    title = models.CharField(max_length=120)
    summary = models.TextField()
    grade_band = models.CharField(max_length=24)
    meetings_count = models.PositiveSmallIntegerField(default=1)
    group_size = models.PositiveSmallIntegerField(default=3)
    content = models.JSONField(default=dict, blank=True)
    version = models.PositiveIntegerField(default=1)  # grows with every saved change; see PlanVersion
    adapted_from = models.ForeignKey(
        "self", on_delete=models.SET_NULL, null=True, blank=True, related_name="adaptations"
    )
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = LessonPlanQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["school", "title"], name="one_plan_of_a_title")]

    def __str__(self) -> str:
        return self.title


class PlanVersion(models.Model):
    """A lesson plan as it was: its fields and content before a change, so that nothing written is lost."""

    plan = models.ForeignKey(LessonPlan, on_delete=models.CASCADE, related_name="versions")
    number = models.PositiveIntegerField()
    fields = models.JSONField()  # title, summary, grade_band, meetings_count, group_size, content
    saved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    saved_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-number"]
        constraints = [models.UniqueConstraint(fields=["plan", "number"], name="one_version_of_a_number")]

    def __str__(self) -> str:
        return f"{self.plan}, version {self.number}"


class KitPartQuerySet(models.QuerySet["KitPart"]):
    def visible_to(self, user: User) -> KitPartQuerySet:
        return self.filter(plan__in=LessonPlan.objects.visible_to(user))

    def editable_by(self, user: User) -> KitPartQuerySet:
        return self.filter(plan__in=LessonPlan.objects.editable_by(user))


class KitPart(MeasuredFile):
    """One printed part of a kit: its mesh, how many a team needs, how it is printed, whether students redesign it."""

    school_path = "plan__school_id"

    plan = models.ForeignKey(LessonPlan, on_delete=models.CASCADE, related_name="kit_parts")
    code = models.SlugField(max_length=40)
    name = models.CharField(max_length=60)
    task = models.TextField(blank=True, help_text=_("what a student is asked to make; for redesigned parts"))
    copies_per_team = models.PositiveSmallIntegerField(default=1)
    spares = models.PositiveSmallIntegerField(default=0)
    material = models.CharField(max_length=12, default="PLA")
    colour = models.CharField(max_length=24, default="white")
    settings = models.JSONField(default=dict, blank=True)  # PrintSettings fields that differ from the defaults
    redesignable = models.BooleanField(default=False)
    position = models.PositiveSmallIntegerField(default=0)
    archived_at = models.DateTimeField(null=True, blank=True)  # taken out of the kit after it was used; no copies then

    objects = KitPartQuerySet.as_manager()

    class Meta:
        ordering = ["position", "id"]
        constraints = [models.UniqueConstraint(fields=["plan", "code"], name="one_kit_part_of_a_code")]
        indexes = [models.Index(fields=["file"], name="kit_part_of_a_file")]  # who else has it, before it is deleted

    def __str__(self) -> str:
        return self.name

    def gauge_value(self) -> Gauge | None:
        """What a redesign must keep, or None when nothing is asked."""
        gauge = getattr(self, "gauge", None)
        return gauge.value() if gauge else None

    def clean(self) -> None:
        try:
            in_force(self)
        except (ValueError, TypeError) as error:
            raise ValidationError({"settings": str(error)}) from error


class PartGauge(models.Model):
    """What a redesigned part must keep. Empty: not asked."""

    kit_part = models.OneToOneField(KitPart, on_delete=models.CASCADE, related_name="gauge")
    hole_diameter_mm = models.FloatField(null=True, blank=True)
    hole_plus_mm = models.FloatField(default=0.10)
    hole_minus_mm = models.FloatField(default=0.05)
    hole_depth_mm = models.FloatField(null=True, blank=True)
    hole_depth_tolerance_mm = models.FloatField(default=0.25)
    through = models.BooleanField(null=True, blank=True)
    eccentricity_max_mm = models.FloatField(null=True, blank=True)
    size_x_mm = models.FloatField(null=True, blank=True)
    size_y_mm = models.FloatField(null=True, blank=True)
    size_z_mm = models.FloatField(null=True, blank=True)
    hub_diameter_mm = models.FloatField(null=True, blank=True, help_text=_("for the drawing of what to keep"))

    def __str__(self) -> str:
        return f"gauge of {self.kit_part}"

    def value(self, **changes: Any) -> Gauge:
        """The gauge as the check takes it."""
        sizes = (self.size_x_mm, self.size_y_mm, self.size_z_mm)
        box = None if None in sizes else (float(sizes[0] or 0), float(sizes[1] or 0), float(sizes[2] or 0))
        report = self.kit_part.report or {}
        values: dict[str, Any] = {
            "hole_diameter_mm": self.hole_diameter_mm,
            "hole_plus_mm": self.hole_plus_mm,
            "hole_minus_mm": self.hole_minus_mm,
            "hole_depth_mm": self.hole_depth_mm,
            "hole_depth_tolerance_mm": self.hole_depth_tolerance_mm,
            "through": self.through,
            "eccentricity_max_mm": self.eccentricity_max_mm,
            "size_max_mm": box,
            "hub_diameter_mm": self.hub_diameter_mm,
            "reference_volume_mm3": report.get("volume_mm3"),
            **self._bore(report.get("holes") or []),
        }
        return Gauge(**{**values, **changes})

    def _bore(self, holes: list[dict[str, Any]]) -> dict[str, Any]:
        """The shape of the kit part's own bore, where it was measured and is the hole asked for."""
        wanted = self.hole_diameter_mm
        meant = [hole for hole in holes if wanted and hole["certain"] and abs(hole["diameter_mm"] / wanted - 1) < 0.05]
        shape = meant[0].get("shape") if meant else None
        if not shape:
            return {}
        return {
            "bore_kind": shape["kind"],
            "bore_across_mm": shape["across_flats_mm"],
            "keyway_width_mm": shape["keyway_width_mm"],
            "keyway_depth_mm": shape["keyway_depth_mm"],
        }
