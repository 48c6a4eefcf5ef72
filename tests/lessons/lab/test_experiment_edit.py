"""A teacher edits the experiment of a lesson: nothing typed is lost, nothing measured loses its place."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from lessons.actions.plans import bring_back
from lessons.actions.refusals import NotPossible
from lessons.lab.edit import ExperimentForm, number_of
from lessons.lab.experiment import read_experiment
from lessons.models import LessonPlan, PlanVersion, Reading
from makerlab.demo import fixtures
from tests.lessons.lab.test_experiment import GOOD
from tests.world import World

pytestmark = pytest.mark.django_db
NO_MODEL = {"model_kind": "", "body_g": "", "track_length_m": "", "track_rise_m": ""}


def posted(plan: LessonPlan, **changes: Any) -> dict[str, Any]:
    form = ExperimentForm.of_content(plan.version, plan.content)
    return {"version": form.version, "do": "save", **form.typed, **form.rows, **changes}


def url(world: World) -> str:
    return reverse("lessons:experiment-edit", args=[world.plan.pk])


def teacher(client: Client, world: World) -> Client:
    client.force_login(world.teacher)
    return client


def measure(world: World, design: str = "own wheel", changed: float = 200) -> None:
    Reading.objects.create(
        assignment=world.assignment, team=world.team, entry=uuid.uuid4(), design=design, changed=changed, trial=1,
        measured=2.5, measured_at=timezone.now(),
    )  # fmt: skip


@pytest.mark.parametrize("plan", fixtures.lesson_plans(), ids=lambda plan: str(plan["code"]))
def test_a_demo_experiment_comes_back_from_the_form_meaning_the_same(plan: dict[str, Any]) -> None:
    form = ExperimentForm.of_content(1, plan["content"])
    made = form.check(plan["content"]["experiment"])
    assert (form.errors, form.general) == ({}, [])
    assert read_experiment({"experiment": made}) == read_experiment(plan["content"])
    assert made.get("expected") == plan["content"]["experiment"].get("expected"), "keys the form does not know stay"


def test_it_is_saved_with_a_version_of_what_stood_there(client: Client, lab: World) -> None:
    answer = teacher(client, lab).post(url(lab), posted(lab.plan, changed_name="mail", predicted="50,5", weigh="on"))
    assert answer.status_code == 302
    lab.plan.refresh_from_db()
    found = read_experiment(lab.plan.content)
    assert found is not None
    assert (found.changed.name, found.predicted, found.weigh) == ("mail", 50.5, True)
    kept = PlanVersion.objects.get(plan=lab.plan)
    assert kept.fields["content"]["experiment"] == GOOD


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"changed_unit": "bushels of cheese"}, "not a unit we know"),
        ({"measured_name": " "}, "This is needed"),
        ({"tried": ["0", "many", "200"]}, "is not a number"),
        ({"tried": ["0", "0"]}, "there twice"),
        ({"tried": ["", ""]}, "Give 1 to 12"),
        ({"tried": ["5"]}, "needs two values"),
        ({"predicted": "200"}, "predict another one"),
        ({"predicted": "inf"}, "is not a number"),
        ({"rank_at": "50"}, "take one of these"),
        ({"trials": "2.5"}, "whole number"),
        ({"trials": "0"}, "From 1 to 20"),
        ({"decimals": "9"}, "From 0 to 4"),
        ({"best": "middle"}, "Choose one"),
        ({"designs": ["a", "a"]}, "there twice"),
        ({"designs": ["a" * 41]}, "At most 40 letters"),
        ({"scatter_sd": "0.2"}, "where this figure is from"),
        ({"scatter_sd": "-1", "scatter_source": "us"}, "above 0"),
        ({"track_rise_m": "4"}, "rise by more"),
        ({"track_rise_m": ""}, "both length and rise"),
        ({"wheels": "40"}, "From 1 to 12"),
        ({"changed_unit": "kg"}, "the load is in g"),
        ({"model_kind": ""}, "Choose the model the figures below belong to"),
        ({"model_kind": "perpetual"}, "Choose one"),
        ({"model_kind": "launcher"}, "The model needs this"),
        ({"model_kind": "hull"}, "needs what is measured in mm"),
        ({"model_kind": "turbine", "turbine_blades": "2.5", "turbine_tip_mm": "100"}, "whole number"),
        ({"model_kind": "turbine", "turbine_blades": "3", "turbine_tip_mm": "2"}, "From 10 to 1000"),
    ],
)
def test_a_fault_is_told_in_place_and_nothing_typed_is_lost(
    client: Client, lab: World, changes: dict[str, Any], said: str
) -> None:
    answer = teacher(client, lab).post(url(lab), posted(lab.plan, worksheet=["<b>kept & seen"], **changes))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "&lt;b&gt;kept &amp; seen" in page
    lab.plan.refresh_from_db()
    assert lab.plan.content["experiment"] == GOOD


def test_a_teacher_gives_a_model_its_figures(client: Client, lab: World) -> None:
    """The fields of the model alone are kept; a figure that may stay empty is left away."""
    floats = {
        **NO_MODEL, "model_kind": "hull", "hull_mast_g": "1,5", "measured_name": "freeboard", "measured_unit": "cm",
    }  # fmt: skip
    assert teacher(client, lab).post(url(lab), posted(lab.plan, **floats)).status_code == 302
    lab.plan.refresh_from_db()
    assert lab.plan.content["experiment"]["model"] == {"kind": "hull", "mast_g": 1.5}
    assert "cart" not in lab.plan.content["experiment"]
    found = read_experiment(lab.plan.content)
    assert found is not None
    assert found.model is not None
    assert (found.model["mast_g"], found.model["water_g_per_cm3"]) == (1.5, 0.998)
    page = client.get(url(lab)).content.decode()
    assert 'value="1.5"' in page
    assert '<details class="card stack edit-part" id="e-model-hull" open>' in page
    assert client.post(url(lab), posted(lab.plan, model_kind="", hull_mast_g="")).status_code == 302
    lab.plan.refresh_from_db()
    assert "model" not in lab.plan.content["experiment"]


def test_rows_come_and_go(client: Client, lab: World) -> None:
    one_more = teacher(client, lab).post(url(lab), posted(lab.plan, do="add:tried"))
    assert one_more.content.decode().count('name="tried"') == 3
    fewer = client.post(url(lab), posted(lab.plan, do="remove:tried:0"))
    assert fewer.content.decode().count('name="tried"') == 1
    for odd in ("remove:tried:99", "remove:nothing:0", "add:", "remove:tried:x", "??"):
        assert client.post(url(lab), posted(lab.plan, do=odd)).status_code == 200
    lab.plan.refresh_from_db()
    assert lab.plan.content["experiment"] == GOOD


def test_the_preview_shows_the_table_of_a_team_or_what_is_lacking(client: Client, lab: World) -> None:
    good = teacher(client, lab).post(url(lab), posted(lab.plan, do="", trials="4", tried=["0", "350"])).content.decode()
    assert "350\u00a0g" in good
    assert "Run 4" in good
    bad = client.post(url(lab), posted(lab.plan, do="", changed_unit="zzz")).content.decode()
    assert "Not ready yet" in bad


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({**NO_MODEL, "changed_unit": "kg"}, "In another unit their numbers would be wrong"),
        ({**NO_MODEL, "measured_unit": "min"}, "In another unit their numbers would be wrong"),
        ({"tried": ["0", "300"]}, "Teams have measured at 200"),
        ({"designs": ["starting wheel", "better wheel"]}, "Keep that name"),
        ({"do": "drop"}, "cannot be taken away"),
    ],
)
def test_what_teams_measured_keeps_its_place(client: Client, lab: World, changes: dict[str, Any], said: str) -> None:
    measure(lab)
    answer = teacher(client, lab).post(url(lab), posted(lab.plan, **changes))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    lab.plan.refresh_from_db()
    assert lab.plan.content["experiment"] == GOOD


def test_an_old_version_in_another_unit_does_not_come_back_over_readings(client: Client, lab: World) -> None:
    """A load of 200 g must not turn into 200 kg by bringing back the text of a year ago."""
    changed = posted(lab.plan, **NO_MODEL, changed_unit="kg")
    assert teacher(client, lab).post(url(lab), changed).status_code == 302
    lab.plan.refresh_from_db()
    measure(lab)
    first = lab.plan.versions.get()
    with pytest.raises(NotPossible, match="In another unit their numbers would be wrong"):
        bring_back(lab.teacher, lab.plan, first.number, lab.plan.version)
    page = client.post(
        reverse("lessons:plan-version-back", args=[lab.plan.pk, first.number]),
        {"version": lab.plan.version},
        follow=True,
    )
    assert "Copy the lesson to change the unit" in page.content.decode()
    lab.plan.refresh_from_db()
    assert lab.plan.content["experiment"]["changed"]["unit"] == "kg"


def test_more_values_and_designs_may_come_after_measuring(client: Client, lab: World) -> None:
    measure(lab)
    changed = posted(lab.plan, tried=["0", "200", "300"], designs=["starting wheel", "own wheel", "third"])
    assert teacher(client, lab).post(url(lab), changed).status_code == 302


def test_without_readings_the_experiment_can_be_taken_out(client: Client, lab: World) -> None:
    assert teacher(client, lab).post(url(lab), posted(lab.plan, do="drop")).status_code == 302
    lab.plan.refresh_from_db()
    assert "experiment" not in lab.plan.content


def test_a_lesson_without_an_experiment_gets_one(client: Client, world: World) -> None:
    assert teacher(client, world).get(url(world)).status_code == 200
    fields = posted(
        world.plan, changed_name="blade pitch", changed_unit="deg", tried=["10", "30"], measured_name="voltage",
        measured_unit="V", best="high",
    )  # fmt: skip
    assert client.post(url(world), fields).status_code == 302
    world.plan.refresh_from_db()
    found = read_experiment(world.plan.content)
    assert found is not None
    assert (found.ramp, found.cart, found.predicted, found.is_timed) == (None, None, None, False)


def test_of_two_savers_the_second_is_told_and_keeps_what_was_typed(client: Client, lab: World) -> None:
    mine = posted(lab.plan, changed_name="mine")
    teacher(client, lab).post(url(lab), posted(lab.plan, changed_name="theirs"))
    second = client.post(url(lab), mine)
    assert second.status_code == 409
    assert 'value="mine"' in second.content.decode()


def test_a_save_of_another_part_in_between_does_no_harm(client: Client, lab: World) -> None:
    mine = posted(lab.plan, changed_name="mine")
    from lessons.actions.plans import save_plan

    save_plan(lab.teacher, lab.plan, lab.plan.version, content={"vocabulary": [{"word": "mean", "meaning": "middle"}]})
    assert teacher(client, lab).post(url(lab), mine).status_code == 302
    lab.plan.refresh_from_db()
    assert lab.plan.content["vocabulary"]
    assert lab.plan.content["experiment"]["changed"]["name"] == "mine"


def test_only_who_may_write_the_plan_sees_it(client: Client, lab: World) -> None:
    for user in (lab.student, lab.other_teacher):
        client.force_login(user)
        assert client.get(url(lab)).status_code == 404


@pytest.mark.parametrize(
    ("text", "value"), [("2,5", 2.5), (" 1 000 ", 1000), ("\u22123", -3), ("nan", None), ("", None)]
)
def test_numbers_as_people_write_them(text: str, value: float | None) -> None:
    assert number_of(text) == value
