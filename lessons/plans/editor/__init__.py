"""The editor of a lesson plan: what is typed, row by row, and what it would become."""

from lessons.plans.editor.form import PlanForm

__all__ = ["PlanForm"]
