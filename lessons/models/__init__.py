"""Lesson plans and kits, classes and meetings, assignments, the school's calendar."""

from lessons.models.assignments import Assignment
from lessons.models.calendar import DayKind, Period, SchoolDay
from lessons.models.classes import Meeting, Membership, SchoolClass, Team
from lessons.models.measured import CheckState, MeasuredFile
from lessons.models.plans import KitPart, LessonPlan, PartGauge

__all__ = [
    "Assignment",
    "CheckState",
    "DayKind",
    "KitPart",
    "LessonPlan",
    "MeasuredFile",
    "Meeting",
    "Membership",
    "PartGauge",
    "Period",
    "SchoolClass",
    "SchoolDay",
    "Team",
]
