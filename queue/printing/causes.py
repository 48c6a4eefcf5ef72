"""Why a room was planned anew: kept as a code with facts, and put into words for whoever reads it.

A cause is a mapping that JSON can hold: ``code`` and what its sentence names. Printers, plates and people stand in it
as they were called then; times as ISO 8601. ``actor`` is the id of the person who did it, so that they read "you".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from makerlab.accounts.models import User
from makerlab.components.figures import day_clock, hours_and_minutes, short_day
from printing.models import Plate

Cause = Mapping[str, Any]
TOLD = 2  # more are only counted
KEPT = 12  # of more at once the others are not kept
LATE_MIN = 5  # a start so little after its time is on time (our own choice)

# each after "because": it begins small, unless with a name
WORDS: dict[str, Any] = {
    # the bench
    "started": gettext_lazy("%(plate)s was started on %(printer)s"),
    "started_late": gettext_lazy("%(plate)s was started %(late)s late on %(printer)s"),
    "finished": gettext_lazy("%(plate)s finished on %(printer)s"),
    "failed": gettext_lazy("%(printer)s failed %(plate)s"),
    "stopped": gettext_lazy("%(printer)s stopped %(plate)s"),
    "outage": gettext_lazy("%(printer)s is out of service: %(reason)s"),
    "back": gettext_lazy("%(printer)s is back in service"),
    "spool_loaded": gettext_lazy("%(spool)s was loaded on %(printer)s"),
    "spool_weighed": gettext_lazy("%(spool)s was weighed"),
    "start_undone": gettext_lazy("the start of %(plate)s on %(printer)s was taken back"),
    "clear_undone": gettext_lazy("the clearing of %(plate)s on %(printer)s was taken back"),
    "freed": gettext_lazy("%(plate)s may be laid out anew"),
    # the queue
    "approved": gettext_lazy("%(part)s of %(team)s was approved"),
    "approval_undone": gettext_lazy("the approval of %(part)s of %(team)s was taken back"),
    "moved_up": gettext_lazy("%(who)s moved %(what)s up in the queue"),
    "moved_down": gettext_lazy("%(who)s moved %(what)s down in the queue"),
    "to_room": gettext_lazy("parts of %(group)s are printed in %(room)s from now on"),
    "moved_to": gettext_lazy("%(who)s moved %(what)s in the queue"),
    "request_held": gettext_lazy("%(who)s put %(what)s on hold"),
    "request_released": gettext_lazy("%(what)s is on hold no more"),
    "request_urgent": gettext_lazy("%(what)s is urgent: %(reason)s"),
    "request_usual": gettext_lazy("%(what)s is urgent no more"),
    "copies": gettext_lazy("%(who)s wants %(count)d of %(what)s"),
    "cancelled": gettext_lazy("%(what)s was cancelled"),
    # the plan
    "asked": gettext_lazy("%(who)s asked for it"),
    "arranged": gettext_lazy("%(who)s laid %(plate)s out by hand"),
    "given_back": gettext_lazy("%(plate)s was given back to the planner"),
    "let_go": gettext_lazy("%(plate)s was let go"),
    "file_prepared": gettext_lazy("%(plate)s has a prepared file"),
    "file_withdrawn": gettext_lazy("the prepared file of %(plate)s was withdrawn"),
    "plate_size": gettext_lazy("another plate size was chosen"),
    "plate_size_free": gettext_lazy("the plate size is left to the plan again"),
    "tried": gettext_lazy("what %(who)s tried was applied"),
    # the room
    "hours_added": gettext_lazy("extra hours were added: %(day)s, %(begins)s to %(ends)s"),
    "hours_removed": gettext_lazy("extra hours were removed: %(day)s, %(begins)s to %(ends)s"),
    "room": gettext_lazy("%(room)s and its hours were changed"),
    "unattended": gettext_lazy("printing with nobody in the room is permitted"),
    "attended": gettext_lazy("printing with nobody in the room is not permitted any more"),
    "printer_unattended": gettext_lazy("%(printer)s may print with nobody in the room"),
    "printer_attended": gettext_lazy("%(printer)s may not print with nobody in the room"),
    "printer_added": gettext_lazy("%(printer)s was added"),
    "printer_described": gettext_lazy("%(printer)s was described"),
    "printer_removed": gettext_lazy("%(printer)s was taken away"),
    "kind_described": gettext_lazy("printers of the kind %(kind)s were described anew"),
    "area_kept": gettext_lazy("part of the bed of %(kind)s stays free"),
    "area_used": gettext_lazy("an area of the bed of %(kind)s may be used again"),
    # lessons
    "settings": gettext_lazy("the print settings of %(part)s changed"),
    "meeting_moved": gettext_lazy("the lab day of %(group)s was moved"),
    "days_changed": gettext_lazy("the school's days changed"),
    # from before causes were kept as facts
    "told": gettext_lazy("%(words)s"),
}
COUNTED = {"partly", "spares", "fixed"}  # whose words depend on a figure, or on which facts there are


def cause(code: str, actor: User | None = None, **facts: Any) -> dict[str, Any]:
    """A cause to be kept. Raises KeyError for a code nobody can put into words. Facts other than numbers become text,
    as they are called now."""
    if code not in WORDS and code not in COUNTED:
        raise KeyError(code)
    kept = {name: fact if isinstance(fact, int) else str(fact) for name, fact in facts.items() if fact is not None}
    who = {"actor": actor.pk, "who": actor.display_name} if actor is not None else {}
    return {"code": code, **who, **kept}


def fixed(plate: Plate) -> dict[str, Any]:
    """Staff have fixed a plate's printer, start or order."""
    at = plate.pin_setup_at.isoformat() if plate.pin_setup_at else None
    return cause("fixed", plate=plate, printer=plate.pin_printer, at=at, after=plate.pin_after)


