"""A lesson as a file: what is exported comes back equal, and a package from outside brings in nothing unchecked."""

from __future__ import annotations

import html
import json
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from lessons.actions import packages
from lessons.actions.plans import save_plan
from lessons.models import KitPart, LessonPackage, LessonPlan, PartGauge
from lessons.plans.package import CannotExport, export
from makerlab.accounts.models import School
from makerlab.audit.models import Event
from makerlab.demo.loader import Builder
from makerlab.work.actions import run_waiting
from tests.lessons.plans.packages import (
    WHEEL,
    brought,
    lesson,
    packed,
    unpacked,
    wheel_row,
)

pytestmark = pytest.mark.django_db(transaction=True)


class TestRoundTrip:
    def test_the_demo_lessons_come_back_equal(self, world):
        """Every lesson the demo ships, exported in one school and brought into another."""
        school = Builder().build()
        plans = list(school.lesson_plans.order_by("pk"))
        assert plans
        for plan in plans:
            first = export(plan)
            package = brought(world.teacher, first)
            made = packages.save_package(world.teacher, package, plan.title)
            assert made.pk != plan.pk
            assert made.school == world.school
            assert unpacked(export(made)) == unpacked(first), plan.title
            assert export(made) == first, plan.title
            assert made.kit_parts.count() == plan.kit_parts.count()

    def test_what_the_editor_wrote_comes_back_equal(self, world):
        world.assignment.delete()
        for part in (world.wheel, world.chassis):
            part.file.save("", ContentFile(WHEEL))
        KitPart.objects.filter(pk=world.wheel.pk).update(
            pose=[[1, 0, 0], [0, 0, -1], [0, 1, 0]], unit="inch", settings={"infill_share": 0.35, "wall_mm_s": None}
        )
        KitPart.objects.filter(pk=world.chassis.pk).update(archived_at=timezone.now())
        PartGauge.objects.filter(kit_part=world.wheel).update(through=None, hole_depth_mm=None, hole_plus_mm=0.1 + 0.2)
        data = export(world.plan)
        assert [row["code"] for row in unpacked(data)[0]["kit"]] == ["wheel"]  # what was put away stays at home
        made = packages.save_package(world.administrator, brought(world.administrator, data), "Again")
        document, members = unpacked(export(made))
        before, meshes = unpacked(data)
        assert members == meshes
        assert {**document, "title": "Coasting cart"} == before
        wheel = made.kit_parts.get()
        assert (wheel.unit, wheel.settings, wheel.gauge.through) == (
            "inch", {"infill_share": 0.35, "wall_mm_s": None}, None
        )  # fmt: skip

    def test_the_same_lesson_makes_the_same_bytes_and_names_nobody(self, world):
        world.wheel.file.save("", ContentFile(WHEEL))
        world.chassis.file.save("", ContentFile(WHEEL))
        saved = save_plan(world.far_teacher, world.plan, 1, {"summary": "Roll on."})
        data = export(saved)
        assert data == export(saved)
        whole = b"".join([data, json.dumps(unpacked(data)[0]).encode()])
        for word in (world.school.name, "far_teacher", world.school_class.name, "Pip"):
            assert word.encode() not in whole

    def test_the_parts_are_measured_once_saved(self, world):
        package = brought(world.teacher, packed())
        assert package.looked["wheel"]["triangles"] == (len(WHEEL) - 84) // 50
        assert package.looked["wheel"]["closed"] is True
        assert max(package.looked["wheel"]["size_mm"]) == pytest.approx(60.0, abs=0.1)  # rim of lessons.parts.wheel
        made = packages.save_package(world.teacher, package, "Rolling home")
        wheel = made.kit_parts.get()
        assert (wheel.check_state, wheel.mass_g) == ("checking", None)
        run_waiting()
        wheel.refresh_from_db()
        assert wheel.check_state == "checked"
        assert wheel.mass_g > 1
        event = Event.objects.get(verb="bring_in_plan")
        assert (event.subject_id, event.facts["parts"]) == (str(made.pk), 1)
        told = {row["text"] for row in made.content["cautions"]}
        assert any("nozzle" in text for text in told)  # a package cannot leave out the standard cautions

    def test_a_lesson_not_written_to_its_end_is_not_exported(self, world):
        LessonPlan.objects.filter(pk=world.plan.pk).update(summary="")
        world.plan.refresh_from_db()
        with pytest.raises(CannotExport, match="Summary"):
            export(world.plan)

    def test_a_file_that_is_gone_is_told(self, world):
        with pytest.raises(CannotExport, match="wheel"):
            export(world.plan)


