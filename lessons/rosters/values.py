"""What was read from a class list. No family name, e-mail, telephone, password or birthday has a place here."""

from __future__ import annotations

from dataclasses import dataclass

from lessons.rosters.problems import Problem


@dataclass(frozen=True, slots=True)
class RosterStudent:
    """One student of a list. ``team`` as it was written, ``sourced_id`` the key of the school's own system; empty:
    not said. ``initial`` is used only when two students of a class would otherwise have one nickname."""

    nickname: str
    team: str = ""
    sourced_id: str = ""
    initial: str = ""
    row: int = 0


@dataclass(frozen=True, slots=True)
class Roster:
    """The students of one class. ``problems`` are rows left out, ``notes`` what was read otherwise than written.

    ``is_whole``: who is not in it has left the class. ``names_are_ours``: the list holds names, not nicknames, so a
    nickname somebody has already is kept. ``gone``: keys the list itself names as having left.
    """

    students: tuple[RosterStudent, ...]
    problems: tuple[Problem, ...] = ()
    notes: tuple[Problem, ...] = ()
    is_whole: bool = True
    names_are_ours: bool = False
    gone: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RosterClass:
    """One class of a package, with what its list says. ``school_year`` as 2026-27, empty when not said."""

    sourced_id: str
    title: str
    school_year: str
    term: str
    roster: Roster


@dataclass(frozen=True, slots=True)
class Package:
    """A OneRoster CSV package: its version as stated or found, its classes by title, and what could not be read."""

    version: str
    classes: tuple[RosterClass, ...]
    problems: tuple[Problem, ...] = ()
    notes: tuple[Problem, ...] = ()
