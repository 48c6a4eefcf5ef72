"""Class lists from outside: pasted, CSV, OneRoster CSV package. Pure: bytes and text in, frozen dataclasses out."""

from lessons.rosters.changes import Changes, Member, Rename, TeamMove, compare
from lessons.rosters.oneroster import read_oneroster
from lessons.rosters.problems import Problem, RosterRefused
from lessons.rosters.tables import read_csv, read_paste
from lessons.rosters.values import Package, Roster, RosterClass, RosterStudent

__all__ = [
    "Changes",
    "Member",
    "Package",
    "Problem",
    "Rename",
    "Roster",
    "RosterClass",
    "RosterRefused",
    "RosterStudent",
    "TeamMove",
    "compare",
    "read_csv",
    "read_oneroster",
    "read_paste",
]
