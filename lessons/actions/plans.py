"""Write a lesson plan: save a change, begin one, copy and adapt, put away and take back, bring an old version back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons import permissions
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.jobs import KIND
from lessons.lab.kept_places import check_readings
from lessons.models import KitPart, LessonPlan, PartGauge, PlanVersion
from lessons.plans.cautions import with_standard
from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.work.actions import enqueue

OWN = ("title", "summary", "grade_band", "meetings_count", "group_size")
TITLE_MAX = 120
NOT_COPIED = ("id", "plan", "file", "archived_at")


def snapshot(plan: LessonPlan) -> dict[str, Any]:
    """The plan's own fields and its content, as a PlanVersion keeps them."""
    return {**{name: getattr(plan, name) for name in OWN}, "content": plan.content}


@transaction.atomic
def save_plan(
    user: User,
    plan: LessonPlan,
    expected_version: int,
    fields: Mapping[str, Any] | None = None,
    content: Mapping[str, Any] | None = None,
) -> LessonPlan:
    """Write a change of a plan; what stood there before is kept as a PlanVersion.

    ``fields``: those of OWN that change. ``content``: keys of ``LessonPlan.content`` that change, None takes a key
    away; the others stay. Both are checked by their editor before. Standard cautions that the plan needs are put back
    where somebody left them out. ``expected_version`` is the version the person's page was made from.

    Returns the plan as it stands now; a change of nothing makes no version. Raises PermissionDenied, NotPossible (the
    title is taken) and ChangedMeanwhile (somebody saved between).
    """
    now = locked_plan(user, plan)
    if now.version != expected_version:
        raise ChangedMeanwhile(_("Somebody saved this lesson after you opened it."))
    merged = {**now.content, **(content or {})}
    # no rows where there was nothing is no change
    merged = {key: value for key, value in merged.items() if value is not None and (value != [] or key in now.content)}
    after = {**snapshot(now), **{name: value for name, value in (fields or {}).items() if name in OWN}}
    after["content"] = with_standard(merged, has_kit=now.kit_parts.exists())
    return _write(user, now, after, "save_plan")


def locked_plan(user: User, plan: LessonPlan) -> LessonPlan:
    """The plan as it stands, held until the transaction ends. Raises PermissionDenied or NotPossible."""
    permissions.check_can_edit_plan(user, plan)
    now = LessonPlan.objects.select_for_update(no_key=True).filter(pk=plan.pk).first()
    if now is None:
        raise NotPossible(_("This lesson is gone."))
    return now


def _write(user: User, now: LessonPlan, after: Mapping[str, Any], verb: str, **facts: Any) -> LessonPlan:
    before = snapshot(now)
    if before == after:
        return now
    _check_title(now.school_id, after["title"], now)
    PlanVersion.objects.create(plan=now, number=now.version, fields=before, saved_by=user)
    written = LessonPlan.objects.filter(pk=now.pk, version=now.version).update(**after, version=now.version + 1)
    if not written:
        raise ChangedMeanwhile(_("Somebody saved this lesson after you opened it."))
    changed = sorted(name for name in OWN if before[name] != after[name])
    old, new = before["content"], after["content"]
    changed += sorted(key for key in {*old, *new} if old.get(key) != new.get(key))
    record(now.school_id, user, verb, now, version=now.version + 1, changed=changed, **facts)
    now.refresh_from_db()
    return now


def _check_title(school_id: int, title: str, plan: LessonPlan | None = None) -> None:
    others = LessonPlan.objects.filter(school_id=school_id, title=title)
    if plan is not None:
        others = others.exclude(pk=plan.pk)
    if others.exists():
        raise NotPossible(_("There is a lesson of this name already. Give this one another name."), "title")


