"""The editor's pages: rows come and go without loss, faults in place, two savers, preview, versions."""

from __future__ import annotations

import html
import re

import pytest
from django.urls import reverse

from lessons.actions import plans as verbs
from lessons.models import LessonPlan
from lessons.plans.editor import PlanForm
from tests.world import World

pytestmark = pytest.mark.django_db


def posted(plan: LessonPlan, **changes: str) -> dict[str, str]:
    """What the editor's page would send for this plan, with changes."""
    form = PlanForm.of_plan(plan)
    data = {"version": str(form.version), **form.typed}
    for part, rows in form.rows.items():
        data[f"{part}-rows"] = str(len(rows))
        for at, row in enumerate(rows):
            data |= {f"{part}-{at}-{column}": value for column, value in row.items()}
    return data | changes


def written(world: World) -> LessonPlan:
    content = {
        "objectives": ["Time a run.", "Draw a line."],
        "steps": [
            {"meeting": 1, "minutes": 30, "title": "Talk", "text": "Talk of it."},
            {"meeting": 1, "minutes": 20, "kind": "printing", "title": "Print", "text": "Watch the first layer."},
        ],
        "rubric": [{"row": "Data", "levels": ["a", "b", "c", "d"]}],
        "troubleshooting": [{"see": "It wobbles", "try": "Press it on."}],
        "materials_per_team": [{"what": "rod", "quantity": 2.5, "note": ""}],
        "experiment": {"kept": "by the other page"},
    }
    return verbs.save_plan(world.teacher, world.plan, 1, {"meetings_count": 1}, content)


@pytest.fixture
def plan(world) -> LessonPlan:
    return written(world)


@pytest.fixture
def edit(world, signed_in, plan):
    client = signed_in(world.teacher)
    return lambda data: client.post(reverse("lessons:plan-edit", args=[plan.pk]), data)


def test_the_page_holds_everything_and_saving_it_changes_nothing(world, signed_in, plan, edit):
    page = signed_in(world.teacher).get(reverse("lessons:plan-edit", args=[plan.pk])).content.decode()
    names = set(re.findall(r'name="([^"]+)"', page))
    assert names >= posted(plan).keys()
    before = verbs.snapshot(plan)
    assert edit(posted(plan, do="save")).status_code == 302
    plan.refresh_from_db()
    assert (plan.version, verbs.snapshot(plan)) == (2, before)


def test_saving_writes_every_field(plan, edit):
    changes = {
        "title": "Rolling", "summary": "New.", "grade_band": "9-12", "meetings_count": "2", "group_size": "4",
        "meeting_minutes": "45", "objectives-0-text": "Time five runs.", "steps-1-minutes": "15",
        "rubric-0-level4": "best", "standards-rows": "1", "standards-0-code": "MS-PS3-1", "do": "save",
    }  # fmt: skip
    assert edit(posted(plan, **changes)).status_code == 302
    plan.refresh_from_db()
    assert (plan.title, plan.summary, plan.grade_band, plan.meetings_count, plan.group_size) == (
        "Rolling", "New.", "9-12", 2, 4,
    )  # fmt: skip
    assert plan.content["meeting_minutes"] == 45
    assert plan.content["objectives"][0] == "Time five runs."
    assert plan.content["steps"][1]["kind"] == "printing"
    assert plan.content["steps"][1]["minutes"] == 15
    assert plan.content["rubric"][0]["levels"] == ["a", "b", "c", "best"]
    assert plan.content["standards"][0]["text"].startswith("Draw and read graphs")  # ours, filled in
    assert plan.content["experiment"] == {"kept": "by the other page"}


@pytest.mark.parametrize(
    ("asked", "texts"),
    [
        ("add:objectives", ["Typed.", "Draw a line.", ""]),
        ("remove:objectives:1", ["Typed."]),
        ("up:objectives:1", ["Draw a line.", "Typed."]),
        ("down:objectives:0", ["Draw a line.", "Typed."]),
        ("up:objectives:0", ["Typed.", "Draw a line."]),
        ("remove:objectives:7", ["Typed.", "Draw a line."]),
        ("remove:nothing:0", ["Typed.", "Draw a line."]),
        ("fly:objectives:0", ["Typed.", "Draw a line."]),
    ],
)
def test_rows_come_and_go_and_nothing_typed_is_lost(plan, edit, asked, texts):
    answer = edit(posted(plan, **{"objectives-0-text": "Typed.", "summary": "Half a sent", "do": asked}))
    page = answer.content.decode()
    assert answer.status_code == 200
    assert re.findall(r'name="objectives-\d-text"[^>]*>([^<]*)</textarea>', page) == texts
    assert "Half a sent</textarea>" in page
    plan.refresh_from_db()
    assert (plan.version, plan.summary) == (2, "Roll.")  # nothing is saved by this


