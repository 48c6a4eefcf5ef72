"""Several lists in one question give what one question each gives; SQLite and PostgreSQL say JSON differently."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.db.models import Q

from lessons.models import DayKind, Period, SchoolDay, Term
from makerlab.accounts.models import School
from makerlab.together import rows_as, together, whole
from makerlab.work.models import Job

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> School:
    school = School.objects.create(name="Together", time_zone="America/Chicago")
    kind = DayKind.objects.create(school=school, name='A "quoted" day, à l\'heure', weekdays=[0, 3])
    DayKind.objects.create(school=school, name="B", weekdays=[])
    Period.objects.create(day_kind=kind, name="P1", starts_at=dt.time(8, 5), ends_at=dt.time(8, 55))
    SchoolDay.objects.create(school=school, date=dt.date(2027, 2, 28), day_kind=None, name="Snow")
    Term.objects.create(
        school=school, name="T", first=dt.date(2027, 1, 4), last=dt.date(2027, 5, 28), rotation=[kind.pk]
    )
    Job.objects.create(
        kind="x", lane="plan", subject="1", school=school, payload={"deep": [1, {"a": None}]}, progress=0.125,
        started_at=dt.datetime(2027, 1, 4, 15, 30, 1, 250000, tzinfo=dt.UTC),
    )  # fmt: skip
    return school


def test_rows_are_those_of_one_question_each(school, django_assert_num_queries):
    wanted = {model.__name__: (model.objects.filter(school=school), whole(model)) for model in (SchoolDay, Term, Job)}
    assert connection.features.supports_json_field
    with django_assert_num_queries(1):
        found = together(**wanted)
    for model in (SchoolDay, Term, Job):
        assert sorted(found[model.__name__]) == sorted(model.objects.filter(school=school).values_list(*whole(model)))
    (job,) = rows_as(Job, found["Job"])
    assert job == Job.objects.get()
    assert job.payload == {"deep": [1, {"a": None}]}
    assert job.is_open


def test_fields_behind_others_and_rows_without_one(school):
    fields = ("name", "weekdays", "periods__starts_at", "school_id", "school__name", "periods__pk")
    kinds = DayKind.objects.filter(school=school)
    found = together(kinds=(kinds, fields), alone=(kinds.filter(name="B"), ("pk",)))
    expected = kinds.values_list(*fields)
    assert sorted(found["kinds"], key=str) == sorted(expected, key=str)
    assert {type(row[2]) for row in found["kinds"]} == {dt.time, type(None)}
    assert found["alone"] == [(kinds.get(name="B").pk,)]


def test_lists_with_nothing_in_them(school):
    none, some = SchoolDay.objects.none(), SchoolDay.objects.filter(school=school)
    assert together(a=(none, ("pk",))) == {"a": []}
    assert together(a=(none, ("pk",)), b=(some, ("name",))) == {"a": [], "b": [("Snow",)]}
    assert together(b=(some, ("name",)), a=(some.filter(Q(pk__in=[])), ("pk",))) == {"a": [], "b": [("Snow",)]}
