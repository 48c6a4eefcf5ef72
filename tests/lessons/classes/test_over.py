"""Classes whose last meeting was long ago are offered to be archived together."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lessons.models import SchoolClass
from tests.world import make_class

pytestmark = pytest.mark.django_db


def test_classes_that_are_over_are_archived_together(world, signed_in):
    """Three of the teacher's: one met three weeks ago, one yesterday, one not yet; another teacher's met long ago."""

    def met(name: str, days_ago: int, teacher) -> SchoolClass:
        school_class = make_class(world.school, name, teacher)
        ended = timezone.now() - timedelta(days=days_ago)
        school_class.meetings.create(starts_at=ended - timedelta(hours=1), ends_at=ended, period="1")
        return school_class

    old, fresh = met("6A", 21, world.teacher), met("6B", 1, world.teacher)
    far = met("6D", 300, world.far_teacher)
    teacher = signed_in(world.teacher)
    page = teacher.get(reverse("lessons:class-list")).content.decode()
    offered = re.findall(r'name="class" value="(\d+)"', page)
    assert offered == [str(old.pk)]
    address = reverse("lessons:class-archive-several")
    asked = {"class": [old.pk, far.pk, world.school_class.pk, "x"]}
    told = teacher.post(address, asked, follow=True).content.decode()
    assert "6A is archived" in told
    assert "still to come in this class" in told, "one that may not be is told of, the other is archived all the same"
    states = dict(SchoolClass.objects.filter(archived_at=None).values_list("name", "pk"))
    assert "6A" not in states
    assert {"6B", "6D", "7B"} <= set(states)
    assert 'value="' + str(old.pk) not in told
    assert fresh.pk in states.values()
    for person in (world.student, world.technician):
        assert signed_in(person).post(address, {"class": [fresh.pk]}).status_code == 404
    assert signed_in(world.other_teacher).post(address, {"class": [fresh.pk]}).status_code == 302
    assert SchoolClass.objects.get(pk=fresh.pk).archived_at is None
