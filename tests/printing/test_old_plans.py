"""A room's old plans go; the newest ones stay, whatever their age, and so do other rooms'."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from makerlab.work.registry import DAILY
from printing import old_plans
from printing.models import Room, RoomPlan
from printing.old_plans import KEPT, forget_old_plans

pytestmark = pytest.mark.django_db


def plans(room: Room, *ages_days: float) -> list[int]:
    """Plans of these ages, in days, the oldest made first."""
    made = [RoomPlan.objects.create(room=room, seconds=0.1, plates=0) for _age in ages_days]
    for plan, age in zip(made, ages_days, strict=True):
        RoomPlan.objects.filter(pk=plan.pk).update(made_at=timezone.now() - timedelta(days=age))
    return [plan.pk for plan in made]


def test_old_plans_go_and_the_newest_stay(world, monkeypatch):
    monkeypatch.setattr(old_plans, "PLANS_READ", 2)
    rarely = Room.objects.create(school=world.school, name="rarely planned")
    often, seldom = plans(world.room, 90, 40, 35, 10, 1), plans(rarely, 300, 200)
    assert forget_old_plans() == 3
    assert list(RoomPlan.objects.order_by("pk").values_list("pk", flat=True)) == [*often[3:], *seldom]
    assert forget_old_plans() == 0


def test_what_is_young_stays_however_many_there_are(world, monkeypatch):
    monkeypatch.setattr(old_plans, "PLANS_READ", 1)
    plans(world.room, 5, 4, 3)
    assert forget_old_plans() == 0
    assert forget_old_plans(timezone.now() + KEPT) == 2


def test_it_is_done_every_day():
    assert forget_old_plans in DAILY
