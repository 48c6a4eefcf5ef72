"""Bring in a lesson from a package: keep what was checked for the preview, then write all of it or nothing."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons import permissions
from lessons.actions.plans import make_plan
from lessons.actions.refusals import ChangedMeanwhile
from lessons.jobs import KIND
from lessons.models import KitPart, LessonPackage, LessonPlan, PartGauge
from lessons.packed import MEGABYTE
from lessons.plans.cautions import with_standard
from lessons.plans.package import CAPS
from lessons.plans.package_look import look_at
from lessons.plans.package_parts import PartIn
from lessons.plans.package_reading import PackageRefused, Reading, read
from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.uploads import clean_name
from makerlab.work.actions import enqueue

KEPT = timedelta(days=1)


def bring_package(user: User, file: UploadedFile[Any]) -> LessonPackage:
    """Check a package and keep it until it is saved; the person's earlier one goes. Raises PermissionDenied, and
    PackageRefused with every fault; then nothing was stored."""
    permissions.check_can_write_plans(user)
    if (file.size or 0) > CAPS.packed_bytes:
        most = {"most": CAPS.packed_bytes // MEGABYTE}
        raise PackageRefused(_("This file is larger than the %(most)d MB a lesson package may have.") % most)
    data = file.read()
    looked = look_at(read(data).parts)
    package = LessonPackage(uploaded_by=user, file_name=clean_name(file.name), looked=looked)
    package.sha256 = hashlib.sha256(data).hexdigest()
    package.file.save("", ContentFile(data), save=False)
    try:
        with transaction.atomic():
            drop_old_packages(user)
            package.save()
    except BaseException:  # whatever stopped it, a file without a row must not stay behind
        package.file.delete(save=False)
        raise
    return package


def drop_old_packages(user: User) -> None:
    """Those this person brought before, and everybody's after a day."""
    LessonPackage.objects.filter(uploaded_by=user).delete()
    LessonPackage.objects.filter(made_at__lt=timezone.now() - KEPT).delete()


def reading_of(package: LessonPackage) -> Reading:
    """The kept package read again. Raises PackageRefused, also when its file is no longer what was checked."""
    try:
        with package.file.open("rb") as stream:
            data = stream.read()
    except (FileNotFoundError, ValueError) as error:  # ValueError: open here, and deleted by somebody else
        raise PackageRefused(_("This package is no longer here. Bring it in again.")) from error
    if hashlib.sha256(data).hexdigest() != package.sha256:
        raise PackageRefused(_("This package is no longer what was checked. Bring it in again."))
    return read(data)


def save_package(user: User, package: LessonPackage, title: str) -> LessonPlan:
    """Make the lesson with its kit; the parts are measured in the background. Raises PermissionDenied, NotPossible,
    ChangedMeanwhile (it was saved already), PackageRefused; then nothing was written."""
    permissions.check_can_write_plans(user)
    reading = reading_of(package)
    parts = [_stored(part, place) for place, part in enumerate(reading.parts, start=1)]
    try:
        with transaction.atomic():
            return _write(user, package, reading, title, parts)
    except BaseException:  # whatever stopped it, a file without a row must not stay behind
        for part, _gauge in parts:
            part.file.delete(save=False)
        raise


def _stored(part: PartIn, position: int) -> tuple[KitPart, dict[str, Any] | None]:
    made = KitPart(position=position, file_bytes=len(part.mesh), **part.values)
    made.file.save("", ContentFile(part.mesh), save=False)
    return made, part.gauge


def _write(
    user: User,
    package: LessonPackage,
    reading: Reading,
    title: str,
    parts: list[tuple[KitPart, dict[str, Any] | None]],
) -> LessonPlan:
    if not LessonPackage.objects.select_for_update(no_key=True).filter(pk=package.pk, uploaded_by=user).exists():
        raise ChangedMeanwhile(_("This package was saved already, or another one was brought in since."))
    plan = make_plan(user, title, reading.fields)
    plan.content = with_standard(reading.content, has_kit=bool(parts))
    plan.save(update_fields=["content"])
    for part, gauge in parts:
        part.plan = plan
        part.save()
        if gauge is not None:
            PartGauge.objects.create(kit_part=part, **gauge)
        enqueue(KIND, part.pk, plan.school_id)
    record(plan.school_id, user, "bring_in_plan", plan, sha256=package.sha256, parts=len(parts))
    LessonPackage.objects.filter(pk=package.pk).delete()
    return plan
