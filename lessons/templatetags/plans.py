"""Small tags of the pages that show a lesson plan."""

from __future__ import annotations

from django import template

from lessons.plans import cautions

register = template.Library()
register.filter("told", cautions.told)