class TestPages:
    def test_a_teacher_sees_what_is_in_it_and_saves_it(self, world, signed_in: Callable[..., Any]):
        client = signed_in(world.teacher)
        start = reverse("lessons:plan-import")
        assert client.get(start).status_code == 200
        document = lesson(title=world.plan.title, licence="ours")
        answer = client.post(start, {"file": SimpleUploadedFile("rolling.zip", packed(document))})
        assert answer.status_code == 302
        plans = LessonPlan.objects.count()
        page = html.unescape(client.get(answer["Location"]).content.decode())
        for word in ("Roll it down.", "Wheel", "60.0 × ", "hole of 3.20\u00a0mm", "licence"):
            assert word in page
        assert f"{world.plan.title} (2)" in page  # the name proposed is free
        assert LessonPlan.objects.count() == plans
        taken = client.post(answer["Location"], {"title": world.plan.title})
        assert taken.status_code == 422
        saved = client.post(answer["Location"], {"title": "Mine"})
        made = LessonPlan.objects.get(title="Mine")
        assert saved["Location"] == reverse("lessons:plan-detail", args=[made.pk])
        assert client.get(answer["Location"]).status_code == 404
        sent = client.get(reverse("lessons:plan-package", args=[made.pk]))
        assert sent["Content-Disposition"] == 'attachment; filename="Mine.lesson.zip"'
        assert unpacked(sent.content)[0]["title"] == "Mine"

    def test_what_is_wrong_is_told_and_nothing_is_kept(self, world, signed_in):
        client = signed_in(world.teacher)
        start = reverse("lessons:plan-import")
        bad = SimpleUploadedFile("rolling.zip", packed(lesson(title="", kit=[wheel_row(spares=-1)])))
        answer = client.post(start, {"file": bad})
        assert answer.status_code == 422
        page = html.unescape(answer.content.decode())
        assert "Title: Please fill this in." in page
        assert "Kit part 1, Wheel, Spares for the class" in page
        assert client.post(start).status_code == 422
        assert not LessonPackage.objects.exists()

    def test_a_package_is_its_owners(self, world, signed_in):
        package = brought(world.teacher, packed())
        for who in ("far_teacher", "administrator", "technician", "student", "other_teacher"):
            client = signed_in(world.people()[who])
            assert client.get(reverse("lessons:package-detail", args=[package.pk])).status_code == 404
            assert client.post(reverse("lessons:package-drop", args=[package.pk])).status_code == 404
        assert (
            signed_in(world.other_teacher).get(reverse("lessons:plan-package", args=[world.plan.pk])).status_code == 404
        )
        signed_in(world.teacher).post(reverse("lessons:package-drop", args=[package.pk]))
        assert not LessonPackage.objects.exists()

    def test_an_export_that_cannot_be_is_told_on_the_lessons_page(self, world, signed_in):
        answer = signed_in(world.teacher).get(reverse("lessons:plan-package", args=[world.plan.pk]), follow=True)
        assert "is not stored here" in html.unescape(answer.content.decode())

    def test_the_preview_costs_few_queries(self, world, signed_in, django_assert_max_num_queries):
        package = brought(world.teacher, packed())
        client = signed_in(world.teacher)
        with django_assert_max_num_queries(8):
            page = client.get(reverse("lessons:package-detail", args=[package.pk]))
        assert len(page.content) < 150_000

    def test_another_school_gets_its_own(self, world):
        other = School.objects.get(pk=world.other_school.pk)
        package = brought(world.other_teacher, packed())
        assert packages.save_package(world.other_teacher, package, world.plan.title).school == other
