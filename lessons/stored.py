"""Where uploaded meshes lie: the same bytes once for each school, and how much a team and a school may store.

A stored file never changes and is named by uuid; rows point to it. It goes when the last row that points to it is gone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.db.models import BigIntegerField, Expression, OuterRef, QuerySet, Subquery, Sum, Value
from django.utils.translation import gettext_lazy as _

from lessons.models import MeasuredFile
from makerlab.accounts.models import School
from makerlab.prepared import Prepared
from makerlab.uploads import MEGABYTE, UploadRefused

FILES_AT_ONCE = 50  # are deleted while the store is held
_gathered: ContextVar[set[str] | None] = ContextVar("files of deleted rows", default=None)


def models_with_meshes() -> list[type[MeasuredFile]]:
    """Kit parts, and whatever higher apps store meshes for."""
    return MeasuredFile.__subclasses__()


def rows_of(model: type[MeasuredFile], school_id: int | OuterRef) -> QuerySet[Any]:
    """All rows of one kind that belong to a school, or to the school a query is about."""
    found: QuerySet[Any] = model._default_manager.filter(**{model.school_path: school_id})
    return found


def lock_school(school_id: int) -> None:
    """Hold the school's store until the transaction ends: nobody deletes a file that somebody is about to share."""
    if connection.features.has_select_for_update:  # SQLite's immediate transactions already stand in line
        School.objects.select_for_update(no_key=True).get(pk=school_id)


@Prepared
def files_of_bytes(school_id: int, sha256: str, file_bytes: int) -> QuerySet[Any, str]:
    """The names of the files of a school that hold these bytes."""
    first, *others = (
        rows_of(model, school_id).filter(sha256=sha256, file_bytes=file_bytes).order_by().values_list("file", flat=True)
        for model in models_with_meshes()
    )
    return first.union(*others) if others else first


def store_once(item: MeasuredFile, school_id: int) -> None:
    """Let the item point to the file the school has of the same bytes already, if any, and drop its own copy.

    Called in the transaction that writes the item, after its file was stored."""
    lock_school(school_id)
    own = item.file.name or ""
    for name in set(files_of_bytes(school_id, item.sha256, item.file_bytes)) - {"", own}:
        if default_storage.exists(name):
            item.file.name = name
            transaction.on_commit(partial(default_storage.delete, own))
            return


@contextmanager
def files_of(school_id: int) -> Iterator[None]:
    """Files of rows that are deleted in the block go together once that is written, and only this school's store is
    held meanwhile. In a transaction; when the block raises, no file goes."""
    names: set[str] = set()
    token = _gathered.set(names)
    try:
        yield
    finally:
        _gathered.reset(token)
    forget_later(*sorted(names), school_id=school_id)


def file_of_deleted(instance: MeasuredFile, **_signal: Any) -> None:
    """Receiver of ``post_delete``: the file goes once the row is really gone."""
    name, gathered = instance.file.name, _gathered.get()
    if name and gathered is not None:
        gathered.add(name)
    elif name:
        forget_later(name)


def forget_later(*names: str, school_id: int | None = None) -> None:
    """Delete stored files when the transaction is committed, but those to which a row points by then. ``school_id``
    None: for rows whose school is not known any more; then all schools wait."""
    if names:
        transaction.on_commit(partial(_forget_now, names, school_id))


def _forget_now(names: Sequence[str], school_id: int | None) -> None:
    """A few at a time, so that whoever uploads waits for no more than these."""
    held = School.objects.select_for_update(no_key=True).order_by("pk").values_list("pk", flat=True)
    for start in range(0, len(names), FILES_AT_ONCE):
        some = names[start : start + FILES_AT_ONCE]
        with transaction.atomic():
            list(held if school_id is None else held.filter(pk=school_id))
            kept = {name for model in models_with_meshes() for name in _named_by(model, some)}
            for name in some:
                if name not in kept:
                    default_storage.delete(name)


def _named_by(model: type[MeasuredFile], names: Sequence[str]) -> QuerySet[Any, Any]:
    """Those of the files to which rows of one kind point."""
    return model._default_manager.filter(file__in=names).order_by().values_list("file", flat=True)


def stored_bytes(rows: QuerySet[Any]) -> int:
    """Bytes these rows' files have, each file once."""
    files = rows.order_by().values("file", "file_bytes").distinct()
    return int(files.aggregate(total=Sum("file_bytes"))["total"] or 0)


def stored_by(school_id: int) -> int:
    """Bytes of a school's mesh files."""
    return sum(stored_bytes(rows_of(model, school_id)) for model in models_with_meshes())


class _BytesOnce(Subquery):
    """The bytes of a question for files, each file once."""

    template = "(SELECT COALESCE(SUM(once.file_bytes), 0) FROM (%(subquery)s) AS once)"


def bytes_of_a_school() -> Expression:
    """``stored_by`` as an expression about each school of a query."""
    found: Expression = Value(0, output_field=BigIntegerField())
    for model in models_with_meshes():
        files = rows_of(model, OuterRef("pk")).order_by().values("file", "file_bytes").distinct()
        found = found + _BytesOnce(files, output_field=BigIntegerField())
    return found


def store_max_bytes(school: School) -> int:
    """What a school may store: its own limit, or the one of the installation."""
    return settings.SCHOOL_MAX_BYTES if school.store_max_mb is None else school.store_max_mb * MEGABYTE


@Prepared
def _store_of(school_id: int) -> QuerySet[Any]:
    return School.objects.filter(pk=school_id).only("store_max_mb").annotate(stored_bytes=bytes_of_a_school())


def check_room(school_id: int, size: int, team_bytes: int | None = None) -> None:
    """Raise UploadRefused when a file of ``size`` bytes would pass what the school may store, or a team that has
    ``team_bytes`` already. Nothing is written."""
    if team_bytes is not None and team_bytes + size > settings.TEAM_MAX_BYTES:
        raise UploadRefused(
            _("Your team's files have %(most)d MB together; more are not kept. Ask your teacher to make room.")
            % {"most": settings.TEAM_MAX_BYTES // MEGABYTE}
        )
    (school,) = _store_of(school_id)
    most = store_max_bytes(school)
    if school.stored_bytes + size > most:
        raise UploadRefused(
            _("The school's store of %(most)d MB is full, so nothing was taken. Tell the administrator.")
            % {"most": most // MEGABYTE}
        )
