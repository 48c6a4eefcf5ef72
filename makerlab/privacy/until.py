"""How a personal field is described."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Personal:
    """One personal field: what it is, whose, and ``until`` when it stays."""

    field: str
    what: str
    whose: str
    until: str


SESSION = "the session ends: 2 hours for pupils, 10 for staff, at once with the person"
LOCK = "the next sign-in of staff after the lock of 15 minutes"
ACCOUNT = "the staff account is deleted, or the school"
CLASS = "the class is deleted (school's days after its archiving), or the pupil"
RECORDS = "a year and the school's days are over"
ANSWER = "the next daily run after a day"
