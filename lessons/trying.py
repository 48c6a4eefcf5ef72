"""What a kit part would weigh and take with other print settings: worked out in the background, remembered by content.

Both sides of a comparison are asked here, so that they are alike: one copy, alone on its plate, on the school's usual
printer, support, raft and brim included.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import timedelta
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from lessons.measuring import JOB_WALL_S, child_message, room_of, tried
from lessons.models import KitPart, PartEstimate
from makerlab.work import child
from makerlab.work.actions import enqueue
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from makerlab.work.registry import Apply, GiveUp, Handler, register
from makerlab.work.stored_files import stored
from meshcheck.types import PrintSettings

KIND = "estimate-kit-part"
SERVICE = "meshcheck.service:estimate_plate"
MODEL = 1  # raise it when meshcheck estimates otherwise: remembered figures then count no more
FORGET_AFTER = timedelta(days=60)
MACHINE = "usual"


@dataclass(frozen=True, slots=True)
class Answer:
    """What is known of one question. ``state``: waiting, known, unknown (then ``why``) or not asked."""

    state: str
    mass_g: float | None = None
    duration_s: float | None = None
    why: str = ""


NOT_ASKED = Answer("not asked")


def settings_from(values: dict[str, Any]) -> PrintSettings:
    """Raises ValueError or TypeError when they cannot work together."""
    return PrintSettings(**values)


def question_of(kit_part: KitPart, settings: PrintSettings) -> tuple[str, dict[str, Any]]:
    """The key of the question and what the child is asked."""
    part = {
        "path": stored(kit_part.file),
        "name": kit_part.file_name,
        "unit": kit_part.unit or (kit_part.report or {}).get("units") or "mm",
        "pose": kit_part.pose,
        "x_mm": 0.0,
        "y_mm": 0.0,
        "turn_deg": 0.0,
    }
    machine = room_of(kit_part.plan.school_id).machine
    asked = {"parts": [part], "settings": asdict(settings), "machines": {MACHINE: asdict(machine)}}
    content = [MODEL, kit_part.sha256, part["unit"], part["pose"], asked["settings"], asked["machines"]]
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest(), asked


def ask(kit_part: KitPart, settings: PrintSettings) -> str:
    """Have the question answered if it is not yet. Returns its key."""
    key, _asked = question_of(kit_part, settings)
    if answer_of(kit_part, key).state not in {"known", "waiting"}:
        PartEstimate.objects.filter(kit_part=kit_part, key=key).delete()
        enqueue(KIND, kit_part.pk, kit_part.plan.school_id, key=key, settings=asdict(settings))
    return key


def answer_of(kit_part: KitPart, key: str) -> Answer:
    """What is known by now."""
    found = PartEstimate.objects.filter(kit_part=kit_part, key=key).first()
    if found is not None:
        return Answer("unknown" if found.unknown else "known", found.mass_g, found.duration_s, found.unknown)
    jobs = Job.objects.filter(kind=KIND, subject=str(kit_part.pk), payload__key=key)
    return Answer("waiting") if jobs.filter(state__in=[Job.State.WAITING, Job.State.RUNNING]).exists() else NOT_ASKED


def answer_with(kit_part: KitPart, settings: PrintSettings) -> Answer:
    """What is known by now of one part under these settings."""
    return answer_of(kit_part, question_of(kit_part, settings)[0])


def estimate_kit_part(job: Job) -> Apply:
    """Answer one question in a disposable child."""
    kit_part = KitPart.objects.select_related("plan").defer("picture").filter(pk=job.subject).first()
    if kit_part is None:
        raise GiveUp(_("The kit part is gone."))
    key, asked = question_of(kit_part, settings_from(job.payload["settings"]))
    if key != job.payload["key"]:  # another file, or other printers, since it was asked: nobody waits for this any more
        return lambda: None
    try:
        answer = tried(job, lambda: child.run(SERVICE, asked))
    except FileNotFoundError as error:
        raise GiveUp(_("The kit part has no stored file, so nobody can tell its grams and minutes.")) from error
    if "unknown" not in answer and not {"mass_g", "durations_s"} <= answer.keys():
        raise GiveUp(child_message("crash"))

    def write() -> None:
        keep(kit_part, key, answer)

    return write


def keep(kit_part: KitPart, key: str, answer: dict[str, Any]) -> None:
    """Remember an answer, and forget what is old."""
    unknown = str(answer.get("unknown", ""))
    values = {
        "unknown": unknown,
        "mass_g": None if unknown else float(answer["mass_g"]),
        "duration_s": None if unknown else float(answer["durations_s"][MACHINE]),
    }
    PartEstimate.objects.update_or_create(kit_part=kit_part, key=key, defaults=values)
    PartEstimate.objects.filter(made_at__lt=timezone.now() - FORGET_AFTER).delete()


def not_answered(job: Job, message: str) -> None:
    """Say on the question itself why it has no answer."""
    kit_part = KitPart.objects.filter(pk=job.subject).first()
    if kit_part is not None:
        keep(kit_part, job.payload["key"], {"unknown": message})


register(
    Handler(
        kind=KIND,
        lane=Lane.MEASURE,
        wall_s=JOB_WALL_S,
        work=estimate_kit_part,
        failed=not_answered,
        failed_message="The grams and minutes could not be worked out.",
    )
)
