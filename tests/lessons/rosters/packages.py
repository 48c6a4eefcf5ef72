"""OneRoster packages built from the published column tables.

Columns: 1EdTech, "OneRoster CSV Tables" 1.1 (17 April 2017) and "OneRoster CSV Binding" 1.2.1 (22 August 2023), in the
order of the tables. The columns that 1.2 adds to users.csv are written from memory. People and keys are invented.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence

Row = Mapping[str, str]
HEAD = ("sourcedId", "status", "dateLastModified")
USERS_1_1 = (
    *HEAD, "enabledUser", "orgSourcedIds", "role", "username", "userIds", "givenName", "familyName", "middleName",
    "identifier", "email", "sms", "phone", "agentSourcedIds", "grades", "password",
)  # fmt: skip
USERS_1_2 = (
    *HEAD, "enabledUser", "username", "userIds", "givenName", "familyName", "middleName", "identifier", "email", "sms",
    "phone", "agentSourcedIds", "grades", "password", "userMasterIdentifier", "resourceSourcedIds",
    "preferredGivenName", "preferredMiddleName", "preferredFamilyName", "primaryOrgSourcedId", "pronouns",
)  # fmt: skip
ROLES = (
    *HEAD, "userSourcedId", "roleType", "role", "beginDate", "endDate", "orgSourcedId", "userProfileSourcedId",
)  # fmt: skip
CLASSES = (
    *HEAD, "title", "grades", "courseSourcedId", "classCode", "classType", "location", "schoolSourcedId",
    "termSourcedIds", "subjects", "subjectCodes", "periods",
)  # fmt: skip
ENROLLMENTS = (
    *HEAD, "classSourcedId", "schoolSourcedId", "userSourcedId", "role", "primary", "beginDate", "endDate",
)  # fmt: skip
SESSIONS = (*HEAD, "title", "type", "startDate", "endDate", "parentSourcedId", "schoolYear")
ORGS = (*HEAD, "name", "type", "identifier", "parentSourcedId")
COURSES = (
    *HEAD, "schoolYearSourcedId", "title", "courseCode", "grades", "orgSourcedId", "subjects", "subjectCodes",
)  # fmt: skip
DEMOGRAPHICS = (*HEAD, "birthDate", "sex")
FILES = {
    "1.1": ("academicSessions", "classes", "courses", "demographics", "enrollments", "orgs", "users"),
    "1.2": ("academicSessions", "classes", "courses", "demographics", "enrollments", "orgs", "roles", "users"),
}
SECRETS = ("hunter-green-9", "0151-5550199", "0160-5550142", "juno@school.invalid", "2014-03-09", "Quillfeather")


def table(columns: Sequence[str], rows: Sequence[Row]) -> bytes:
    """A CSV file as the standard wants it (RFC 4180: CRLF, quotes where needed)."""
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def manifest(version: str, mode: str = "bulk", **modes: str) -> bytes:
    named = {f"file.{name}": modes.get(name, mode) for name in FILES.get(version, FILES["1.1"])}
    values = {"manifest.version": "1.0", "oneroster.version": version, **named, "source.systemName": "Invented Rolls"}
    return table(("propertyName", "value"), [{"propertyName": k, "value": v} for k, v in values.items()])


def user(key: str, given: str, family: str = "Quillfeather", role: str = "student", **more: str) -> dict[str, str]:
    """A person with everything a class list must never take over."""
    private = {"email": SECRETS[3], "sms": SECRETS[1], "phone": SECRETS[2], "password": SECRETS[0]}
    base = {"sourcedId": key, "enabledUser": "true", "orgSourcedIds": "org-1", "role": role, "username": key}
    return {**base, "givenName": given, "familyName": family, **private, **more}


def enrollment(key: str, into: str, who: str, role: str = "student", **more: str) -> dict[str, str]:
    base = {"sourcedId": key, "classSourcedId": into, "schoolSourcedId": "org-1", "userSourcedId": who, "role": role}
    return {**base, **more}


PEOPLE = (
    user("u-1", "Juno"), user("u-2", "Pip", "Alder"), user("u-3", "Pip", "Birch"), user("t-1", "Olga", role="teacher"),
    user("u-4", "Zuri"),
)  # fmt: skip
LESSON_CLASSES = (
    {"sourcedId": "c-1", "title": "Science 7B", "courseSourcedId": "k-1", "classType": "scheduled",
     "schoolSourcedId": "org-1", "termSourcedIds": "s-1"},
    {"sourcedId": "c-2", "title": "Science 8A", "courseSourcedId": "k-1", "classType": "scheduled",
     "schoolSourcedId": "org-1", "termSourcedIds": "s-1,s-2"},
)  # fmt: skip
ENROLLED = (
    enrollment("e-1", "c-1", "u-1"), enrollment("e-2", "c-1", "u-2"), enrollment("e-3", "c-1", "u-3"),
    enrollment("e-4", "c-1", "t-1", "teacher", primary="true"), enrollment("e-5", "c-2", "u-4"),
)  # fmt: skip
TERMS = (
    {"sourcedId": "s-1", "title": "Autumn", "type": "term", "startDate": "2026-08-24", "endDate": "2026-12-18",
     "schoolYear": "2027"},
    {"sourcedId": "s-2", "title": "Spring", "type": "term", "startDate": "2027-01-05", "endDate": "2027-06-04",
     "schoolYear": "2027"},
)  # fmt: skip


def role(person: Row) -> dict[str, str]:
    values = {"sourcedId": f"r-{person['sourcedId']}", "userSourcedId": person["sourcedId"], "roleType": "primary"}
    return {**values, "role": person["role"], "orgSourcedId": "org-1"}


def files(version: str = "1.1", people: Sequence[Row] = PEOPLE, enrolled: Sequence[Row] = ENROLLED) -> dict[str, bytes]:
    """All files of a whole package by name."""
    wanted = {
        "manifest.csv": manifest(version),
        "academicSessions.csv": table(SESSIONS, TERMS),
        "classes.csv": table(CLASSES, LESSON_CLASSES),
        "courses.csv": table(COURSES, [{"sourcedId": "k-1", "title": "Science", "orgSourcedId": "org-1"}]),
        "demographics.csv": table(DEMOGRAPHICS, [{"sourcedId": "u-1", "birthDate": SECRETS[4], "sex": "female"}]),
        "enrollments.csv": table(ENROLLMENTS, enrolled),
        "orgs.csv": table(ORGS, [{"sourcedId": "org-1", "name": "Alderwick School", "type": "school"}]),
    }
    if version == "1.1":
        return {**wanted, "users.csv": table(USERS_1_1, people)}
    kept = [{name: value for name, value in person.items() if name in USERS_1_2} for person in people]
    return {**wanted, "users.csv": table(USERS_1_2, kept), "roles.csv": table(ROLES, [role(p) for p in people])}


def packed(members: Mapping[str, bytes], folder: str = "") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in members.items():
            package.writestr(folder + name, data)
    return out.getvalue()


def package(version: str = "1.1", **changed: bytes | None) -> bytes:
    """A whole package; ``users=...`` puts in another users.csv, None leaves it out."""
    members = files(version)
    for name, data in changed.items():
        members.pop(f"{name}.csv", None)
        if data is not None:
            members[f"{name}.csv"] = data
    return packed(members)
