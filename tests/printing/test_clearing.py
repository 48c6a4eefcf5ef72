"""Clearing a bed: what somebody saw of the end, and what it weighed. Nothing is guessed."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone

from printing import actions
from printing.learning import Seen
from printing.models import Run, Spool
from printing.states import NotAllowedNow
from tests.printing.helpers import started

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(world):
    return started(world, now=timezone.now() - timedelta(hours=3))


def clear(client, run, **values):
    return client.post(reverse("printing:run-clear", args=[run.pk]), {"how": "good", "cool": "on", **values})


def test_by_default_nobody_saw_it(world, signed_in, run):
    page = signed_in(world.technician).get(reverse("printing:run-detail", args=[run.pk])).content.decode()
    assert 'name="ended" value="unseen" checked' in page
    clear(signed_in(world.technician), run)
    run.refresh_from_db()
    assert (run.outcome, run.print_ended_at, run.weighed_g) == ("finished", None, None)


def test_it_just_stopped(world, signed_in, run):
    clear(signed_in(world.technician), run, ended="now")
    run.refresh_from_db()
    assert run.print_ended_at == run.ended_at


@pytest.mark.parametrize("chosen", ["then", "unseen"])  # a time typed in is meant, whatever is ticked
def test_a_time_in_the_schools_zone(world, signed_in, run, chosen):
    seen = timezone.now() - timedelta(minutes=70)
    local = seen.astimezone(ZoneInfo(world.school.time_zone))
    clear(signed_in(world.technician), run, ended=chosen, ended_at=local.strftime("%Y-%m-%dT%H:%M"))
    run.refresh_from_db()
    assert run.print_ended_at == seen.replace(second=0, microsecond=0)


@pytest.mark.parametrize("hours", [-4, 1])
def test_a_time_before_the_start_or_to_come_is_refused(world, run, hours):
    with pytest.raises(NotAllowedNow, match="cannot have stopped"):
        actions.finish_run(run, world.technician, seen=Seen(timezone.now() + timedelta(hours=hours)))
    assert Run.objects.get(pk=run.pk).outcome == "running"


def test_at_without_a_time_is_told_in_place(world, signed_in, run):
    answer = clear(signed_in(world.technician), run, ended="then")
    assert answer.status_code == 422
    assert b"Say when, or choose that nobody saw it." in answer.content


@pytest.mark.parametrize("value", ["nonsense", "-3", "1e9"])
def test_a_weight_that_cannot_be_is_told_in_place(world, signed_in, run, value):
    assert clear(signed_in(world.technician), run, weighed_g=value).status_code == 422
    assert Run.objects.get(pk=run.pk).outcome == "running"


def test_what_was_weighed_leaves_the_spool_and_is_priced(world, signed_in, run):
    Spool.objects.filter(printer=run.printer).update(price_per_kg="21.50")
    clear(signed_in(world.technician), run, weighed_g="46.5")
    run.refresh_from_db()
    assert (run.weighed_g, run.used_g, str(run.price_per_kg)) == (46.5, 46.5, "21.50")
    assert Spool.objects.get(printer=run.printer).grams_left == pytest.approx(600 - 46.5)


def test_a_failure_somebody_saw_used_no_more_than_until_then(world, run):
    seen = Seen(run.started_at + timedelta(minutes=30))
    actions.mark_failed(run, world.technician, "jam", seen=seen)
    run.refresh_from_db()
    assert run.used_g == pytest.approx(11.0)  # a quarter of two hours, of 44 g
    assert run.print_ended_at == seen.print_ended_at


def test_a_printer_that_takes_more_than_estimated_takes_it_off_the_spool(world):
    from tests.printing.test_learning import add_run

    for _ in range(20):
        add_run(world, None, weighed_g=44.0)
    run = started(world, now=timezone.now() - timedelta(hours=3))
    actions.finish_run(run, world.technician)
    run.refresh_from_db()
    assert run.used_g == pytest.approx(44 * 1.1, rel=0.01)
