"""Measuring an uploaded file in a disposable child process, and writing what was measured.

Shared by kit parts and submissions. The check knows no database: everything it needs goes in as plain values.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from defusedxml import DefusedXmlException, ElementTree
from django.conf import settings
from django.core.cache import cache
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons.models import Assignment, CheckState, KitPart, MeasuredFile
from lessons.print_settings import in_force
from lessons.showing import ShownFiles, keep, read_answer
from makerlab.work import child
from makerlab.work.actions import ATTEMPTS_MAX
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from makerlab.work.registry import Apply, GiveUp, Handler, register
from makerlab.work.stored_files import stored
from meshcheck.types import Gauge, Limits, Machine, PrintSettings, Vector, Verdict

SERVICE = "meshcheck.service:measure"
LAYER_SERVICE = "meshcheck.service:layer"
LAYER_KEPT_S = 900
# the child's wall time (settings.CHILD_WALL_S) and some seconds to start and to write
JOB_WALL_S = settings.CHILD_WALL_S + 10
REPORT_KEYS = frozenset({"verdict", "reason", "findings", "bbox_mm", "mass_g", "duration_s", "copies_in_file"})

DRAWN = frozenset(
    ["svg", "title", "defs", "pattern", "g", "path", "circle", "rect", "line", "polyline", "polygon", "text", "tspan"]
)


@dataclass(frozen=True, slots=True)
class Room:
    """What the check needs to know of the printers: the usual machine and the largest box any of them holds."""

    machine: Machine = field(default_factory=Machine)
    bed_mm: Vector | None = None


# Printing is a higher layer: when it starts (AppConfig.ready) it puts its own function here, school id -> Room.
room_sources: list[Callable[[int], Room]] = []


def room_of(school_id: int) -> Room:
    """The printers of a school as the check sees them; a small school printer while nothing is known."""
    return room_sources[-1](school_id) if room_sources else Room()


def measure(
    item: MeasuredFile,
    *,
    gauge: Gauge | None,
    settings: PrintSettings,
    machine: Machine,
    limits: Limits,
    unit: str | None,
    pose: list[list[float]] | None = None,
    kit_part: KitPart | None = None,
) -> dict[str, Any]:
    """Measure the stored file in a child process, a redesign also against the kit part's own file. Returns
    ``{"report": {...}, "picture": "<svg ...>"}``, what is shown of it as ``shown`` (ShownFiles or None) and the seconds
    it took as ``check_s``. Raises ChildFailed, or GiveUp when the file is no longer stored."""
    arguments = {
        "path": stored(item.file),
        "name": item.file_name,
        "gauge": asdict(gauge) if gauge else None,
        "settings": asdict(settings),
        "machine": asdict(machine),
        "limits": asdict(limits),
        "unit": unit or None,
        "pose": pose,
        "kit_part": _stored(kit_part) if kit_part is not None and kit_part != item else None,
    }
    started = time.perf_counter()
    try:
        answer = child.run(SERVICE, arguments)
    except FileNotFoundError as error:
        raise GiveUp(_("The stored file is missing. Please upload it again.")) from error
    if not is_whole(answer):
        raise child.ChildFailed("crash")
    try:
        shown = read_answer(answer.get("shown"), limits.bed_mm)
    except ValueError as error:
        raise child.ChildFailed("crash") from error
    return {**answer, "shown": shown, "check_s": time.perf_counter() - started}


def _stored(item: MeasuredFile) -> dict[str, Any] | None:
    """Where a file lies, what it is called and in what unit it was read; None when nothing is stored."""
    if not item.file:
        return None
    return {"path": stored(item.file), "name": item.file_name, "unit": item.unit or (item.report or {}).get("units")}


def layer_of(
    item: MeasuredFile, kit_part: KitPart, school_id: int, number: int, assignment: Assignment | None = None
) -> dict[str, Any]:
    """One layer of a measured part, drawn and timed in a child process: ``meshcheck.service:layer``'s answer.

    Kept for a while, so that sliding through the layers stays quick. Raises ChildFailed, GiveUp or FileNotFoundError.
    """
    if not item.file:
        raise FileNotFoundError(item.file_name)
    settings, machine = settings_of(kit_part, assignment), room_of(school_id).machine
    arguments = {
        "path": stored(item.file),
        "name": item.file_name,
        "settings": asdict(settings),
        "machine": asdict(machine),
        "unit": item.unit or (item.report or {}).get("units"),
        "pose": item.pose,
        "number": number,
    }
    kept_by = [item.sha256, *(arguments[name] for name in arguments if name not in ("path", "name"))]
    return drawn_layer(LAYER_SERVICE, arguments, kept_by)


def drawn_layer(service: str, arguments: dict[str, Any], kept_by: list[Any]) -> dict[str, Any]:
    """One layer by a child process, or as it was drawn a while ago: ``kept_by`` is all that the answer depends on.
    Raises ChildFailed, or FileNotFoundError when one of its files is no longer stored."""
    key = f"layer-{hashlib.sha256(json.dumps([service, kept_by]).encode()).hexdigest()}"
    answer: dict[str, Any] | None = cache.get(key)
    if answer is None:
        answer = child.run(service, arguments)
        if not isinstance(answer, dict) or not is_plain_drawing(answer.get("svg", "")):
            raise child.ChildFailed("crash")
        cache.set(key, answer, LAYER_KEPT_S)
    return answer


def is_whole(answer: Any) -> bool:
    """Whether the child's answer has the shape that is written: it has handled a hostile file."""
    if not isinstance(answer, dict) or not isinstance(answer.get("picture"), str):
        return False
    report = answer.get("report")
    return (
        is_plain_drawing(answer["picture"])
        and isinstance(report, dict)
        and report.keys() >= REPORT_KEYS
        and report["verdict"] in tuple(Verdict)
        and isinstance(report["findings"], list)
    )


