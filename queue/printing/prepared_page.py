"""Prepared files as a plate's page shows them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import CheckState
from lessons.told import reworded
from makerlab.accounts.models import User
from makerlab.components import figures, marks
from printing import permissions
from printing.models import Plate, PreparedFile, Printer
from printing.prepared import fits, may_stand, was_read
from printing.prepared_forms import DIALECT_WORDS, PreparedForm

Mark = tuple[str, str, str | Promise]


@dataclass(frozen=True, slots=True)
class FileLine:
    """One statement about a file: its mark, what is said, and the figures behind it."""

    mark: Mark
    title: str
    figure: str
    mend: str = ""


@dataclass(frozen=True, slots=True)
class FileRow:
    """One prepared file with all that is known of it."""

    file: PreparedFile
    mark: Mark
    dialect: str | Promise
    lines: list[FileLine]
    own: Mapping[str, Any]
    metres: str
    can_use: bool
    asks_compared: bool


def section(
    plate: Plate, user: User, form: PreparedForm | None = None, printers: Sequence[Printer] | None = None
) -> dict[str, Any]:
    """What the section shows; the form only to those who may bring a file. ``printers``: of the room, where the caller
    has read them."""
    can_prepare = permissions.can_prepare(user, plate)
    files = plate.prepared_files.select_related("kind", "uploaded_by")
    rows = [_row(file, can_prepare) for file in files]
    return {
        "plate": plate,
        "rows": rows,
        "can_prepare": can_prepare,
        "form": (form or PreparedForm(plate=plate, printers=printers)) if can_prepare else None,
        "reading": any(file.check_state == CheckState.CHECKING for file in files),
    }


def _row(file: PreparedFile, can_prepare: bool) -> FileRow:
    reading = file.reading or {}
    return FileRow(
        file=file,
        mark=_mark(file),
        dialect=DIALECT_WORDS.get(file.dialect, (file.dialect, ""))[0],
        lines=_lines(reading),
        own=reading.get("own") or {},
        metres=figures.with_unit((reading.get("facts") or {}).get("net_mm", 0) / 1000, "m", 1),
        can_use=can_prepare and not file.stands and may_stand(file),
        asks_compared=not fits(file),
    )


def _mark(file: PreparedFile) -> Mark:
    if file.check_state == CheckState.CHECKING:
        return "live", "s-run", _("being read")
    if file.check_state == CheckState.FAILED or not was_read(file):
        return "bad", "s-fix", _("could not be used")
    if file.stands:
        return "good", "s-pass", _("stands for the plate")
    if fits(file):
        return "plain", "s-back", _("fits; does not stand")
    return "care", "s-advice", _("does not fit in everything")


def _lines(reading: Mapping[str, Any]) -> list[FileLine]:
    """What was found, what must be fixed first, and what the time leaves out."""
    if "rejected" in reading:
        refused = reworded(reading["rejected"])
        return [FileLine(marks.LEVELS["must_fix"], refused["message"], "", refused["mend"])]
    order = {"must_fix": 0, "advice": 1, "passes": 2}
    findings = sorted(map(reworded, reading.get("findings") or ()), key=lambda each: order[each["level"]])
    lines = [_line(finding) for finding in findings]
    return lines + _left_out(reading.get("facts") or {})


def _line(finding: Mapping[str, Any]) -> FileLine:
    kind, icon_name, _word = marks.LEVELS[finding["level"]]
    word = {"passes": _("fits"), "advice": _("look at it"), "must_fix": _("does not fit")}[finding["level"]]
    mend = "" if finding["level"] == "passes" else finding.get("mend") or finding.get("why") or ""
    return FileLine((kind, icon_name, word), finding["title"], finding["figure"], mend)


def _left_out(facts: Mapping[str, Any]) -> list[FileLine]:
    """What somebody must know who goes by the file's time or grams."""
    told = []
    look: Mark = ("care", "s-advice", _("look at it"))
    if facts.get("untimed"):
        count = facts["untimed"]
        words = ngettext("%(count)d probing of the bed", "%(count)d probings of the bed", count) % {"count": count}
        told.append(FileLine(look, _("The time leaves something out"), words, _("It takes longer than it says here.")))
    if facts.get("pauses"):
        count = facts["pauses"]
        words = ngettext("%(count)d pause", "%(count)d pauses", count) % {"count": count}
        told.append(FileLine(look, _("It waits for somebody"), words, _("Somebody must stand by.")))
    if len(facts.get("tools") or ()) > 1:
        words = _("%(count)d extruders") % {"count": len(facts["tools"])}
        told.append(FileLine(look, _("It uses more than one extruder"), words, _("A plate has one colour.")))
    return told
