"""A class list as plain values and back: what a page carries between preview and saving. No problems or notes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lessons.rosters.values import Roster, RosterClass, RosterStudent


def to_plain(listed: RosterClass) -> dict[str, Any]:
    """JSON values of everything that counts for saving."""
    roster = listed.roster
    return {
        "class": [listed.sourced_id, listed.title, listed.school_year, listed.term],
        "students": [[s.nickname, s.team, s.sourced_id, s.initial, s.row] for s in roster.students],
        "whole": roster.is_whole,
        "ours": roster.names_are_ours,
        "gone": list(roster.gone),
    }


def from_plain(values: Mapping[str, Any]) -> RosterClass:
    """The same list again."""
    students = tuple(RosterStudent(*each) for each in values["students"])
    roster = Roster(students, (), (), values["whole"], values["ours"], tuple(values["gone"]))
    sourced_id, title, school_year, term = values["class"]
    return RosterClass(sourced_id, title, school_year, term, roster)
