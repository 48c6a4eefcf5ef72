"""What each of the demo's five lessons costs the room, given to five classes of 28: how long that takes to reckon.

The room is the demo's as it is set up, with what its classes have waiting. The peer is the dearest step by itself: the
search for the room's plan with all plates laid out (``planning.schedule.solve``), which no answer can do without.
"""

from __future__ import annotations

import time
from datetime import datetime, timedelta
from math import ceil

import pytest
from django.utils import timezone

from lessons.models import LessonPlan
from makerlab.demo import loader
from planning.schedule import solve
from planning.types import Stop
from printing.giving.reckon import STEPS, ground, planned, reckon, wanted_parts, with_lesson
from printing.giving.values import Gift
from printing.models import Room
from tests.bench.plan.report import processor_s, row

pytestmark = [pytest.mark.bench, pytest.mark.django_db]
CLASSES, STUDENTS, DAYS_AHEAD = 5, 28, 28


def five_classes(plan: LessonPlan, now: datetime) -> list[Gift]:
    first = now + timedelta(days=DAYS_AHEAD)
    teams = ceil(STUDENTS / plan.group_size)
    return [Gift(at, f"class {at}", teams, first + timedelta(hours=at)) for at in range(1, CLASSES + 1)]


def test_every_lesson_of_the_demo() -> None:
    loader.load(lambda line: None)
    room, now = Room.objects.get(), timezone.now()
    plans = list(LessonPlan.objects.order_by("pk"))
    reckon(ground(room, now), list(plans[0].kit_parts.all()), five_classes(plans[0], now)[:1])  # kernels are compiled
    for plan in plans:
        parts, gifts = list(plan.kit_parts.all()), five_classes(plan, now)
        began = time.perf_counter()
        used_s, found = processor_s(lambda p=parts, g=gifts: reckon(ground(room, now), p, g))
        wall_s = time.perf_counter() - began
        snapshot = ground(room, now).snapshot
        problem = planned(with_lesson(snapshot, gifts, wanted_parts(parts)[0])).posed.problem
        search_s, _plan = processor_s(lambda p=problem: solve(p, Stop(iterations=STEPS, prove=False)))
        row(
            f"{plan.title}: {found.copies} copies for five classes of 28",
            "< 2 s on two cores",
            f"{wall_s:.2f} s, processor {used_s:.2f} s",
            f"{used_s / search_s:.1f} x the search alone",
        )
        assert found.copies >= CLASSES * len(parts)
