"""Lessons on paper, read back by pdfium: everything is there, in its letters, inside the margins; students get no
staff's side."""

from __future__ import annotations

import json
import re

import numpy as np
import pypdfium2
import pytest
from django.urls import reverse

from lessons.actions import plans as verbs
from lessons.models import LessonPlan
from tests.conftest import ROOT

pytestmark = pytest.mark.django_db
LESSONS = sorted((ROOT / "demo_fixtures" / "lessons").glob("*.json"))
MARGIN_PT = 18 * 72 / 25.4


@pytest.fixture(params=LESSONS, ids=lambda path: path.stem)
def lesson(request, world) -> LessonPlan:
    values = json.loads(request.param.read_text("utf-8"))
    world.plan.content = {}
    fields = {name: values[name] for name in verbs.OWN}
    return verbs.save_plan(world.teacher, world.plan, 1, fields, values["content"])


def words_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    # without the line at the foot, which would stand in the middle of a paragraph that goes over the page
    text = " ".join(page.get_textpage().get_text_bounded(bottom=MARGIN_PT) for page in document)
    document.close()
    return " ".join(text.replace("\ufffe", "-").split())


def fetched(client, name: str, plan: LessonPlan) -> bytes:
    answer = client.get(reverse(f"lessons:{name}", args=[plan.pk]))
    assert answer["Content-Type"] == "application/pdf"
    return answer.content


def squeezed(text: str) -> str:
    return "".join(text.split()).replace("-", "")


def test_the_plan_holds_all_that_is_written(world, signed_in, lesson):
    found = squeezed(words_of(fetched(signed_in(world.teacher), "plan-paper-pdf", lesson)))
    content = lesson.content
    texts = [lesson.title, lesson.summary]
    texts += [
        text
        for name in (
            "objectives",
            "subjects",
            "connection",
            "background",
            "preparation",
            "discussion",
            "differentiation",
            "extensions",
            "sources",
        )
        for text in content[name]
    ]
    texts += [row["text"] for name in ("standards", "steps", "cautions", "assessment") for row in content[name]]
    texts += [row["source"] for row in content["cautions"]]
    texts += [row["meaning"] for row in content["vocabulary"]] + [row["try"] for row in content["troubleshooting"]]
    texts += [level for row in content["rubric"] for level in row["levels"]]
    assert [text for text in texts if squeezed(text) not in found] == []


def test_the_sheet_holds_what_students_need_and_nothing_of_the_staff(world, signed_in, lesson):
    found = squeezed(words_of(fetched(signed_in(world.student), "plan-sheet-pdf", lesson)))
    content = lesson.content
    for text in (row["text"] for name in ("steps", "cautions") for row in content[name]):
        assert squeezed(text) in found
    staff = [*content["preparation"], *content["differentiation"], *content["background"], *content["sources"]]
    staff += [row["try"] for row in content["troubleshooting"]] + [row["text"] for row in content["assessment"]]
    for text in staff:
        assert squeezed(text) not in found
    assert "Graphpaper" in found
    assert "Trial3" in found


def test_students_get_no_teachers_plan(world, signed_in, lesson):
    assert signed_in(world.student).get(reverse("lessons:plan-paper-pdf", args=[lesson.pk])).status_code == 404


def test_nothing_lies_outside_the_margins_and_no_page_ends_in_a_heading(world, signed_in, lesson):
    for name in ("plan-paper-pdf", "plan-sheet-pdf"):
        document = pypdfium2.PdfDocument(fetched(signed_in(world.teacher), name, lesson))
        for page in document:
            ink = np.asarray(page.render(scale=1).to_pil().convert("L")) < 200
            columns = np.flatnonzero(ink.any(axis=0))
            assert columns.min() >= MARGIN_PT - 6
            assert columns.max() <= page.get_width() - MARGIN_PT + 6
            lines = [line for line in page.get_textpage().get_text_range().splitlines() if line.strip()]
            assert lines[0].startswith("Alderwick School")  # the foot is drawn first, so the last line is the text's
            assert not re.fullmatch(r"Meeting \d+, \d+ min", lines[-1])
            assert lines[-1] not in ("Words", "Rubric", "Cautions", "Objectives", "To talk about", "Worksheet")
        document.close()


def test_no_page_of_the_sheet_is_nearly_empty(world, signed_in, lesson):
    """A class takes thirty of them: a page with a few words on it is thirty pages of paper."""
    document = pypdfium2.PdfDocument(fetched(signed_in(world.student), "plan-sheet-pdf", lesson))
    for page in document:
        ink = np.asarray(page.render(scale=1).to_pil().convert("L")) < 200
        written = np.flatnonzero(ink[: int(page.get_height() - MARGIN_PT)].any(axis=1))
        assert written.max() > 0.35 * page.get_height()
    document.close()


@pytest.mark.parametrize("name", ["Łukasz Żółw", "Zoë O’Neill", "Ağlayan Çınar", "Nguyễn Thị", "Þórður", "Ďurčo Ǧ"])
def test_letters_of_latin_names_are_kept(world, signed_in, name):
    content = {"vocabulary": [{"word": name, "meaning": "a person <b>"}]}
    plan = verbs.save_plan(world.teacher, world.plan, 1, {"title": name}, content)
    found = words_of(fetched(signed_in(world.teacher), "plan-sheet-pdf", plan))
    assert found.count(name) >= 2
    assert "a person <b>" in found


def test_long_words_and_rows_do_not_break_a_page(world, signed_in):
    long = "Donaudampfschifffahrt" * 9
    content = {
        "steps": [{"meeting": 1, "minutes": 5, "kind": "tools", "title": long, "text": "word " * 390}] * 30,
        "rubric": [{"row": long, "levels": [long, "x", "y " * 900, "z"]}],
        "cautions": [{"when": "tools", "text": "mind it " * 240, "source": "us"}] * 9,
        "materials_per_team": [{"what": long, "quantity": 2.5, "note": long}],
    }
    plan = verbs.save_plan(world.teacher, world.plan, 1, {}, content)
    for name in ("plan-paper-pdf", "plan-sheet-pdf"):
        document = pypdfium2.PdfDocument(fetched(signed_in(world.teacher), name, plan))
        for page in document:
            ink = np.asarray(page.render(scale=1).to_pil().convert("L")) < 200
            assert np.flatnonzero(ink.any(axis=0)).max() <= page.get_width() - MARGIN_PT + 6
        document.close()


def test_an_empty_plan_and_one_whose_experiment_is_broken_print_too(world, signed_in):
    client = signed_in(world.teacher)
    world.plan.content = {"experiment": {"changed": 3}}
    world.plan.save()
    for name in ("plan-paper-pdf", "plan-sheet-pdf"):
        assert "Coasting cart" in words_of(fetched(client, name, world.plan))


def test_the_page_to_print_has_cautions_steps_and_worksheet(world, signed_in, lesson):
    page = signed_in(world.student).get(reverse("lessons:plan-sheet", args=[lesson.pk])).content.decode()
    assert page.index("The nozzle and the bed burn.") < page.index('id="steps"') < page.index('class="to-fill"')
