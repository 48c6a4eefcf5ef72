"""The kit: parts measured by the engine, gauges proposed from the mesh, nothing used is changed silently."""

from __future__ import annotations

import html

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from lessons.actions import kits
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.models import KitPart, PartGauge
from lessons.plans.kit import differences, fingerprint, last_mesh_change, proposals, use_of
from makerlab.uploads import UploadRefused
from makerlab.work.actions import run_waiting
from makerlab.work.models import Job
from tests.conftest import ROOT

pytestmark = pytest.mark.django_db(transaction=True)
MESHES = ROOT / "demo_fixtures" / "meshes" / "kit"


def mesh(name: str) -> SimpleUploadedFile:
    return SimpleUploadedFile(f"{name}.stl", (MESHES / f"{name}.stl").read_bytes())


def fresh(part: KitPart) -> KitPart:
    return KitPart.objects.select_related("plan", "gauge").get(pk=part.pk)


def seen(part: KitPart) -> str:
    return fingerprint(fresh(part))


@pytest.fixture
def unused(world):
    """The plan of the world without the class that has it."""
    world.assignment.delete()
    return world


def test_a_part_is_measured_and_its_gauge_proposed(unused):
    world = unused
    part = kits.add_part(world.teacher, world.plan, "Spare wheel", mesh("wheel"))
    assert (part.code, part.check_state, part.position) == ("spare-wheel", "checking", 2)
    run_waiting()
    part = fresh(part)
    assert part.check_state == "checked"
    best = proposals(part)[0]
    # the wheel is made by lessons.parts.wheel: a bore of 3.2 mm right through a hub 8 mm wide, rim 60 mm
    assert best.values["hole_diameter_mm"] == pytest.approx(3.2, abs=0.03)
    assert best.values["hole_depth_mm"] == pytest.approx(8.0, abs=0.05)
    assert best.values["through"] is True
    assert best.values["eccentricity_max_mm"] == 0.2
    assert best.values["size_x_mm"] >= part.width_mm
    kits.set_gauge(world.teacher, part, best.values, seen(part), known=False)
    run_waiting()
    assert fresh(part).gauge.through is True
    assert fresh(part).verdict in ("ok", "advice")  # the part meets the gauge it proposed


def test_codes_do_not_collide_and_the_same_bytes_are_stored_once(unused):
    world = unused
    first = kits.add_part(world.teacher, world.plan, "Wheel", mesh("wheel"))
    second = kits.add_part(world.teacher, world.plan, "Wheel", mesh("wheel"))
    third = kits.add_part(world.teacher, world.plan, "轮", mesh("wheel"))
    assert [part.code for part in (first, second, third)] == ["wheel-2", "wheel-3", "part"]
    assert len({part.file.name for part in (first, second, third)}) == 1
    other = kits.add_part(world.teacher, world.plan, "Chassis", SimpleUploadedFile("a.stl", b"something else"))
    assert other.file.name != first.file.name


def test_a_file_that_is_none_is_told_and_the_kit_stays(unused):
    world = unused
    with pytest.raises(UploadRefused):
        kits.add_part(world.teacher, world.plan, "Empty", SimpleUploadedFile("a.stl", b""))
    bad = kits.add_part(world.teacher, world.plan, "Text", SimpleUploadedFile("../../a.stl", b"not a mesh at all"))
    run_waiting()
    bad = fresh(bad)
    assert (bad.file_name, bad.verdict, bad.mass_g) == ("a.stl", "rejected", None)


@pytest.mark.parametrize("who", ["student", "technician", "other_teacher"])
def test_who_may_not_does_not(unused, who):
    person, part = unused.people()[who], unused.wheel
    for verb in (
        lambda: kits.add_part(person, unused.plan, "Mine", mesh("wheel")),
        lambda: kits.change_part(person, part, {"spares": 9}, seen(part), True),
        lambda: kits.replace_mesh(person, part, mesh("wheel"), seen(part), True),
        lambda: kits.lay_part(person, part, turned=False, seen=seen(part), known=True),
        lambda: kits.set_gauge(person, part, None, seen(part), True),
        lambda: kits.move_part(person, part, 1),
        lambda: kits.remove_part(person, part, seen(part), True),
        lambda: kits.restore_part(person, part),
    ):
        with pytest.raises(PermissionDenied):
            verb()
    assert unused.plan.kit_parts.count() == 2
    assert PartGauge.objects.count() == 1


def test_a_used_part_is_not_changed_silently(world):
    with pytest.raises(kits.NotKnown):
        kits.change_part(world.teacher, world.wheel, {"spares": 3}, seen(world.wheel), known=False)
    with pytest.raises(kits.NotKnown):
        kits.replace_mesh(world.teacher, world.wheel, mesh("wheel"), seen(world.wheel), known=False)
    with pytest.raises(kits.NotKnown):
        kits.remove_part(world.teacher, world.wheel, seen(world.wheel), known=False)
    assert fresh(world.wheel).spares == 0
    assert "Given to 7B" in use_of(world.wheel).told[0]
    assert kits.change_part(world.teacher, world.wheel, {"spares": 3}, seen(world.wheel), known=True).spares == 3


def test_a_page_that_is_too_old_changes_nothing(unused):
    world, old = unused, seen(unused.wheel)
    kits.change_part(world.teacher, world.wheel, {"spares": 3}, old, known=False)
    with pytest.raises(ChangedMeanwhile):
        kits.change_part(world.far_teacher, world.wheel, {"spares": 4}, old, known=False)
    with pytest.raises(ChangedMeanwhile):
        kits.set_gauge(world.far_teacher, world.wheel, None, old, known=False)
    assert fresh(world.wheel).spares == 3


