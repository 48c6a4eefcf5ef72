"""The same design again, and the kit's unchanged part: told to the teacher, and to nobody who may not see the other."""

from __future__ import annotations

import pytest
from django.urls import reverse

from lessons.measuring import apply_measurement
from submissions.look_alikes import look_alikes
from submissions.states import State
from tests.submissions.make import make_submission, report, text_of

pytestmark = pytest.mark.django_db
MINE = {"volume_mm3": 12000.0, "area_mm2": 7000.0, "gyration_mm": [12.0, 12.0, 17.0]}
HEAVIER = {**MINE, "volume_mm3": 12120.0}  # by one per cent
KIT = {"volume_mm3": 12379.5, "area_mm2": 7181.8, "gyration_mm": [13.0, 13.0, 18.0]}


def handed_in(world, signature, **values):
    return make_submission(world, state=State.HANDED_IN, report=report(signature=signature), **values)


def test_another_team_of_the_class_with_the_same_design_is_named(world):
    mine = handed_in(world, MINE)
    twin = handed_in(world, MINE, team=world.second_team)
    assert look_alikes(mine, world.teacher).others == (twin,)


@pytest.mark.parametrize(
    ("signature", "state"),
    [(HEAVIER, State.HANDED_IN), (None, State.HANDED_IN), (MINE, State.DRAFT), ({"a": 1}, State.HANDED_IN)],
)
def test_what_differs_or_is_not_handed_in_is_not_named(world, signature, state):
    mine = handed_in(world, MINE)
    make_submission(world, state=state, report=report(signature=signature), team=world.second_team)
    assert look_alikes(mine, world.teacher).others == ()


def test_a_report_is_only_read_where_the_volume_may_agree(world):
    """``design_volume_mm3`` narrows before reports are read; uploads checked by an earlier release have none."""
    mine = handed_in(world, MINE)
    near = handed_in(world, MINE, team=world.second_team, design_volume_mm3=MINE["volume_mm3"] * 1.0005)
    handed_in(world, MINE, team=world.second_team, version=2, design_volume_mm3=HEAVIER["volume_mm3"])
    unknown = handed_in(world, MINE, team=world.second_team, version=3)
    assert look_alikes(mine, world.teacher).others == (unknown, near)


def test_the_volume_is_written_with_the_report(world):
    mine = handed_in(world, None)
    for signature, volume in ((MINE, MINE["volume_mm3"]), (None, None)):
        told = report(signature=signature, bbox_mm=[60.0, 60.0, 8.0], copies_in_file=4, mass_g=9.8, duration_s=60.0)
        measured = {"report": told, "check_s": 1.0, "picture": ""}
        assert apply_measurement(mine, measured)
        mine.refresh_from_db()
        assert mine.design_volume_mm3 == volume


def test_own_earlier_versions_are_no_news(world):
    handed_in(world, MINE, version=1)
    assert look_alikes(handed_in(world, MINE, version=2), world.teacher).others == ()


def test_a_class_the_teacher_does_not_teach_stays_unknown(world):
    mine = handed_in(world, MINE)
    far = handed_in(world, MINE, team=world.far_team)
    assert look_alikes(mine, world.teacher).others == ()
    assert look_alikes(mine, world.administrator).others == (far,)


@pytest.mark.parametrize(("signature", "unchanged"), [(KIT, True), (MINE, False), (None, False)])
def test_the_kits_own_part_unchanged_is_said(world, signature, unchanged):
    world.wheel.report = {**world.wheel.report, "signature": KIT}
    world.wheel.save()
    assert look_alikes(handed_in(world, signature), world.teacher).kit_unchanged is unchanged


def test_the_desk_tells_both(world, signed_in):
    world.wheel.report = {**world.wheel.report, "signature": MINE}
    world.wheel.save()
    mine = handed_in(world, MINE)
    handed_in(world, MINE, team=world.second_team)
    page = text_of(signed_in(world.teacher).get(reverse("submissions:review-desk", args=[mine.pk])))
    assert "The same design as" in page
    assert "Team 2, Crew 2, version 1" in page
    assert "unchanged" in page
