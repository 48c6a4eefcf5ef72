"""Small tags of the pages that show a lesson plan."""

from __future__ import annotations

from django import template

from lessons.plans import cautions, schema

register = template.Library()
register.filter("told", cautions.told)
register.filter("assessed_when", schema.assessed_when)
