"""A lesson package from outside, read and checked: every fault named with its place, nothing taken on trust.

What is written in it goes through the editor's own checks and forms, so that a package can bring in nothing that a
teacher could not have typed. The engine looks at the meshes in a child process (``lessons.plans.package_look``).
"""

from __future__ import annotations

import hashlib
import json
import math
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lessons.actions.plans import OWN as PLAN_OWN
from lessons.packed import Archive
from lessons.plans import schema
from lessons.plans.checks import Checked, check_plan, told
from lessons.plans.package import CAPS, FORMAT, FORMAT_VERSION, LESSON, LESSON_BYTES_MOST, SUFFIXES
from lessons.plans.package_parts import PartIn, read_part

PARTS_MOST = 40
DEEPEST = 16
FOUND_MOST = 60
KNOWN = frozenset({"format", "format_version", "content", "kit", *PLAN_OWN})

_SENTENCES = {
    "too_large": gettext_lazy("This file is larger than the %(found)s a lesson package may have."),
    "zip_broken": gettext_lazy("This is no lesson package, or it is damaged or cut off. Export the lesson again."),
    "zip_locked": gettext_lazy("This package is locked with a password. Export it without one."),
    "zip_unsafe": gettext_lazy("This package holds a file name that points outside of it. It was not opened."),
    "zip_bomb": gettext_lazy("This package unpacks to far more than a lesson needs. It was not opened."),
    "zip_twice": gettext_lazy("This package holds a file twice. Nobody can tell which one counts."),
    "no_file": gettext_lazy("This package does not have a file that a lesson needs."),
}


class PackageRefused(Exception):
    """The package cannot be brought in. ``problems`` are sentences, one a fault."""

    def __init__(self, *problems: str) -> None:
        self.problems = list(problems)
        super().__init__(" ".join(self.problems))


def _refused(code: str, found: str = "", file: str = "") -> PackageRefused:
    named = "".join(sign if sign.isprintable() else "?" for sign in file or found)[:FOUND_MOST]
    words = _SENTENCES[code] % {"found": named}
    return PackageRefused(words if code == "too_large" or not named else f"{named}: {words}")


@dataclass
class Reading:
    """A lesson as a package has it. ``notes`` name what is there and will not be taken over."""

    fields: dict[str, Any]
    content: dict[str, Any]
    parts: list[PartIn] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def read(data: bytes) -> Reading:
    """Everything but what only the engine can tell of the meshes. Raises PackageRefused with every fault found."""
    archive = Archive(data, CAPS, _refused)
    if LESSON not in archive:
        raise PackageRefused(
            _("There is no %(name)s in it, so this is no lesson package. Choose a file that a lesson's page exported.")
            % {"name": LESSON}
        )
    lesson = _document(archive.read(LESSON, LESSON_BYTES_MOST))
    problems: list[str] = []
    own = {name: lesson[name] for name in PLAN_OWN if name in lesson}
    missing = [str(schema.FIELD_WORDS[name]) for name in PLAN_OWN if name not in lesson]
    problems += [_("%(field)s is missing.") % {"field": name} for name in missing]
    content = lesson.get("content", {})
    if not isinstance(content, dict):
        problems.append(_("“content” must be a table of fields."))
        content = {}
    checked = check_plan(own, content)
    problems += told(checked)
    parts, notes = _kit(lesson.get("kit", []), archive, problems)
    if problems:
        raise PackageRefused(*problems)
    unknown = sorted(name for name in lesson if name not in KNOWN)
    notes = [*_not_taken(archive, parts, unknown, checked), *notes]
    return Reading(checked.fields, checked.content, parts, notes)


def _not_taken(archive: Archive, parts: list[PartIn], unknown: list[str], checked: Checked) -> list[str]:
    named = {LESSON, *(part.place for part in parts)}
    spare = [name for name in archive.names if name not in named]
    left = [
        _("Not known here, left out: %(what)s") % {"what": name[:FOUND_MOST]} for name in (*unknown, *checked.ignored)
    ]
    return left + [
        _("A file no part of the kit names, left out: %(what)s") % {"what": name[:FOUND_MOST]} for name in spare
    ]


