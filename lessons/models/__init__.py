"""Lesson plans and kits, classes and meetings, assignments, the school's calendar."""

from lessons.models.assignments import Assignment
from lessons.models.calendar import DayKind, Period, SchoolDay, Term
from lessons.models.classes import Meeting, Membership, SchoolClass, Team
from lessons.models.estimates import PartEstimate
from lessons.models.lab import Argument, Coasting, LabBoard, Mark, Reading
from lessons.models.measured import CheckState, MeasuredFile
from lessons.models.packages import LessonPackage
from lessons.models.plans import KitPart, LessonPlan, PartGauge, PlanVersion

__all__ = [
    "Argument",
    "Assignment",
    "CheckState",
    "Coasting",
    "DayKind",
    "KitPart",
    "LabBoard",
    "LessonPackage",
    "LessonPlan",
    "Mark",
    "MeasuredFile",
    "Meeting",
    "Membership",
    "PartEstimate",
    "PartGauge",
    "Period",
    "PlanVersion",
    "Reading",
    "SchoolClass",
    "SchoolDay",
    "Team",
    "Term",
]
