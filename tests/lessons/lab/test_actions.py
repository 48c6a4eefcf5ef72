"""Entering readings: once each, nothing overwritten, only by those who may; the board, the argument, the marks."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from lessons.lab import actions, queries
from lessons.lab.actions import ChangedMeanwhile, NewReading, ReadingRefused
from lessons.lab.experiment import Experiment
from lessons.models import LabBoard, Reading
from makerlab.audit.models import Event
from tests.world import World

pytestmark = pytest.mark.django_db
OWN = "own wheel"


def experiment(world: World) -> Experiment:
    found = queries.experiment_of(world.assignment)
    assert found is not None
    return found


def new(**changes: Any) -> NewReading:
    values = {"entry": uuid.uuid4(), "design": OWN, "changed": 0.0, "trial": 1, "measured": 2.81}
    return NewReading(**{**values, **changes})


def enter(world: World, reading: NewReading, user: Any = None, team: Any = None) -> Reading:
    return actions.enter(user or world.student, world.assignment, team or world.team, experiment(world), reading)


def test_a_reading_sent_twice_is_stored_once(lab: World) -> None:
    sent = new()
    assert enter(lab, sent).pk == enter(lab, sent).pk
    assert Reading.objects.count() == 1
    assert LabBoard.objects.get().revision == 1
    assert Event.objects.filter(verb="enter reading").count() == 1


def test_two_students_with_the_same_trial_both_count(lab: World) -> None:
    first, second = enter(lab, new(measured=2.81)), enter(lab, new(measured=2.84))
    assert (first.trial, second.trial) == (1, 2)


def test_a_correction_keeps_the_old_reading_on_record(lab: World) -> None:
    old = enter(lab, new(measured=28.1))
    fixed = enter(lab, new(measured=2.81, trial=9, replaces=old.pk))
    assert (fixed.trial, fixed.replaces_id) == (1, old.pk)
    again = enter(lab, new(measured=2.82, replaces=old.pk))  # from a page that did not know of the first correction
    assert again.replaces_id == fixed.pk
    result = queries.results(lab.assignment, experiment(lab)).teams[0].design(OWN).cell(0)
    assert result.readings == (2.82,)
    assert Reading.objects.count() == 3


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"design": "a rocket"}, "design"),
        ({"changed": 50.0}, "changed"),
        ({"trial": 0}, "trial"),
        ({"trial": 21}, "trial"),
        ({"measured": None}, "note"),
        ({"left_out": True, "note": "  "}, "note"),
        ({"measured": float("nan")}, "measured"),
        ({"measured": float("inf")}, "measured"),
        ({"measured": 0.0}, "measured"),
        ({"measured": -2.0}, "measured"),
        ({"changed_measured": -1.0}, "changed_measured"),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(lab: World, changes: dict[str, Any], field: str) -> None:
    with pytest.raises(ReadingRefused) as told:
        enter(lab, new(**changes))
    assert told.value.field == field
    assert not Reading.objects.exists()


def test_only_the_team_and_its_teachers_enter(lab: World) -> None:
    enter(lab, new(), user=lab.teacher)
    for user, team in (
        (lab.student, lab.second_team),
        (lab.far_student, lab.team),
        (lab.far_teacher, lab.team),
        (lab.technician, lab.team),
        (lab.other_teacher, lab.team),
        (lab.teacher, lab.far_team),
    ):
        with pytest.raises(PermissionDenied):
            enter(lab, new(), user=user, team=team)
    assert Reading.objects.count() == 1


def test_an_entry_of_another_team_is_not_handed_out(lab: World) -> None:
    sent = new()
    enter(lab, sent, user=lab.teacher, team=lab.second_team)
    with pytest.raises(ReadingRefused, match="another team"):
        enter(lab, sent)


def test_closed_entries_stop_students_and_not_the_teacher(lab: World) -> None:
    actions.set_board(lab.teacher, lab.assignment, is_open=False)
    with pytest.raises(ReadingRefused, match="closed"):
        enter(lab, new())
    enter(lab, new(), user=lab.teacher)


def test_a_device_clock_is_believed_within_reason(lab: World) -> None:
    real = timezone.now() - timedelta(minutes=20)
    assert enter(lab, new(measured_at=real)).measured_at == real
    wrong = enter(lab, new(measured_at=datetime(2001, 1, 1, tzinfo=UTC)))
    assert timezone.now() - wrong.measured_at < timedelta(minutes=1)


def test_a_frozen_board_stands_still_while_readings_go_on(lab: World) -> None:
    first = enter(lab, new(measured=2.5))
    board = actions.set_board(lab.teacher, lab.assignment, frozen=True)
    enter(lab, new(measured=2.9))
    enter(lab, new(measured=2.6, replaces=first.pk))
    frozen = queries.results(lab.assignment, experiment(lab), board).teams[0].design(OWN).cell(0)
    assert frozen.readings == (2.5,)
    running = actions.set_board(lab.teacher, lab.assignment, frozen=False)
    now = queries.results(lab.assignment, experiment(lab), running).teams[0].design(OWN).cell(0)
    assert sorted(now.readings) == [2.6, 2.9]


def test_only_teachers_of_the_class_set_the_board(lab: World) -> None:
    for user in (lab.student, lab.far_teacher, lab.technician, lab.other_teacher):
        with pytest.raises(PermissionDenied):
            actions.set_board(user, lab.assignment, is_open=False)


def test_two_who_write_the_argument_at_once_lose_nothing(lab: World) -> None:
    words = {"claim": "ours is faster", "evidence": "", "reasoning": ""}
    saved = actions.save_argument(lab.student, lab.assignment, lab.team, 0, **words)
    assert saved.revision == 1
    with pytest.raises(ChangedMeanwhile) as told:
        actions.save_argument(lab.student, lab.assignment, lab.team, 0, **{**words, "claim": "no, slower"})
    assert told.value.current.claim == "ours is faster"


def test_marks_are_given_changed_and_taken_back(lab: World) -> None:
    actions.give_mark(lab.teacher, lab.assignment, lab.team, 0, 3, "careful")
    mark = actions.give_mark(lab.teacher, lab.assignment, lab.team, 0, 4)
    assert mark is not None
    assert (mark.level, mark.row_name) == (4, "data")
    assert lab.assignment.marks.count() == 1
    assert actions.give_mark(lab.teacher, lab.assignment, lab.team, 0, None) is None
    assert not lab.assignment.marks.exists()
    with pytest.raises(ReadingRefused):
        actions.give_mark(lab.teacher, lab.assignment, lab.team, 0, 5)
    with pytest.raises(PermissionDenied):
        actions.give_mark(lab.teacher, lab.assignment, lab.team, 7, 3)
    with pytest.raises(PermissionDenied):
        actions.give_mark(lab.student, lab.assignment, lab.team, 0, 4)


def test_results_take_two_queries_for_any_class(lab: World, django_assert_num_queries: Any) -> None:
    for trial in range(1, 4):
        enter(lab, new(trial=trial))
    what = experiment(lab)
    with django_assert_num_queries(2):
        queries.results(lab.assignment, what)