class TestALongLesson:
    """Its parts are closed at first, so that the page stays small; what is not on the page is not touched."""

    @pytest.fixture
    def plan(self, world) -> LessonPlan:
        steps = [{"meeting": 1, "minutes": 1, "title": f"Step {n}", "text": f"Text {n}."} for n in range(50)]
        cautions = [{"when": "tools", "text": f"Mind {n}.", "source": "common practice"} for n in range(3)]
        content = {"objectives": ["Time a run.", "Draw a line."], "steps": steps, "cautions": cautions}
        return verbs.save_plan(world.teacher, world.plan, 1, {"meetings_count": 1}, content)

    def own(self, plan: LessonPlan, **changes: str) -> dict[str, str]:
        """What the page sends when no part is open."""
        return {name: value for name, value in posted(plan).items() if "-" not in name} | changes

    def test_its_parts_are_closed_and_told_by_their_beginnings(self, world, signed_in, plan):
        page = signed_in(world.teacher).get(reverse("lessons:plan-edit", args=[plan.pk])).content.decode()
        assert "steps-rows" not in page
        assert "50 rows: Step 0 · Step 1" in page
        assert len(page) < 30_000

    def test_saving_with_all_closed_changes_only_what_was_typed(self, plan, edit):
        before = verbs.snapshot(plan)
        assert edit(self.own(plan, summary="Shorter.", do="save")).status_code == 302
        plan.refresh_from_db()
        assert verbs.snapshot(plan) == before | {"summary": "Shorter."}

    def test_opening_one_part_keeps_what_is_typed_and_leaves_the_others_closed(self, plan, edit):
        page = edit(self.own(plan, summary="Half a sent", do="open:objectives")).content.decode()
        assert "Half a sent</textarea>" in page
        assert 'name="objectives-1-text"' in page
        assert "steps-rows" not in page
        rows = {"objectives-rows": "1", "objectives-0-text": "Typed."}
        both = edit(self.own(plan, do="open:cautions", **rows)).content.decode()
        assert ">Typed.</textarea>" in both
        assert ">Mind 2.</textarea>" in both
        assert edit(self.own(plan, do="save", **rows)).status_code == 302
        plan.refresh_from_db()
        assert plan.content["objectives"] == ["Typed."]
        assert len(plan.content["steps"]) == 50
        assert {"Mind 0.", "Mind 1.", "Mind 2."} <= {row["text"] for row in plan.content["cautions"]}

    def test_what_another_saved_in_a_closed_part_stays(self, world, plan, edit):
        mine = self.own(plan, summary="Mine.", do="save")
        verbs.save_plan(world.far_teacher, plan, 2, {}, {"objectives": ["Theirs."]})
        assert edit(mine).status_code == 409
        assert edit({**mine, "version": "3"}).status_code == 302
        plan.refresh_from_db()
        assert (plan.summary, plan.content["objectives"]) == ("Mine.", ["Theirs."])

    def test_a_fault_in_a_part_opens_it(self, plan, edit):
        page = edit(self.own(plan, **{"objectives-rows": "1", "objectives-0-text": "x" * 2001, "do": "save"}))
        assert page.status_code == 422
        assert 'aria-describedby="objectives-0-text-error"' in page.content.decode()


def test_how_it_reads_comes_when_it_is_asked_for(plan, edit):
    """With script the page fetches it; without, a button asks for the page with it."""
    assert "Meeting 1: steps take" not in edit(posted(plan, title="", do="save")).content.decode()
    assert "Meeting 1: steps take 55" in edit(posted(plan, **{"steps-0-minutes": "35"}, do="preview")).content.decode()


def test_a_fault_stands_at_its_field_and_all_is_kept(plan, edit):
    answer = edit(posted(plan, **{"title": "", "steps-0-minutes": "soon", "summary": "Mine <b>", "do": "save"}))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'aria-describedby="steps-0-minutes-error"' in page
    assert 'aria-describedby="own-title-error"' in page
    assert 'value="soon"' in page
    assert "Mine &lt;b&gt;</textarea>" in page
    plan.refresh_from_db()
    assert plan.version == 2


def test_a_taken_name_is_told(world, plan, edit):
    verbs.make_plan(world.teacher, "Windmill")
    answer = edit(posted(plan, title="Windmill", do="save"))
    assert answer.status_code == 422
    assert "another name" in answer.content.decode()