def test_a_new_mesh_is_measured_and_says_what_it_changed(unused):
    world = unused
    part = kits.add_part(world.teacher, world.plan, "Thing", mesh("wheel"))
    run_waiting()
    before = fresh(part)
    with pytest.raises(NotPossible):
        kits.replace_mesh(world.teacher, part, mesh("wheel"), seen(part), known=False)
    old = before.file.name
    kits.replace_mesh(world.teacher, part, mesh("chassis"), seen(part), known=False)
    assert fresh(part).check_state == "checking"
    run_waiting()
    part = fresh(part)
    told = differences(last_mesh_change(part), part)
    assert any(line.startswith("mass: ") for line in told)
    assert any(line.startswith("size: ") for line in told)
    assert not part.file.storage.exists(old)
    assert part.file.storage.exists(part.file.name)


def test_gone_when_unused_put_away_when_used(world):
    part = kits.add_part(world.teacher, world.plan, "Thing", mesh("wheel"))
    assert kits.remove_part(world.teacher, part, seen(part), known=True) is False  # a class has the lesson
    part = fresh(part)
    assert (part.archived_at is not None, part.copies_per_team, part.redesignable) == (True, 0, False)
    kits.restore_part(world.teacher, part)
    world.assignment.delete()
    name, storage = part.file.name, part.file.storage
    assert kits.remove_part(world.teacher, fresh(part), seen(part), known=False) is True
    assert not KitPart.objects.filter(pk=part.pk).exists()
    assert not storage.exists(name)


def test_parts_are_moved(unused):
    world = unused
    kits.move_part(world.teacher, world.chassis, -1)
    assert [part.code for part in world.plan.kit_parts.all()] == ["chassis", "wheel"]
    kits.move_part(world.teacher, world.chassis, -1)
    assert [part.code for part in world.plan.kit_parts.all()] == ["chassis", "wheel"]


def test_another_material_is_measured_and_planned_again(unused):
    world = unused
    world.wheel.file.save("", mesh("wheel"))
    kits.change_part(world.teacher, world.wheel, {"material": "PETG"}, seen(world.wheel), known=False)
    assert Job.objects.filter(kind="check-kit-part", subject=str(world.wheel.pk)).exists()
    with pytest.raises(NotPossible):
        kits.change_part(world.teacher, world.wheel, {"material": "CHEESE"}, seen(world.wheel), known=False)


def test_the_pages(world, signed_in):
    client = signed_in(world.teacher)
    assert client.post(reverse("lessons:plan-kit", args=[world.plan.pk]), {"name": ""}).status_code == 422
    added = client.post(reverse("lessons:plan-kit", args=[world.plan.pk]), {"name": "Hoop", "file": mesh("wheel")})
    part = KitPart.objects.get(name="Hoop")
    address = reverse("lessons:kit-edit", args=[part.pk])
    assert added.url == address
    assert "being measured" in client.get(address).content.decode()
    run_waiting()
    page = " ".join(html.unescape(client.get(address).content.decode()).split())
    assert "Hole of 3.20 mm, 8.00 mm deep, right through" in page
    assert "not confirmed yet" in page
    answer = client.post(address, {"what": "gauge", "seen": seen(part), "hole_plus_mm": "x", "size_x_mm": "1,5"})
    assert answer.status_code == 422
    assert "Give all three sizes of the box, or none." in html.unescape(answer.content.decode())
    gauge = {"hole_diameter_mm": "3,2", "hole_plus_mm": "0.1", "hole_minus_mm": "0.05", "hole_depth_tolerance_mm": "1"}
    unknown = client.post(address, {"what": "gauge", "seen": seen(part), "through": "yes", **gauge})
    assert unknown.status_code == 422
    assert "tick that you know" in unknown.content.decode()
    assert 'value="3,2"' in unknown.content.decode()
    assert client.post(address, {"what": "gauge", "seen": seen(part), "known": "on", **gauge}).status_code == 302
    assert fresh(part).gauge.hole_diameter_mm == 3.2
    values = {"name": "Hoop", "copies_per_team": "2", "spares": "1", "material": "PLA", "colour": "red"}
    redesigned = {**values, "what": "part", "seen": seen(part), "known": "on", "redesignable": "on"}
    assert client.post(address, redesigned).status_code == 422  # a part that is redesigned needs a task
    assert client.post(address, {**redesigned, "task": "Draw it."}).status_code == 302
    assert (fresh(part).copies_per_team, fresh(part).redesignable) == (2, True)
    assert client.post(address, {"what": "nothing"}).status_code == 422
    client.post(reverse("lessons:kit-move", args=[part.pk]), {"step": "up"})
    client.post(address, {"what": "remove", "seen": seen(part), "known": "on"})
    assert "Taken out" in client.get(reverse("lessons:plan-kit", args=[world.plan.pk])).content.decode()
    client.post(reverse("lessons:kit-restore", args=[part.pk]))
    assert fresh(part).archived_at is None


def test_the_page_of_a_part_takes_few_queries(world, signed_in, django_assert_max_num_queries):
    client = signed_in(world.teacher)
    with django_assert_max_num_queries(12):
        client.get(reverse("lessons:kit-edit", args=[world.wheel.pk]))