def is_plain_drawing(svg: str) -> bool:
    """Whether the picture is only shapes and words: it goes into pages as it is, so nothing in it may link or run."""
    if not svg:
        return True
    try:
        root = ElementTree.fromstring(svg, forbid_dtd=True)
    except (ElementTree.ParseError, DefusedXmlException):
        return False
    return root.tag == "svg" and all(
        element.tag in DRAWN and not any(name.startswith("on") or "href" in name for name in element.attrib)
        for element in root.iter()
    )


def apply_measurement(item: MeasuredFile, measured: dict[str, Any]) -> bool:
    """Write the columns. False, and nothing written, when the file is to be read or laid otherwise by now."""
    report = measured["report"]
    shown: ShownFiles | None = measured.get("shown")
    width_mm, depth_mm, height_mm = report["bbox_mm"] or (None, None, None)
    values = {
        "check_state": CheckState.CHECKED,
        "check_error": "",
        "checked_at": timezone.now(),
        "check_s": measured["check_s"],
        "verdict": report["verdict"],
        "report": report,
        "picture": measured["picture"],
        "shown": shown.facts if shown else None,
        "design_volume_mm3": (report.get("signature") or {}).get("volume_mm3"),
        "copies_in_file": report["copies_in_file"] or 1,
        "mass_g": report["mass_g"],
        "duration_s": report["duration_s"],
        "width_mm": width_mm,
        "depth_mm": depth_mm,
        "height_mm": height_mm,
    }
    rows = type(item)._default_manager.filter(pk=item.pk, unit=item.unit)
    rows = rows.filter(pose__isnull=True) if item.pose is None else rows.filter(pose=item.pose)
    written = bool(rows.update(**values))
    if written:
        keep(item, shown)
    return written


def mark_failed(model: type[MeasuredFile], item_id: str, message: str) -> None:
    """Say that the check failed and why. The file is kept."""
    values = {"check_state": CheckState.FAILED, "check_error": message, "checked_at": timezone.now()}
    model._default_manager.filter(pk=item_id, check_state=CheckState.CHECKING).update(**values)


def child_message(why: str) -> str:
    """A plain sentence for why the child gave no answer."""
    messages = {
        "time": _(
            "The file is kept, but measuring it took too long. It may have far more triangles than it needs: "
            "export it again with a coarser setting and upload that."
        ),
        "memory": _(
            "The file is kept, but measuring it took more memory than a check may use. Export it again with "
            "fewer triangles and upload that."
        ),
    }
    return messages.get(why, failed_message())


def failed_message() -> str:
    return _(
        "The file is kept, but the check could not finish, three times. Upload it again; if that does not help, "
        "tell your teacher."
    )


def tried(job: Job, work: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """Do the measuring; after the last try, give up with the reason instead of a general sentence."""
    try:
        return work()
    except child.ChildFailed as failure:
        if job.attempt < ATTEMPTS_MAX:
            raise
        raise GiveUp(child_message(failure.why)) from failure


def measure_in_job(
    job: Job, item: MeasuredFile, kit_part: KitPart, limits: Limits, assignment: Assignment | None = None
) -> Apply:
    """Measure the item as the kit part asks (and its class, for an assignment), on the school's printers; what is
    returned writes the columns, unless the print settings were changed meanwhile: then another job waits."""
    room = room_of(job.school_id)
    settings = settings_of(kit_part, assignment)
    measured = tried(
        job,
        lambda: measure(
            item,
            gauge=kit_part.gauge_value(),
            settings=settings,
            machine=room.machine,
            limits=replace(limits, bed_mm=room.bed_mm),
            unit=item.unit,
            pose=item.pose,
            kit_part=kit_part,
        ),
    )

    def apply() -> None:
        if settings == settings_now(kit_part, assignment):
            apply_measurement(item, measured)

    return apply


def settings_now(kit_part: KitPart, assignment: Assignment | None) -> PrintSettings | None:
    """The print settings as they stand in the database at this moment; None when they cannot work."""
    kit_part = KitPart.objects.only("code", "settings", "material").get(pk=kit_part.pk)
    if assignment is not None:
        assignment = Assignment.objects.only("print_settings").get(pk=assignment.pk)
    try:
        return in_force(kit_part, assignment)
    except (ValueError, TypeError):
        return None


def register_check(
    kind: str, model: type[MeasuredFile], work: Callable[[Job], Apply], over: Callable[[str], None] | None = None
) -> None:
    """Make a kind of measuring job known; a check that fails says so on the item, and ``over`` is told its id."""

    def failed(job: Job, message: str) -> None:
        mark_failed(model, job.subject, message)
        if over is not None:
            over(job.subject)

    register(
        Handler(
            kind=kind,
            lane=Lane.MEASURE,
            wall_s=JOB_WALL_S,
            work=work,
            failed=failed,
            failed_message=failed_message(),
        )
    )


def settings_of(kit_part: KitPart, assignment: Assignment | None = None) -> PrintSettings:
    """How the part is printed, in one class when an assignment is given. Raises GiveUp when what was entered cannot
    work together."""
    try:
        return in_force(kit_part, assignment)
    except (ValueError, TypeError) as error:
        raise GiveUp(
            _("The print settings of %(part)s cannot work: %(why)s. Tell your teacher.")
            % {"part": kit_part.name, "why": error}
        ) from error
