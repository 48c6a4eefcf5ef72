"""The records of who did what, in words."""

from __future__ import annotations

from django import template

from makerlab.audit import words

register = template.Library()
register.filter("did", words.did)
register.filter("with_what", words.with_what)
