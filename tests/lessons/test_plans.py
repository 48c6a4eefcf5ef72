"""Lesson plans as staff and students read them; the kit's files leave only as downloads."""

import json

import pytest
from django.core.files.base import ContentFile

from lessons.models import LessonPlan
from lessons.plan_pages import steps_by_meeting

pytestmark = pytest.mark.django_db
CONTENT = {
    "objectives": ["Measure a run."],
    "standards": [{"code": "MS-PS2-2", "text": "Plan a test."}],
    "materials_per_team": [{"what": "steel rod", "quantity": 2, "note": "cut by an adult"}],
    "preparation": ["Run one cart yourself."],
    "steps": [
        {"meeting": 2, "title": "Draw", "minutes": 12, "text": "Load across."},
        {"meeting": 1, "title": "Build", "minutes": 14, "text": "Snap."},
        {"meeting": 1, "title": "Time", "minutes": 20, "text": "Let go."},
    ],
    "cautions": [{"when": "printing", "text": "The nozzle burns <b>.", "source": "NIOSH poster 2020-115"}],
    "rubric": [{"row": "Data", "levels": ["none", "some", "all", "more"]}],
    "troubleshooting": [{"see": "It slips", "try": "Measure."}],
}


@pytest.fixture
def plan(world) -> LessonPlan:
    world.plan.content = CONTENT
    world.plan.save()
    return world.plan


def test_steps_come_meeting_by_meeting_with_their_minutes(plan):
    assert [(part.number, part.minutes, len(part.steps)) for part in steps_by_meeting(plan)] == [(1, 34, 2), (2, 12, 1)]


def test_an_empty_plan_shows_its_page(world, signed_in):
    page = signed_in(world.teacher).get(f"/lessons/{world.plan.pk}/")
    assert page.status_code == 200
    assert steps_by_meeting(world.plan) == []


def test_teacher_reads_all_of_it_and_text_is_escaped(world, plan, signed_in):
    page = signed_in(world.teacher).get(f"/lessons/{plan.pk}/").content.decode()
    for text in ("Measure a run.", "MS-PS2-2", "cut by an adult", "Run one cart", "NIOSH poster", "It slips", "more"):
        assert text in page
    assert "The nozzle burns &lt;b&gt;." in page
    assert "Your school's policy" in page


def test_students_see_cautions_but_not_the_staff_side(world, plan, signed_in):
    page = signed_in(world.student).get(f"/lessons/{plan.pk}/").content.decode()
    assert "The nozzle burns" in page
    assert "Run one cart yourself" not in page
    assert "It slips" not in page


@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("student", 200),
        ("teacher", 200),
        ("far_teacher", 200),
        ("technician", 200),
        ("administrator", 200),
        ("far_student", 404),  # the plan was not given to that class
        ("other_teacher", 404),
        ("other_technician", 404),
        ("other_student", 404),
    ],
)
def test_who_sees_a_plan_and_its_files(world, plan, signed_in, who, status):
    world.wheel.file.save("wheel", ContentFile(b"solid wheel"))
    client = signed_in(getattr(world, who))
    assert client.get(f"/lessons/{plan.pk}/").status_code == status
    response = client.get(f"/kit-parts/{world.wheel.pk}/file/")
    response.close()
    assert response.status_code == status


def test_kit_file_is_a_download_no_browser_opens(world, signed_in):
    world.wheel.file_name = 'whe"el\r\nx: y.stl'
    world.wheel.file.save("wheel", ContentFile(b"solid wheel"))
    response = signed_in(world.student).get(f"/kit-parts/{world.wheel.pk}/file/")
    assert b"".join(response.streaming_content) == b"solid wheel"
    assert response["Content-Type"] == "application/octet-stream"
    assert response["Content-Disposition"].startswith("attachment; filename=")
    assert "\n" not in response["Content-Disposition"]
    assert response["X-Content-Type-Options"] == "nosniff"
    policy = response["Content-Security-Policy"]
    assert "sandbox" in policy
    assert "default-src 'none'" in policy
    assert "script-src" not in policy


def test_kit_part_without_a_stored_file_is_a_404(world, signed_in):
    client = signed_in(world.teacher)
    assert client.get(f"/kit-parts/{world.wheel.pk}/file/").status_code == 404
    world.wheel.file.save("wheel", ContentFile(b"solid wheel"))
    world.wheel.file.storage.delete(world.wheel.file.name)
    assert client.get(f"/kit-parts/{world.wheel.pk}/file/").status_code == 404


def test_list_leads_a_student_with_one_plan_to_it_and_lists_for_staff(world, signed_in):
    assert signed_in(world.student).get("/lessons/")["Location"] == f"/lessons/{world.plan.pk}/"
    assert world.plan.title in signed_in(world.teacher).get("/lessons/").content.decode()
    assert "No lesson yet" in signed_in(world.far_student).get("/lessons/").content.decode()
    assert world.plan.title not in signed_in(world.other_teacher).get("/lessons/").content.decode()


def test_pages_take_few_queries(world, plan, signed_in, django_assert_max_num_queries):
    for who in ("student", "teacher"):
        client = signed_in(getattr(world, who))
        with django_assert_max_num_queries(10):
            client.get(f"/lessons/{plan.pk}/")


def test_the_demo_lesson_shows_every_part_it_has(world, signed_in, settings):
    path = settings.BASE_DIR / "demo_fixtures/lessons/coasting-mail-cart.json"
    lesson = json.loads(path.read_text())
    world.plan.content = lesson["content"]
    world.plan.save()
    page = signed_in(world.teacher).get(f"/lessons/{world.plan.pk}/").content.decode()
    content = lesson["content"]
    for line in (*content["objectives"], *content["discussion"]):
        assert line.split("'")[0][:40] in page.replace("&#x27;", "'")
    assert page.count('class="lasts"') == len(content["steps"])
    assert all(caution["source"][:30] in page for caution in content["cautions"])