def test_the_second_saver_is_told_and_both_keep_their_text(world, plan, edit):
    mine = posted(plan, **{"summary": "Second.", "objectives-0-text": "Mine.", "do": "save"})
    verbs.save_plan(world.far_teacher, plan, 2, {"summary": "First.", "grade_band": "5"})
    answer = edit(mine)
    page = html.unescape(answer.content.decode())
    assert answer.status_code == 409
    assert "far teacher saved this lesson while you were at it" in page
    assert "Taken over from them, as you had not touched it: Grades." in page
    assert "You both changed: Summary." in page
    assert ">Second.</textarea>" in page
    assert 'name="version" value="3"' in page
    assert 'name="grade_band" value="5"' in page
    again = {**mine, "version": "3", "grade_band": "5"}
    assert edit(again).status_code == 302
    plan.refresh_from_db()
    assert (plan.summary, plan.grade_band, plan.content["objectives"][0]) == ("Second.", "5", "Mine.")
    assert plan.versions.get(number=3).fields["summary"] == "First."


def test_standard_cautions_are_shown_not_edited_and_come_before_the_step(world, signed_in, plan):
    client = signed_in(world.student)
    page = client.get(reverse("lessons:plan-detail", args=[plan.pk])).content.decode()
    caution = "The nozzle and the bed burn."
    assert page.count(caution) == 2  # among the cautions, and before the step at the printers
    assert page.rindex(caution) < page.index("Watch the first layer.")
    form = PlanForm.of_plan(plan)
    assert form.rows["cautions"] == []


def test_preview_shows_what_is_typed_and_saves_nothing(world, signed_in, plan):
    data = posted(plan, **{"summary": "As typed.", "steps-0-minutes": "35"})
    page = signed_in(world.teacher).post(reverse("lessons:plan-preview", args=[plan.pk]), data).content.decode()
    assert "As typed." in page
    plan.refresh_from_db()
    assert (plan.summary, plan.version) == ("Roll.", 2)
    assert "Meeting 1: steps take 55 min" in page


@pytest.mark.parametrize("junk", ["", "9" * 400, "-1", "x", "³"])
def test_preview_and_editor_stand_junk(world, signed_in, plan, junk):
    client = signed_in(world.teacher)
    alone = posted(plan, **{"steps-0-meeting": junk})
    assert client.post(reverse("lessons:plan-preview", args=[plan.pk]), alone).status_code == 200
    data = posted(plan, **{"steps-rows": junk, "version": junk, "steps-0-meeting": junk, "meetings_count": junk})
    assert client.post(reverse("lessons:plan-preview", args=[plan.pk]), data).status_code == 200
    assert client.post(reverse("lessons:plan-edit", args=[plan.pk]), {**data, "do": "save"}).status_code in (409, 422)
    assert client.post(reverse("lessons:plan-edit", args=[plan.pk]), {"do": "save"}).status_code == 422


def test_versions_are_listed_looked_at_and_brought_back(world, signed_in, plan):
    client = signed_in(world.teacher)
    verbs.save_plan(world.teacher, plan, 2, {"summary": "Newest."})
    page = html.unescape(client.get(reverse("lessons:plan-versions", args=[plan.pk])).content.decode())
    assert "From version 2 to 3" in page
    assert "<ins>Newest.</ins>" in page
    old = client.get(reverse("lessons:plan-version", args=[plan.pk, 2])).content.decode()
    assert "<del>Roll.</del>" in old
    assert client.get(reverse("lessons:plan-version", args=[plan.pk, 8])).status_code == 404
    back = reverse("lessons:plan-version-back", args=[plan.pk, 2])
    client.post(back, {"version": "2"})  # a page from before the newest save
    plan.refresh_from_db()
    assert plan.version == 3
    client.post(back, {"version": "3"})
    plan.refresh_from_db()
    assert (plan.version, plan.summary) == (4, "Roll.")


def test_new_copy_put_away_and_back(world, signed_in, plan):
    client = signed_in(world.teacher)
    assert client.post(reverse("lessons:plan-new"), {"title": ""}).status_code == 422
    assert client.post(reverse("lessons:plan-new"), {"title": plan.title}).status_code == 422
    assert client.post(reverse("lessons:plan-new"), {"title": "Hoist"}).status_code == 302
    made = client.post(reverse("lessons:plan-copy", args=[plan.pk]), {"title": "My cart"})
    copy = LessonPlan.objects.get(title="My cart")
    assert made.url == reverse("lessons:plan-edit", args=[copy.pk])
    assert "Adapted from" in client.get(reverse("lessons:plan-detail", args=[copy.pk])).content.decode()
    client.post(reverse("lessons:plan-archive", args=[copy.pk]))
    assert "Put away" in client.get(reverse("lessons:plan-list")).content.decode()
    client.post(reverse("lessons:plan-restore", args=[copy.pk]))
    copy.refresh_from_db()
    assert copy.archived_at is None


@pytest.mark.parametrize("name", ["plan-edit", "plan-detail", "plan-versions"])
def test_pages_take_few_queries(world, signed_in, plan, name, django_assert_max_num_queries):
    client = signed_in(world.teacher)
    with django_assert_max_num_queries(12):
        client.get(reverse(f"lessons:{name}", args=[plan.pk]))
