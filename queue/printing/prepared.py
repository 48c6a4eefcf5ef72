"""A file the technician prepared for a plate: read in a child and held against the plate."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from lessons.measuring import tried
from lessons.models import CheckState
from makerlab.work import child
from makerlab.work.models import Job
from makerlab.work.registry import Apply, GiveUp
from makerlab.work.stored_files import stored
from meshcheck.types import Level
from planning.types import Bed
from printing.models import PreparedFile
from printing.planner.arrangement import arrangement_of, size_of
from printing.planner.estimates import Estimates, PlateFigures
from printing.planner.snapshot import take_snapshot
from printing.planner.values import Kind, Snapshot
from printing.reasons import said

SERVICE = "meshcheck.service:read_prepared"
# what no comparison by eye makes right: such a file never stands for a plate
NEVER = frozenset({"gcode_on_bed", "gcode_lays_nothing"})
FACTS = frozenset({"duration_s", "mass_g", "net_mm", "layers", "height_mm", "nozzle_c", "bed_c", "tools", "untimed"})


@dataclass(frozen=True, slots=True)
class Asked:
    """What the child is asked, and what it is held against."""

    arguments: dict[str, Any]
    arrangement: str
    own: PlateFigures
    kind: Kind


def read(job: Job) -> Apply:
    """Read one prepared file. What is returned writes what it says and, where everything fits, lets it stand."""
    from printing.actions.prepared import stand

    prepared = PreparedFile.objects.select_related("plate__room", "kind").filter(pk=job.subject).first()
    if prepared is None:
        raise GiveUp(_("The file is gone."))
    snapshot = take_snapshot(prepared.plate.room_id, timezone.now())
    estimates = Estimates(snapshot)
    asked = question(prepared, snapshot, estimates)
    try:
        answer = tried(job, lambda: child.run(SERVICE, asked.arguments))
    except FileNotFoundError as error:
        raise GiveUp(_("The stored file is missing. Please upload it again.")) from error
    if not is_whole(answer):
        raise GiveUp(failed_message())

    def write() -> None:
        estimates.keep()
        reading = {**answer, "own": _own(asked)}
        facts = answer.get("facts") or {}
        values = {"mass_g": facts.get("mass_g"), "duration_s": facts.get("duration_s")}
        PreparedFile.objects.filter(pk=prepared.pk).update(
            check_state=CheckState.CHECKED, check_error="", reading=reading, arrangement=asked.arrangement, **values
        )
        prepared.refresh_from_db()
        if fits(prepared):
            stand(prepared, None)

    return write


def question(prepared: PreparedFile, snapshot: Snapshot, estimates: Estimates) -> Asked:
    """What the file is held against: the plate as it stands now. Raises GiveUp when it waits no longer."""
    laid = next((plate.laid for plate in snapshot.plates if plate.id == prepared.plate_id), None)
    kind = next((kind for kind in snapshot.kinds if kind.id == prepared.kind_id), None)
    if laid is None or not laid.places:
        raise GiveUp(_("The plate was started or is gone, so the file was not read."))
    if kind is None:
        raise GiveUp(_("The room has no printer of that kind any more."))
    own = estimates.own([laid])[0]
    if own.unknown:
        raise GiveUp(_("The plate itself could not be estimated: %(why)s") % {"why": said(own.unknown)})
    width, depth, height = size_of(laid, snapshot.copies)
    arguments = {
        "path": stored(prepared.file),
        "dialect": prepared.dialect,
        "machine": kind.machine,
        "material": json.loads(laid.settings)["material"],
        "plate": {
            "height_mm": height,
            "grams": own.mass_g,
            "extents_mm": [width, depth],
            "duration_s": (own.durations_s or {}).get(kind.id),
        },
        "bed_mm": box_of(kind.bed),
    }
    return Asked(arguments, arrangement_of(laid, snapshot.copies), own, kind)


def box_of(bed: Bed) -> list[list[float]]:
    """Lowest and highest corner of what the printer reaches. Zero lies at the front left of a rectangular bed and in
    the middle of a round one (common practice, no source)."""
    if bed.is_round:
        r = bed.width_mm / 2
        return [[-r, -r, 0.0], [r, r, bed.height_mm]]
    return [[0.0, 0.0, 0.0], [bed.width_mm, bed.depth_mm, bed.height_mm]]


def is_whole(answer: Any) -> bool:
    """Whether the child's answer has the shape that is written: it has handled a hostile file."""
    if not isinstance(answer, dict):
        return False
    if isinstance(answer.get("rejected"), dict):
        return all(isinstance(answer["rejected"].get(name), str) for name in ("code", "message", "mend"))
    facts, findings = answer.get("facts"), answer.get("findings")
    return (
        isinstance(facts, dict)
        and facts.keys() >= FACTS
        and isinstance(findings, list)
        and all(isinstance(each, dict) and each.get("level") in tuple(Level) for each in findings)
    )


def _own(asked: Asked) -> dict[str, Any]:
    """Our own estimate of the plate, kept beside the file's."""
    durations = asked.own.durations_s or {}
    return {
        "mass_g": asked.own.mass_g,
        "duration_s": durations.get(asked.kind.id),
        "material": asked.arguments["material"],
    }


def wrong(prepared: PreparedFile) -> list[str]:
    """Codes of what does not fit."""
    findings: Sequence[Mapping[str, Any]] = (prepared.reading or {}).get("findings") or ()
    return [str(finding["code"]) for finding in findings if finding["level"] == Level.MUST_FIX]


def was_read(prepared: PreparedFile) -> bool:
    """Whether it has figures at all."""
    return prepared.check_state == CheckState.CHECKED and prepared.duration_s is not None and bool(prepared.mass_g)


def fits(prepared: PreparedFile) -> bool:
    """Whether everything fits: it then stands by itself."""
    return was_read(prepared) and not wrong(prepared)


def may_stand(prepared: PreparedFile) -> bool:
    """Whether somebody who compared it with the plate may let it stand."""
    return was_read(prepared) and not NEVER & set(wrong(prepared))


def not_read(job: Job, message: str) -> None:
    """Say on the file why it could not be read."""
    rows = PreparedFile.objects.filter(pk=job.subject, check_state=CheckState.CHECKING)
    rows.update(check_state=CheckState.FAILED, check_error=message)


def failed_message() -> str:
    return _("The file could not be read, three times. Prepare it again, or print by our own estimate.")
