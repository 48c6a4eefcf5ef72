"""Verbs of a lesson plan: nothing is lost, of two who save at once the second is told, standard cautions stay."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.base import ContentFile

from lessons.actions import plans
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.models import LessonPlan
from lessons.plans.cautions import STANDARD, all_cautions, with_standard
from makerlab.audit.models import Event
from makerlab.work.models import Job

pytestmark = pytest.mark.django_db


def test_what_was_before_is_kept(world):
    plan = plans.save_plan(world.teacher, world.plan, 1, {"summary": "Roll on."}, {"objectives": ["Time a run."]})
    assert (plan.version, plan.summary, plan.content["objectives"]) == (2, "Roll on.", ["Time a run."])
    kept = plan.versions.get()
    assert (kept.number, kept.fields["summary"], kept.saved_by) == (1, "Roll.", world.teacher)
    event = Event.objects.filter(verb="save_plan").first()
    assert event
    assert event.facts == {"version": 2, "changed": ["summary", "cautions", "objectives"]}


def test_a_change_of_nothing_makes_no_version(world):
    plan = plans.save_plan(world.teacher, world.plan, 1, {"summary": "Roll on."})
    again = plans.save_plan(world.teacher, plan, 2, {"summary": "Roll on."})
    assert (again.version, plan.versions.count()) == (2, 1)


def test_other_keys_stay_and_none_takes_one_away(world):
    first = plans.save_plan(world.teacher, world.plan, 1, content={"objectives": ["A"], "discussion": ["B"]})
    plan = plans.save_plan(world.teacher, first, 2, content={"objectives": None})
    assert "objectives" not in plan.content
    assert plan.content["discussion"] == ["B"]


def test_the_second_of_two_is_told(world):
    plans.save_plan(world.teacher, world.plan, 1, {"summary": "First."})
    with pytest.raises(ChangedMeanwhile):
        plans.save_plan(world.far_teacher, world.plan, 1, {"summary": "Second."})
    world.plan.refresh_from_db()
    assert world.plan.summary == "First."


@pytest.mark.parametrize("who", ["student", "technician", "other_teacher"])
def test_who_may_not_write_does_not(world, who):
    person = world.people()[who]
    for verb in (
        lambda: plans.save_plan(person, world.plan, 1, {"summary": "No."}),
        lambda: plans.copy_plan(person, world.plan, "Mine"),
        lambda: plans.archive_plan(person, world.plan),
        lambda: plans.restore_plan(person, world.plan),
        lambda: plans.bring_back(person, world.plan, 1, 1),
    ):
        with pytest.raises(PermissionDenied):
            verb()
    world.plan.refresh_from_db()
    assert (world.plan.summary, world.plan.version, LessonPlan.objects.count()) == ("Roll.", 1, 1)


def test_standard_cautions_cannot_be_left_out(world):
    plan = plans.save_plan(world.teacher, world.plan, 1, content={"cautions": []})
    told = {row["text"] for row in plan.content["cautions"]}
    assert told == {row["text"] for row in STANDARD}  # the kit is printed, so its parts come off a plate too


def test_a_teacher_adds_cautions_and_a_standard_one_keeps_its_source():
    own = {"when": "tools", "text": "Mind the saw.", "source": "our school"}
    changed = {**STANDARD[0], "source": "I made this up"}
    found = all_cautions({"cautions": [own, changed]}, has_kit=True)
    assert own in found
    assert STANDARD[0] in found
    assert changed not in found
    assert [row["when"] for row in found] == sorted(
        (row["when"] for row in found), key=["printing", "tools", "lab day", "always"].index
    )
    assert with_standard({"cautions": found}, has_kit=True) == {"cautions": found}


@pytest.mark.parametrize(
    ("steps", "has_kit", "kinds"),
    [
        ([], False, {"always"}),
        ([], True, {"printing", "tools", "always"}),
        ([{"kind": "tools"}], False, {"tools", "always"}),
        ([{"kind": "printing"}], False, {"printing", "tools", "always"}),
        ([{"kind": "talk"}], False, {"always"}),
    ],
)
def test_which_cautions_a_plan_needs(steps, has_kit, kinds):
    assert {row["when"] for row in all_cautions({"steps": steps}, has_kit)} == kinds


def test_a_copy_has_kit_mesh_and_gauge(world):
    world.wheel.file.save("", ContentFile(b"solid nothing"))
    made = plans.copy_plan(world.far_teacher, world.plan, "My cart")
    assert (made.adapted_from, made.summary, made.version) == (world.plan, "Roll.", 1)
    wheel = made.kit_parts.get(code="wheel")
    assert wheel.pk != world.wheel.pk
    assert wheel.file.name != world.wheel.file.name
    with wheel.file.open("rb") as stream:
        assert stream.read() == b"solid nothing"
    assert wheel.gauge.hole_diameter_mm == 3.2
    assert (wheel.copies_per_team, wheel.redesignable, wheel.mass_g) == (4, True, 10.0)
    assert made.kit_parts.count() == 2
    assert world.plan.kit_parts.count() == 2
    assert Job.objects.filter(kind="check-kit-part", subject=str(wheel.pk)).count() == 1


def test_two_plans_of_a_name_are_refused(world):
    with pytest.raises(NotPossible):
        plans.copy_plan(world.teacher, world.plan, world.plan.title)
    other = plans.make_plan(world.teacher, "Windmill")
    with pytest.raises(NotPossible):
        plans.save_plan(world.teacher, other, 1, {"title": world.plan.title})
    assert LessonPlan.objects.count() == 2


def test_put_away_and_taken_back(world):
    plans.archive_plan(world.teacher, world.plan)
    world.plan.refresh_from_db()
    assert world.plan.archived_at is not None
    plans.restore_plan(world.teacher, world.plan)
    world.plan.refresh_from_db()
    assert world.plan.archived_at is None


def test_an_old_version_comes_back_and_the_newer_one_is_kept(world):
    plan = plans.save_plan(world.teacher, world.plan, 1, {"summary": "Newer."}, {"objectives": ["A"]})
    back = plans.bring_back(world.teacher, plan, 1, 2)
    assert (back.summary, back.version, "objectives" in back.content) == ("Roll.", 3, False)
    assert [(v.number, v.fields["summary"]) for v in back.versions.all()] == [(2, "Newer."), (1, "Roll.")]
    with pytest.raises(ChangedMeanwhile):
        plans.bring_back(world.teacher, back, 2, 2)
    with pytest.raises(NotPossible):
        plans.bring_back(world.teacher, back, 9, 3)


@pytest.mark.django_db(transaction=True)
def test_of_ten_who_save_at_once_one_wins(world, at_once):
    def save(number: int):
        def run() -> tuple[int, int]:
            saved = plans.save_plan(world.teacher, world.plan, 1, {"summary": f"Text {number}."})
            return saved.version, saved.versions.count()

        return run

    results = at_once(*(save(number) for number in range(10)))
    assert [result for result in results if isinstance(result, tuple)] == [(2, 1)]
    assert sum(isinstance(result, ChangedMeanwhile) for result in results) == 9
