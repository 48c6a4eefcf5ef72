"""Several small lists in one question to the database: each row comes as one JSON value, all rows in one UNION."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Any, TypeVar

from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.db.models import CharField, Field, Value
from django.db.models.functions import JSONArray
from django.utils import timezone
from django.utils.dateparse import parse_datetime

Row = TypeVar("Row", bound=models.Model)
Wanted = tuple[models.QuerySet[Any], Sequence[str]]  # the rows, and the names of the fields wanted of each


def together(**wanted: Wanted) -> dict[str, list[tuple[Any, ...]]]:
    """For each name its rows as tuples of the fields asked for, in no order. For lists of some dozens of rows, whose
    fields are numbers, texts, truths, moments, dates, times or JSON; a decimal or a file is no such field. An
    annotation is given back as the database says it in JSON."""
    questions = [_question(name, rows, fields) for name, (rows, fields) in wanted.items()]
    found: dict[str, list[tuple[Any, ...]]] = {name: [] for name in wanted}
    readers = {name: [_reader(rows.model, field) for field in fields] for name, (rows, fields) in wanted.items()}
    first, *others = questions
    for name, row in first.union(*others, all=True) if others else first:
        values = json.loads(row) if isinstance(row, str) else row
        found[name].append(tuple(read(value) for read, value in zip(readers[name], values, strict=True)))
    return found


def whole(model: type[models.Model]) -> tuple[str, ...]:
    """The names of all fields of a model, to ask for its rows with."""
    return tuple(field.attname for field in model._meta.concrete_fields)


def rows_as(model: type[Row], found: Sequence[tuple[Any, ...]]) -> list[Row]:
    """The rows of a list that was asked for with ``whole``, as the objects they are; what stands behind a row's own
    fields is left out."""
    names = whole(model)
    return [model.from_db("default", names, row[: len(names)]) for row in found]


def _question(name: str, rows: models.QuerySet[Any], fields: Sequence[str]) -> models.QuerySet[Any, Any]:
    """Text and JSON, so that the columns of all are of one type."""
    named = Value(name, output_field=CharField())
    asked = rows.order_by().annotate(_name=named, _row=JSONArray(*fields, output_field=models.JSONField()))
    found: models.QuerySet[Any, Any] = asked.values_list("_name", "_row")
    return found


def _reader(model: type[models.Model], path: str) -> Callable[[Any], Any]:
    field = _field(model, path)
    if field is None:
        return _as_is
    if isinstance(field, models.DateTimeField):
        return _moment
    if isinstance(field, models.JSONField):
        return _inner
    return field.to_python


def _field(model: type[models.Model], path: str) -> Field[Any, Any] | None:
    """The field at the end of a path such as ``team__school_class__name``; None for an annotation."""
    for step in path.split("__"):
        try:
            field: Any = model._meta.pk if step == "pk" else model._meta.get_field(step)
        except FieldDoesNotExist:
            field = next((each for each in model._meta.concrete_fields if each.attname == step), None)
        if field is None:
            return None
        if field.is_relation:
            model = field.related_model
            field = model._meta.pk
    found: Field[Any, Any] | None = field
    return found


def _as_is(value: Any) -> Any:
    return value


def _inner(value: Any) -> Any:
    """A JSON field: where the database keeps JSON as text, it comes as text."""
    return json.loads(value) if isinstance(value, str) else value


def _moment(value: str | None) -> datetime | None:
    found = parse_datetime(value) if value else None
    return timezone.make_aware(found, UTC) if found is not None and timezone.is_naive(found) else found
