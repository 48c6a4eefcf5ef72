"""What filament costs: shares of a run by hand, good and lost apart, rows that add up."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.urls import reverse

from printing import actions
from printing.costs import costs_of, price_today
from printing.models import PrintCopy, Spool
from tests.printing.helpers import make_plate, ordered, started

pytestmark = pytest.mark.django_db


@pytest.fixture
def printed(world):
    """Four wheels of one team on a plate of 44 g at 20 a kilogram; one is lost."""
    Spool.objects.update(price_per_kg=Decimal("20.00"))
    run = started(world, make_plate(world, ordered(world)))
    lost = run.plate.copies.order_by("number").first()
    actions.mark_partly(run, world.technician, {lost.pk: "warped"})
    return run


def test_by_hand(world, printed):
    costs = costs_of(world.assignment)
    assert costs.whole.good.grams == pytest.approx(33)
    assert costs.whole.lost.grams == pytest.approx(11)
    assert (costs.whole.good_cost, costs.whole.lost_cost) == (Decimal("0.66"), Decimal("0.22"))
    assert [line.name for line in costs.teams] == ["1 Crew 1"]
    assert [line.name for line in costs.parts] == ["wheel"]
    assert costs.unpriced_g == 0
    # the lost wheel is in the queue again, and the kit's other parts with it
    waiting = PrintCopy.objects.filter(request__assignment=world.assignment, state="waiting").count()
    assert costs.to_come.copies == waiting
    assert costs.to_come.cost is not None


def test_support_and_raft_belong_to_the_copy(world):
    Spool.objects.update(price_per_kg=Decimal("20.00"))
    plain = ordered(world)
    heavy = ordered(world, world.second_team, report=world.wheel.report | {"support_g": 9.0, "raft_brim_g": 2.0})
    plate = make_plate(world, plain, mass_g=66.0)
    other = list(heavy.copies.filter(state="waiting"))
    for place, copy in enumerate(other):
        PrintCopy.objects.filter(pk=copy.pk).update(plate=plate, state="planned", place=9 + place, x_mm=1, y_mm=1)
    actions.finish_run(started(world, plate), world.technician)
    teams = {line.name: line for line in costs_of(world.assignment).teams}
    assert teams["2 Crew 2"].good.grams == pytest.approx(44)  # 11 + 9 + 2 of each, beside 11
    assert teams["1 Crew 1"].good.grams == pytest.approx(22)


def test_what_has_no_price_is_told_not_priced(world, printed):
    printed.price_per_kg = None
    printed.save()
    costs = costs_of(world.assignment)
    assert costs.whole.good_cost == 0
    assert costs.unpriced_g == pytest.approx(44)


def test_a_price_is_that_of_the_run_not_of_today(world, printed):
    Spool.objects.update(price_per_kg=Decimal("40.00"))
    assert costs_of(world.assignment).whole.good_cost == Decimal("0.66")
    assert price_today(world.school.pk, "PLA", "white") == Decimal("40.00")
    assert price_today(world.school.pk, "PETG", "white") is None
    assert price_today(world.other_school.pk, "PLA", "white") is None


def test_pages_for_staff_who_may_see_the_class(world, signed_in, printed):
    detail = reverse("printing:assignment-cost", args=[world.assignment.pk])
    for who, status in (("teacher", 200), ("technician", 200), ("far_teacher", 404), ("student", 404)):
        client = signed_in(getattr(world, who))
        assert client.get(detail).status_code == status, who
    page = signed_in(world.teacher).get(detail).content.decode()
    assert "0.66" in page
    assert "0.22" in page
    assert "0.66" in signed_in(world.teacher).get(reverse("printing:assignment-costs")).content.decode()
    assert "0.66" not in signed_in(world.far_teacher).get(reverse("printing:assignment-costs")).content.decode()


def test_the_report_tells_staff_only(world, signed_in, printed):
    submission = printed.plate.copies.first().request.submission
    type(submission).objects.update(picture="<svg></svg>")  # the figures stand below it; 11 g at 20 a kilogram
    url = reverse("submissions:submission-report", args=[submission.pk])
    assert "its filament costs 0.22" in signed_in(world.teacher).get(url).content.decode()
    assert "filament costs" not in signed_in(world.student).get(url).content.decode()
