"""What is to be expected of an experiment, with its derivation and source: read by teachers, never by students."""

from __future__ import annotations

import json
from html import unescape

import pytest
from django.urls import reverse

from lessons.actions import plans as verbs
from lessons.models import LessonPlan
from lessons.plans.expected import expected_of
from tests.lessons.plans.test_sheets import LESSONS, fetched, squeezed, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture(params=LESSONS, ids=lambda path: path.stem)
def lesson(request, world) -> LessonPlan:
    values = json.loads(request.param.read_text("utf-8"))
    world.plan.content = {}
    return verbs.save_plan(world.teacher, world.plan, 1, {name: values[name] for name in verbs.OWN}, values["content"])


def test_every_lesson_of_the_demo_says_by_what_and_from_what(lesson):
    """The issue of a lesson: physics, expected results and typical errors, with derivation or published source."""
    found = expected_of(lesson.content)
    assert found is not None
    assert found.how
    assert found.based_on
    assert len(found.rows) >= 2
    assert len(found.notes) >= 3
    assert {len(row) for row in found.rows} == {len(found.head)}
    assert all(cell for row in found.rows for cell in row), "every design has every figure"


def test_teachers_read_it_on_the_page_and_on_paper_students_nowhere(world, signed_in, lesson):
    told = lesson.content["experiment"]["expected"]
    texts = [told["how"], told["from"], *told["notes"]]
    staff, student = signed_in(world.teacher), signed_in(world.student)
    page = unescape(staff.get(reverse("lessons:plan-detail", args=[lesson.pk])).content.decode())
    paper = squeezed(words_of(fetched(staff, "plan-paper-pdf", lesson)))
    assert [text for text in texts if text not in page or squeezed(text) not in paper] == []
    for text in (
        unescape(student.get(reverse("lessons:plan-detail", args=[lesson.pk])).content.decode()),
        unescape(student.get(reverse("lessons:plan-sheet", args=[lesson.pk])).content.decode()),
        words_of(fetched(student, "plan-sheet-pdf", lesson)),
    ):
        assert [told for told in texts if squeezed(told) in squeezed(text)] == []


def test_figures_by_value_are_headed_by_what_is_measured_where():
    content = {
        "experiment": {
            "changed": {"name": "load", "unit": "g"},
            "measured": {"name": "time", "unit": "s"},
            "expected": {"how": "t", "rows": [{"wheel": "old", "time_s": {"0": 2.69, "100": 2.5}, "luck": 7}]},
        }
    }
    found = expected_of(content)
    assert found.head == ("Wheel", "Time, s at 0 g", "Time, s at 100 g", "luck")
    assert found.rows == (("old", "2.69", "2.5", "7"),)


@pytest.mark.parametrize(
    "told",
    [
        None, 3, "x", [], {}, {"how": ["a"], "rows": 7}, {"rows": [1, None, "x"]}, {"notes": {"a": 1}},
        {"rows": [{"a": {"b": {"c": 1}}, "d": True, "e": None}], "notes": [3, None, [], "kept"]},
        {"how": "<script>", "rows": [{f"k{n}": n for n in range(99)}] * 99},
    ],
)  # fmt: skip
def test_anything_may_stand_there(world, signed_in, told):
    for experiment in ({"expected": told}, {"expected": told, "measured": 1, "changed": []}, told):
        world.plan.content = {"experiment": experiment}
        world.plan.save()
        answer = signed_in(world.teacher).get(reverse("lessons:plan-detail", args=[world.plan.pk]))
        assert answer.status_code == 200
        assert "<script>" not in answer.content.decode().split("<main", 1)[1].split("What to expect")[-1][:200]
        assert words_of(fetched(signed_in(world.teacher), "plan-paper-pdf", world.plan))