@transaction.atomic
def make_plan(user: User, title: str, values: Mapping[str, Any] | None = None) -> LessonPlan:
    """Begin a lesson. ``values``: others of OWN and ``content``. Raises PermissionDenied, NotPossible."""
    permissions.check_can_write_plans(user)
    title = title.strip()
    if not title:
        raise NotPossible(_("Give the lesson a name."), "title")
    if len(title) > TITLE_MAX:
        raise NotPossible(_("A name has at most %(most)d letters.") % {"most": TITLE_MAX}, "title")
    _check_title(user.school_id, title)
    content = with_standard((values or {}).get("content") or {}, has_kit=False)
    own = {name: value for name, value in (values or {}).items() if name in OWN}
    try:
        with transaction.atomic():
            plan = LessonPlan.objects.create(school_id=user.school_id, **{**own, "title": title, "content": content})
    except IntegrityError as error:  # somebody took the name between the look and the write
        raise NotPossible(_("There is a lesson of this name already. Give this one another name."), "title") from error
    record(user.school_id, user, "make_plan", plan, title=title)
    return plan


@transaction.atomic
def copy_plan(user: User, plan: LessonPlan, title: str) -> LessonPlan:
    """A lesson of one's own to adapt, with kit, meshes and gauges; it says what it was adapted from.

    The parts keep what was measured on them and are measured again in the background. Raises PermissionDenied,
    NotPossible.
    """
    permissions.check_can_edit_plan(user, plan)
    made = make_plan(user, title, snapshot(plan))
    made.adapted_from, made.content = plan, plan.content
    made.save(update_fields=["adapted_from", "content"])
    for part in plan.kit_parts.select_related("gauge"):
        copy_part(part, made)
    record(user.school_id, user, "copy_plan", made, copied=plan.pk)
    return made


def copy_part(part: KitPart, into: LessonPlan) -> KitPart:
    """The part with its mesh and gauge in another plan, waiting to be measured. A file stored for a copy that is not
    kept goes with it."""
    left = (*NOT_COPIED, "shown")  # pictures are kept for each file: the check makes them anew
    values = {
        field.attname: getattr(part, field.attname) for field in KitPart._meta.concrete_fields if field.name not in left
    }
    made = KitPart(plan=into, **values)
    if part.file:
        with part.file.open("rb") as stream:
            made.file.save("", ContentFile(stream.read()), save=False)
    made.save()
    gauge = getattr(part, "gauge", None)
    if gauge is not None:
        fields = {f.name: getattr(gauge, f.name) for f in PartGauge._meta.concrete_fields}
        PartGauge.objects.create(**{**fields, "id": None, "kit_part": made})
    if made.file:
        enqueue(KIND, made.pk, into.school_id)
    return made


@transaction.atomic
def archive_plan(user: User, plan: LessonPlan) -> None:
    """Put a lesson away: it can no longer be given, and what was given goes on. Raises PermissionDenied."""
    now = locked_plan(user, plan)
    if now.archived_at is None:
        LessonPlan.objects.filter(pk=now.pk).update(archived_at=timezone.now())
        record(now.school_id, user, "archive_plan", now)


@transaction.atomic
def restore_plan(user: User, plan: LessonPlan) -> None:
    """Take a lesson back out. Raises PermissionDenied."""
    now = locked_plan(user, plan)
    if now.archived_at is not None:
        LessonPlan.objects.filter(pk=now.pk).update(archived_at=None)
        record(now.school_id, user, "restore_plan", now)


@transaction.atomic
def bring_back(user: User, plan: LessonPlan, number: int, expected_version: int) -> LessonPlan:
    """The text of an old version becomes the newest one; what stood there is kept as a version. The kit stays as it
    is. Raises PermissionDenied, ChangedMeanwhile and NotPossible, also where readings would lose unit or place."""
    now = locked_plan(user, plan)
    if now.version != expected_version:
        raise ChangedMeanwhile(_("Somebody saved this lesson after you opened it."))
    old = now.versions.filter(number=number).first()
    if old is None:
        raise NotPossible(_("There is no version %(number)d of this lesson.") % {"number": number})
    after = {**snapshot(now), **{name: old.fields[name] for name in (*OWN, "content") if name in old.fields}}
    after["content"] = with_standard(after["content"], has_kit=now.kit_parts.exists())
    before, experiment = now.content.get("experiment"), after["content"].get("experiment")
    if experiment != before:
        check_readings(now, before or {}, experiment)
    return _write(user, now, after, "bring_back_plan", brought_back=number)