def merged(causes: Iterable[Cause]) -> list[dict[str, Any]]:
    """Each once, in their order; KEPT at most."""
    found: list[dict[str, Any]] = []
    for each in causes:
        if dict(each) not in found:
            found.append(dict(each))
    return found[:KEPT]


def sentence(causes: Sequence[Cause], reader: User | None = None) -> str:
    """Why a plan was made, for that reader: "Wren failed P6; you moved wheel for Voles up in the queue"."""
    told = [words(each, reader) for each in causes]
    if len(told) > TOLD:
        more = len(told) - 1
        return ngettext("%(first)s, and %(count)d more change", "%(first)s, and %(count)d more changes", more) % {
            "first": told[0],
            "count": more,
        }
    return "; ".join(told)


def words(each: Cause, reader: User | None = None) -> str:
    """One cause."""
    facts = dict(each)
    code = facts.get("code", "")
    if reader is not None and facts.get("actor") == reader.pk:
        facts["who"] = _("you")
    if code == "partly":
        lost = ngettext("%(plate)s on %(printer)s: one lost", "%(plate)s on %(printer)s: %(lost)d lost", facts["lost"])
        return lost % facts
    if code == "spares":
        more = ngettext(
            "one more of each part was ordered for %(group)s",
            "%(more)d more of each part were ordered for %(group)s",
            facts["more"],
        )
        return more % facts
    if code == "fixed":
        return _("%(plate)s was fixed %(how)s") % {"plate": facts["plate"], "how": _how(facts)}
    if "day" in facts:
        facts["day"] = short_day(date.fromisoformat(facts["day"]))
    if "late_min" in facts:
        facts["late"] = hours_and_minutes(facts["late_min"] * 60)
    return str(WORDS[code]) % facts if code in WORDS else _("something changed")


def _how(facts: Mapping[str, Any]) -> str:
    """What was fixed: "on Heron, Tue 17 Nov, 10:15, after P3"."""
    parts = []
    if "printer" in facts:
        parts.append(_("on %(printer)s") % facts)
    if "at" in facts:
        parts.append(day_clock(parse_datetime(facts["at"])))
    if "after" in facts:
        parts.append(_("after %(plate)s") % {"plate": facts["after"]})
    return ", ".join(parts)
