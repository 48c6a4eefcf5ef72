"""A OneRoster CSV package as classes with their students (1EdTech OneRoster CSV 1.1 and 1.2).

In a bulk package a row without status is active and who is not enrolled has left; in a package of changes (delta) only
rows marked ``tobedeleted`` say that somebody left. From 1.2 on the role of a person stands in roles.csv.
"""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime

from lessons.packed import MEGABYTE, Archive, Caps
from lessons.rosters import names
from lessons.rosters.oneroster_files import Files, Line
from lessons.rosters.problems import Problem, RosterRefused
from lessons.rosters.values import Package, Roster, RosterClass, RosterStudent

CLASS_NAME_MAX = 40
TERM_MAX = 40
STUDENT = "student"
DATE_FORMS = ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y")
# the standard knows some twenty files
PACKAGE = Caps(packed_bytes=10 * MEGABYTE, unpacked_bytes=64 * MEGABYTE, members=100)


def read_oneroster(data: bytes, today: date) -> Package:
    """Read a zip package. ``today`` decides which enrollments are over. Raises RosterRefused."""
    files = Files(Archive(data, PACKAGE, RosterRefused))
    files.read_manifest()
    return _Builder(files, today).package()


@dataclass(frozen=True, slots=True)
class _Person:
    name: str
    initial: str
    is_student: bool | None  # None: no file says
    is_enabled: bool
    is_gone: bool


@dataclass(slots=True)
class _Class:
    title: str = ""
    school_year: str = ""
    term: str = ""
    has_ended: bool = False
    students: dict[str, RosterStudent] = field(default_factory=dict)
    gone: dict[str, None] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


@dataclass(slots=True)
class _Builder:
    files: Files
    today: date
    left_out: Counter[str] = field(default_factory=Counter)

    def package(self) -> Package:
        people, classes = self.people(), self.classes()
        for line in self.files.lines("enrollments.csv"):
            if line["role"].casefold() == STUDENT:
                self.enroll(line, people, classes)
        found = [self.finished(key, each) for key, each in classes.items() if each.students or each.gone]
        if not found:
            raise RosterRefused("no_class")
        notes = [Problem(code, found=str(count)) for code, count in self.left_out.items()]
        if self.files.is_delta("enrollments.csv"):
            notes.append(Problem("changes_only"))
        ordered = sorted(found, key=lambda each: (names.key(each.title), each.sourced_id))
        notes = [*self.files.notes, *notes]
        return Package(self.files.version, tuple(ordered), tuple(self.files.problems), tuple(notes))

    def people(self) -> dict[str, _Person]:
        roles = self.roles()
        people = {}
        for line in self.files.lines("users.csv"):
            role = line["role"].casefold()
            stated = (role == STUDENT) if role and self.files.version == "1.1" else None
            family = names.clean(line["familyName"])
            people[line.sourced_id] = _Person(
                names.clean(line["preferredGivenName"]) or names.clean(line["givenName"]),
                family[:1],
                roles.get(line.sourced_id, stated),
                line["enabledUser"].casefold() != "false",
                line.is_gone,
            )
        return people

    def roles(self) -> dict[str, bool]:
        """Who is a student by roles.csv, among those it names. Version 1.1 has no such file."""
        if self.files.version == "1.1":
            return {}
        if not self.files.has("roles.csv"):
            self.files.notes.append(Problem("no_roles"))
            return {}
        roles: dict[str, bool] = {}
        for line in self.files.lines("roles.csv"):
            counts = line["role"].casefold() == STUDENT and not line.is_gone and not self.is_over(line)
            roles[line["userSourcedId"]] = roles.get(line["userSourcedId"], False) or counts
        return roles

    def classes(self) -> dict[str, _Class]:
        sessions = {}
        if self.files.has("academicSessions.csv"):
            sessions = {line.sourced_id: line for line in self.files.lines("academicSessions.csv")}
        classes = {}
        # a package of changes may leave out the classes that did not change
        lines = self.files.lines("classes.csv") if self.needs_classes() else []
        for line in lines:
            if line.is_gone:
                self.left_out["classes_ended"] += 1
                classes[line.sourced_id] = _Class(has_ended=True)
                continue
            title = names.clean(line["title"]) or line.sourced_id
            if len(title) > CLASS_NAME_MAX:
                self.files.notes.append(Problem("long_title", line.row, title, "classes.csv"))
            terms = [sessions[key.strip()] for key in line["termSourcedIds"].split(",") if key.strip() in sessions]
            classes[line.sourced_id] = _Class(
                title[:CLASS_NAME_MAX].rstrip(),
                next((year for term in terms if (year := school_year(term["schoolYear"]))), ""),
                ", ".join(names.clean(term["title"]) for term in terms)[:TERM_MAX],
            )
        return classes

    def needs_classes(self) -> bool:
        return self.files.has("classes.csv") or not self.files.is_delta("enrollments.csv")

    def enroll(self, line: Line, people: dict[str, _Person], classes: dict[str, _Class]) -> None:
        """Put one enrolled student into the class, or say why not."""
        key, who = line["classSourcedId"], line["userSourcedId"]
        if key not in classes:
            if not (key and self.files.is_delta("enrollments.csv")):
                self.files.problems.append(Problem("unknown_class", line.row, key, "enrollments.csv"))
                return
            classes[key] = _Class()
        into, person = classes[key], people.get(who)
        if into.has_ended:
            return
        if line.is_gone or (person and person.is_gone):
            into.gone[who] = None
        elif person is None:
            into.problems.append(Problem("unknown_user", line.row, who, "enrollments.csv"))
        elif person.is_student is False:
            into.problems.append(Problem("not_student", line.row, person.name, "enrollments.csv"))
        elif not person.is_enabled:
            self.left_out["not_enabled"] += 1
        elif self.is_over(line):
            self.left_out["ended"] += 1
        elif code := names.fault(person.name):
            into.problems.append(Problem(code, line.row, person.name, "enrollments.csv"))
        else:
            into.students[who] = RosterStudent(person.name, "", who, person.initial, line.row)

    def is_over(self, line: Line) -> bool:
        """Whether its end date is past. A date nobody can read for certain ends nothing, and is counted."""
        if not line["endDate"]:
            return False
        past = {day < self.today for day in readings(line["endDate"])}
        if len(past) != 1:
            self.left_out["odd_dates"] += 1
        return past == {True}

    def finished(self, key: str, each: _Class) -> RosterClass:
        is_whole = not self.files.is_delta("enrollments.csv")
        gone = tuple(who for who in each.gone if who not in each.students)
        students = tuple(sorted(each.students.values(), key=lambda student: student.row))
        roster = Roster(students, tuple(each.problems), (), is_whole, True, gone)
        return RosterClass(key, each.title, each.school_year, each.term, roster)


def readings(text: str) -> set[date]:
    """The days a date can mean: as the standard writes it, or as table programs do (24.11.2026, 24/11/2026,
    11/24/2026)."""
    found = set()
    for form in DATE_FORMS:
        with suppress(ValueError):
            found.add(datetime.strptime(text if "%Y-" not in form else text[:10], form).date())
    return found


def school_year(ends_in: str) -> str:
    """2027, the year in which it ends, as 2026-27; empty when it is not a year."""
    if len(ends_in) != 4 or not ends_in.isdecimal():
        return ""
    year = int(ends_in)
    return f"{year - 1}-{year % 100:02d}"