def _document(raw: bytes) -> dict[str, Any]:
    """``lesson.json`` as plain values. Raises PackageRefused."""
    try:
        text = raw.decode("utf-8-sig")
        lesson = json.loads(text, parse_constant=_no_number, object_pairs_hook=_no_doubles)
    except UnicodeDecodeError as error:
        raise PackageRefused(_("lesson.json is not written in UTF-8.")) from error
    except json.JSONDecodeError as error:
        raise PackageRefused(
            _("lesson.json is not written as JSON wants it: line %(line)d, sign %(sign)d.")
            % {"line": error.lineno, "sign": error.colno}
        ) from error
    except RecursionError as error:
        raise PackageRefused(_("lesson.json is nested deeper than a lesson can be.")) from error
    except ValueError as error:  # a number of thousands of digits, NaN, a name twice
        raise PackageRefused(
            _("lesson.json holds a value that cannot be: %(why)s") % {"why": str(error)[:90]}
        ) from error
    if not isinstance(lesson, dict) or lesson.get("format") != FORMAT:
        raise PackageRefused(
            _("lesson.json does not say that it is a “%(format)s”. Choose a file that a lesson's page exported.")
            % {"format": FORMAT}
        )
    version = lesson.get("format_version")
    if type(version) is not int or version != FORMAT_VERSION:
        raise PackageRefused(
            _("This package is of format version %(found)s; this Makerlab reads version %(known)d.")
            % {"found": str(version)[:12], "known": FORMAT_VERSION}
        )
    for text in _texts(lesson):
        if any(unicodedata.category(sign) in ("Cc", "Cs") and sign not in "\t\n\r" for sign in text):
            found = "".join(sign if sign.isprintable() else "?" for sign in text)[:FOUND_MOST]
            raise PackageRefused(_("lesson.json holds signs that are no text, here: %(found)s") % {"found": found})
    return lesson


def _no_number(name: str) -> float:
    raise ValueError(name)


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        names = [name for name, _value in pairs]
        raise ValueError(next(name for name in names if names.count(name) > 1)[:FOUND_MOST])
    return made


def _texts(value: Any, depth: int = 0) -> Iterator[str]:
    """Every text in plain values, names of fields too. Raises PackageRefused for what is nested too deep or endless."""
    if depth > DEEPEST:
        raise PackageRefused(_("lesson.json is nested deeper than a lesson can be."))
    if isinstance(value, str):
        yield value
    elif isinstance(value, float) and not math.isfinite(value):
        raise PackageRefused(_("lesson.json holds a number that is too large."))
    elif isinstance(value, list):
        for each in value:
            yield from _texts(each, depth + 1)
    elif isinstance(value, dict):
        for name, each in value.items():
            yield name
            yield from _texts(each, depth + 1)


def _kit(rows: Any, archive: Archive, problems: list[str]) -> tuple[list[PartIn], list[str]]:
    """The parts with their meshes' bytes held against their fingerprints; faults go to ``problems``."""
    if not isinstance(rows, list):
        problems.append(_("“kit” must be a list of parts."))
        return [], []
    if len(rows) > PARTS_MOST:
        problems.append(_("A kit has at most %(most)d parts.") % {"most": PARTS_MOST})
        return [], []
    parts: list[PartIn] = []
    notes: list[str] = []
    codes: set[str] = set()
    places: set[str] = set()
    for number, row in enumerate(rows, start=1):
        part, faults, more = read_part(row)
        name = str(row.get("name") or "")[:FOUND_MOST] if isinstance(row, Mapping) else ""
        label = _("Kit part %(number)d, %(name)s") % {"number": number, "name": name or "?"}
        if part is not None:
            if part.values["code"] in codes:
                faults.append(_("code: another part has it already."))
            if part.place in places:
                faults.append(_("file: another part has it already."))
            codes.add(part.values["code"])
            places.add(part.place)
            faults += _fetch(part, archive)
        problems += [f"{label}, {fault}" for fault in faults]
        notes += [f"{label}, {note}" for note in more]
        if part is not None:
            parts.append(part)
    return parts, notes


def _fetch(part: PartIn, archive: Archive) -> list[str]:
    """Take the part's mesh out of the archive; what is wrong with it."""
    if not part.place.lower().endswith(SUFFIXES):
        return [_("file: the kinds %(known)s are read.") % {"known": ", ".join(SUFFIXES)}]
    if part.place not in archive:
        return [_("file: %(place)s is not in the package.") % {"place": part.place[:FOUND_MOST]}]
    try:
        part.mesh = archive.read(part.place, settings.UPLOAD_MAX_BYTES)
    except PackageRefused as refused:
        return refused.problems
    if not part.mesh:
        return [_("file: %(place)s is empty.") % {"place": part.place[:FOUND_MOST]}]
    if hashlib.sha256(part.mesh).hexdigest() != part.values["sha256"]:
        return [_("file: %(place)s is not the file the lesson was exported with: its fingerprint (sha256) is another.")
                % {"place": part.place[:FOUND_MOST]}]  # fmt: skip
    return []
