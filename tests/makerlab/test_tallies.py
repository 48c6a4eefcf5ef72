"""Counts of tries: exact, by span, and cleared away when a new span begins."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone

from makerlab.accounts import limits
from makerlab.accounts.models import Tally

pytestmark = pytest.mark.django_db


def test_a_span_begins_with_its_first_count_and_a_new_one_after_it():
    begun = timezone.now()
    with time_machine.travel(begun, tick=False):
        assert [limits.note("try", "Ada", 60) for _ in range(3)] == [1, 2, 3]
        assert limits.note("try", "Bo", 60) == 1
    with time_machine.travel(begun + timedelta(seconds=59), tick=False):
        assert limits.count("try", "Ada", 60) == 3
        assert limits.note("try", "Ada", 60) == 4
    with time_machine.travel(begun + timedelta(seconds=60), tick=False):
        assert limits.count("try", "Ada", 60) == 0
        assert limits.note("try", "Ada", 60) == 1
        assert Tally.objects.count() == 1  # Bo's is cleared away
        assert Tally.objects.get().ends_at == begun + timedelta(seconds=120)


def test_an_address_is_over_by_either_ceiling(rf, monkeypatch):
    monkeypatch.setattr(limits, "ADDRESS_CEILINGS", ((2, 60), (4, 3600)))
    request, other = rf.get("/", REMOTE_ADDR="10.0.0.1"), rf.get("/", REMOTE_ADDR="10.0.0.2")
    begun = timezone.now()
    with time_machine.travel(begun, tick=False):
        limits.note_from_address("wrong", request)
        assert not limits.address_is_over("wrong", request)
        limits.note_from_address("wrong", request)
        assert limits.address_is_over("wrong", request)
        assert not limits.address_is_over("wrong", other)
        assert not limits.address_is_over("other kind", request)
    with time_machine.travel(begun + timedelta(seconds=61), tick=False):
        assert not limits.address_is_over("wrong", request)
        limits.note_from_address("wrong", request)
        limits.note_from_address("wrong", request)
    with time_machine.travel(begun + timedelta(seconds=200), tick=False):
        assert limits.address_is_over("wrong", request)  # four within the hour
