"""Change the kit of a lesson: add a part, its figures, another mesh, how it lies, its gauge, its place; take it out.

A part that is used somewhere is changed only by somebody who was told where and said so (``known``).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.files.storage import default_storage
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from lessons.actions.plans import locked_plan
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.jobs import KIND
from lessons.models import CheckState, KitPart, LessonPlan, PartGauge
from lessons.plans.kit import OWN, figures_of, fingerprint, use_of
from lessons.print_settings import in_force
from lessons.showing import forget
from lessons.signals import settings_changed
from lessons.stored import check_room, files_of, forget_later, store_once
from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.uploads import check_size, clean_name, sha256_of
from makerlab.work.actions import enqueue
from meshcheck.materials import MATERIALS

PARTS_MOST = 40
AS_DRAWN = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]


class NotKnown(NotPossible):
    """The part is used; the person has to say that they know."""


def is_turned(rotation: Any) -> bool:
    """Whether a rotation from a report moves the part at all."""
    return rotation is not None and [[float(x) for x in row] for row in rotation] != AS_DRAWN


def add_part(user: User, plan: LessonPlan, name: str, file: UploadedFile[Any]) -> KitPart:
    """A new part at the end of the kit, waiting to be measured. Raises PermissionDenied, NotPossible, UploadRefused."""
    part = KitPart(plan=plan, name=name.strip()[:60], file_bytes=check_size(file))
    part.file_name, part.sha256 = clean_name(file.name), sha256_of(file)
    part.file.save("", file, save=False)
    own = part.file.name or ""
    try:
        with transaction.atomic():
            locked_plan(user, plan)
            if plan.kit_parts.count() >= PARTS_MOST:
                raise NotPossible(_("A kit has at most %(most)d parts.") % {"most": PARTS_MOST})
            part.code = _free_code(plan, part.name)
            check_room(plan.school_id, part.file_bytes)
            store_once(part, plan.school_id)
            part.position = (plan.kit_parts.aggregate(last=Max("position"))["last"] or 0) + 1
            part.save()
            enqueue(KIND, part.pk, plan.school_id)
            record(plan.school_id, user, "add_kit_part", part, name=part.name, sha256=part.sha256)
    except BaseException:  # whatever stopped it, a file without a row must not stay behind
        default_storage.delete(own)
        raise
    return part


def _free_code(plan: LessonPlan, name: str) -> str:
    stem = slugify(name)[:32] or "part"
    taken = set(plan.kit_parts.values_list("code", flat=True))
    return next(code for code in (stem, *(f"{stem}-{n}" for n in range(2, PARTS_MOST + 3))) if code not in taken)


def _locked(user: User, part: KitPart, seen: str, known: bool) -> KitPart:
    locked_plan(user, part.plan)
    now = (
        KitPart.objects.select_for_update(of=("self",), no_key=True)
        .select_related("plan", "gauge")
        .filter(pk=part.pk)
        .first()
    )
    if now is None:
        raise ChangedMeanwhile(_("This part was taken out of the kit meanwhile."))
    if seen != fingerprint(now):
        raise ChangedMeanwhile(_("Somebody changed this part after you opened it. Look at it again."))
    if not known and use_of(now).is_used:
        raise NotKnown(_("This part is used. Read where, and tick that you know."), "known")
    return now


@transaction.atomic
def change_part(user: User, part: KitPart, values: Mapping[str, Any], seen: str, known: bool) -> KitPart:
    """``values``: those of OWN that change. Another material is measured anew. Raises PermissionDenied, NotPossible,
    ChangedMeanwhile, NotKnown."""
    now = _locked(user, part, seen, known)
    before = {name: getattr(now, name) for name in OWN}
    changed = {name: value for name, value in values.items() if name in OWN and before[name] != value}
    if not changed:
        return now
    if changed.get("material", now.material) not in {*MATERIALS, now.material}:
        raise NotPossible(_("Choose one from the list."), "material")
    for name, value in changed.items():
        setattr(now, name, value)
    try:
        in_force(now)
    except (ValueError, TypeError) as error:
        raise NotPossible(str(error), "material") from error
    now.save(update_fields=list(changed))
    told = {name: before[name] for name in changed}
    record(now.plan.school_id, user, "change_kit_part", now, before=told, after=changed)
    if changed.keys() & {"material", "colour"}:
        _measure_again(user, now)
    return now


def replace_mesh(user: User, part: KitPart, file: UploadedFile[Any], seen: str, known: bool) -> KitPart:
    """Another file for the part, measured anew; what was measured before is kept on the record. Raises
    PermissionDenied, NotPossible, ChangedMeanwhile, NotKnown, UploadRefused."""
    fresh = KitPart(file_bytes=check_size(file), file_name=clean_name(file.name), sha256=sha256_of(file))
    fresh.file.save("", file, save=False)
    own = fresh.file.name or ""
    try:
        with transaction.atomic():
            now = _locked(user, part, seen, known)
            if now.sha256 == fresh.sha256:
                raise NotPossible(_("This is the very file the part has already."), "file")
            before, old = figures_of(now), now.file.name
            check_room(now.plan.school_id, fresh.file_bytes)
            store_once(fresh, now.plan.school_id)
            forget(now)
            now.shown = None
            for name in ("file", "file_name", "file_bytes", "sha256"):
                setattr(now, name, getattr(fresh, name))
            now.unit, now.pose, now.check_state, now.check_error = "", None, CheckState.CHECKING, ""
            now.save()
            record(now.plan.school_id, user, "replace_kit_mesh", now, before=before, sha256=now.sha256)
            if old:
                forget_later(old, school_id=now.plan.school_id)
            _measure_again(user, now)
    except BaseException:  # whatever stopped it, a file without a row must not stay behind
        default_storage.delete(own)
        raise
    return now


@transaction.atomic
def lay_part(user: User, part: KitPart, *, turned: bool, seen: str, known: bool) -> KitPart:
    """Lay it on the face the check advises, or as it is drawn. Raises as above."""
    now = _locked(user, part, seen, known)
    advised = ((now.report or {}).get("pose") or {}).get("turn")
    if turned and not is_turned(advised):
        raise NotPossible(_("There is no better face to lay this part on."))
    now.pose, now.check_state, now.check_error = (advised if turned else None), CheckState.CHECKING, ""
    now.save(update_fields=["pose", "check_state", "check_error"])
    record(now.plan.school_id, user, "lay_kit_part", now, turned=turned)
    _measure_again(user, now)
    return now


@transaction.atomic
def set_gauge(user: User, part: KitPart, values: Mapping[str, Any] | None, seen: str, known: bool) -> KitPart:
    """What a redesign must keep, all fields of GAUGE_FIELDS; None asks nothing. Raises as above."""
    now = _locked(user, part, seen, known)
    if values is None:
        PartGauge.objects.filter(kit_part=now).delete()
    else:
        PartGauge.objects.update_or_create(kit_part=now, defaults=dict(values))
    record(now.plan.school_id, user, "set_gauge", now, gauge=dict(values) if values else None)
    now = KitPart.objects.select_related("plan", "gauge").get(pk=now.pk)
    if now.file:
        _measure_again(user, now)
    return now


def _measure_again(user: User, part: KitPart) -> None:
    """The part itself, and in the same transaction whatever higher layers hold against it."""
    if part.file:
        enqueue(KIND, part.pk, part.plan.school_id)
    settings_changed.send(sender=KitPart, kit_part=part, assignment=None, user=user)


@transaction.atomic
def move_part(user: User, part: KitPart, step: int) -> None:
    """One place up (-1) or down (1) in the kit. Raises PermissionDenied."""
    plan = locked_plan(user, part.plan)
    parts = list(plan.kit_parts.filter(archived_at=None).only("pk", "position"))
    at = next((place for place, each in enumerate(parts) if each.pk == part.pk), None)
    if at is None or not 0 <= at + step < len(parts):
        return
    parts[at], parts[at + step] = parts[at + step], parts[at]
    for place, each in enumerate(parts, start=1):
        KitPart.objects.filter(pk=each.pk).update(position=place)
    record(plan.school_id, user, "move_kit_part", part, step=step)


@transaction.atomic
def remove_part(user: User, part: KitPart, seen: str, known: bool) -> bool:
    """Take a part out. One that is used anywhere is put away instead: what was uploaded, ordered and printed of it
    stays, and no new copies are ordered. Returns whether it was deleted. Raises as above."""
    now = _locked(user, part, seen, known)
    if use_of(now).is_used:
        KitPart.objects.filter(pk=now.pk).update(
            archived_at=timezone.now(), copies_per_team=0, spares=0, redesignable=False
        )
        record(now.plan.school_id, user, "archive_kit_part", now, copies=now.copies_per_team, spares=now.spares)
        settings_changed.send(sender=KitPart, kit_part=now, assignment=None, user=user)
        return False
    record(now.plan.school_id, user, "remove_kit_part", now, name=now.name)
    with files_of(now.plan.school_id):
        now.delete()
    return True


@transaction.atomic
def restore_part(user: User, part: KitPart) -> None:
    """Back into the kit, with no copies until somebody says how many. Raises PermissionDenied."""
    locked_plan(user, part.plan)
    if KitPart.objects.filter(pk=part.pk, archived_at__isnull=False).update(archived_at=None):
        record(part.plan.school_id, user, "restore_kit_part", part)
