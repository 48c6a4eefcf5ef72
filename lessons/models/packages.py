"""Lesson packages that were brought and not saved yet."""

from __future__ import annotations

import uuid
from functools import partial
from typing import Any

from django.conf import settings
from django.db import models, transaction

from makerlab.accounts.models import User


def package_path(instance: LessonPackage, filename: str) -> str:
    """Stored by uuid: the name somebody gave never reaches the file system."""
    return f"packages/{uuid.uuid4().hex}"


class LessonPackageQuerySet(models.QuerySet["LessonPackage"]):
    """Whoever brought a package sees it, nobody else."""

    def visible_to(self, user: User) -> LessonPackageQuerySet:
        return self.filter(uploaded_by=user)

    def editable_by(self, user: User) -> LessonPackageQuerySet:
        return self.visible_to(user) if user.is_teacher or user.is_administrator else self.none()


class LessonPackage(models.Model):
    """A checked package between its preview and its saving. It goes when it is saved, when its owner brings another,
    and after a day."""

    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    file = models.FileField(upload_to=package_path, max_length=120)
    file_name = models.CharField(max_length=120)
    sha256 = models.CharField(max_length=64)
    looked = models.JSONField(default=dict)  # what the engine read in each mesh, by code: size_mm, triangles, closed
    made_at = models.DateTimeField(auto_now_add=True)

    objects = LessonPackageQuerySet.as_manager()

    def __str__(self) -> str:
        return self.file_name


def delete_file(instance: LessonPackage, **_signal: Any) -> None:
    """Receiver of ``post_delete``: the file goes once the transaction is committed."""
    if instance.file.name:
        transaction.on_commit(partial(instance.file.storage.delete, instance.file.name))
