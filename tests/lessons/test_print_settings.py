"""Print settings: one place puts them together, saving has everything measured and planned again, trying changes
nothing, and nothing typed is lost."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from lessons import trying
from lessons.actions.print_settings import ChangedMeanwhile, ClashesInClass, set_print_settings, try_print_settings
from lessons.models import PartEstimate
from lessons.print_settings import fingerprint, in_force, own_changes
from makerlab.audit.models import Event
from makerlab.work.actions import run_waiting
from makerlab.work.models import Job
from meshcheck import service
from meshcheck.types import PrintSettings
from printing.models import Plate
from submissions.models import Submission
from tests.printing.helpers import give_file, ordered_mesh, plan_now, with_meshes
from tests.submissions.make import make_submission, text_of

pytestmark = pytest.mark.django_db


def test_class_over_kit_over_defaults(world):
    world.wheel.settings = {"walls": 3, "infill_share": 0.3}
    world.wheel.material = "PETG"
    world.assignment.print_settings = {"wheel": {"infill_share": 0.5, "wall_mm_s": 30.0}}
    mine = in_force(world.wheel, world.assignment)
    kit = in_force(world.wheel)
    assert (mine.walls, mine.infill_share, mine.material, mine.wall_mm_s) == (3, 0.5, "PETG", 30.0)
    assert (kit.walls, kit.infill_share, kit.material, kit.wall_mm_s) == (3, 0.3, "PETG", None)
    assert in_force(world.chassis, world.assignment) == PrintSettings()


def test_only_what_differs_is_kept(world):
    assert set_print_settings(world.teacher, world.wheel, world.assignment, {"walls": 2, "infill_share": 0.4})
    world.assignment.refresh_from_db()
    assert world.assignment.print_settings == {"wheel": {"infill_share": 0.4}}
    assert set_print_settings(world.teacher, world.wheel, world.assignment, {})
    world.assignment.refresh_from_db()
    assert world.assignment.print_settings == {}
    assert not set_print_settings(world.teacher, world.wheel, world.assignment, {"walls": 2})


def test_saving_is_on_record(world):
    set_print_settings(world.teacher, world.wheel, None, {"walls": 4, "material": "PETG"})
    world.wheel.refresh_from_db()
    assert (world.wheel.settings, world.wheel.material) == ({"walls": 4}, "PETG")
    event = Event.objects.get(verb="set_print_settings")
    assert event.facts["before"] == {"material": "PLA"}
    assert event.facts["after"] == {"walls": 4, "material": "PETG"}


def test_settings_that_cannot_work_change_nothing(world):
    with pytest.raises(ValueError, match="line width"):
        set_print_settings(world.teacher, world.wheel, world.assignment, {"line_width_mm": 2.0})
    world.assignment.refresh_from_db()
    assert world.assignment.print_settings == {}
    assert not Job.objects.exists()


def test_of_two_at_once_the_second_is_told(world):
    seen = fingerprint(own_changes(world.wheel, world.assignment))
    set_print_settings(world.teacher, world.wheel, world.assignment, {"walls": 3}, seen)
    with pytest.raises(ChangedMeanwhile):
        set_print_settings(world.administrator, world.wheel, world.assignment, {"walls": 5}, seen)


def test_the_kit_may_not_break_what_a_class_changed(world):
    set_print_settings(world.teacher, world.wheel, world.assignment, {"line_width_mm": 0.33})
    with pytest.raises(ClashesInClass) as clash:
        set_print_settings(world.teacher, world.wheel, None, {"nozzle_mm": 0.6, "line_width_mm": 0.6})
    assert clash.value.assignment == world.assignment


@pytest.mark.parametrize("who", ["student", "technician", "far_teacher", "other_teacher", "other_student"])
def test_others_may_not_change_a_class(world, who):
    with pytest.raises(PermissionDenied):
        set_print_settings(getattr(world, who), world.wheel, world.assignment, {"walls": 3})
    with pytest.raises(PermissionDenied):
        try_print_settings(getattr(world, who), world.wheel, world.assignment, {"walls": 3})


def test_a_change_has_what_counts_measured_again(world):
    draft = make_submission(world, version=1)
    handed_in = make_submission(world, version=2, state="handed_in")
    approved = make_submission(world, version=3, team=world.second_team, state="approved")
    make_submission(world, version=4, team=world.second_team, state="replaced")
    set_print_settings(world.teacher, world.wheel, world.assignment, {"infill_share": 1.0})
    waiting = {job.subject for job in Job.objects.filter(kind="check-submission", state="waiting")}
    assert waiting == {str(each.pk) for each in (draft, handed_in, approved)}
    states = dict(Submission.objects.values_list("pk", "check_state"))
    assert states[draft.pk] == states[handed_in.pk] == "checking"
    assert states[approved.pk] == "checked"  # its plates stay planned until the new figures are there
    light = Submission.objects.get(pk=approved.pk).mass_g
    run_waiting("measure")
    heavier = Submission.objects.get(pk=approved.pk)
    expected = service.measure(
        heavier.file.path, heavier.file_name, None, {"infill_share": 1.0}, {}, {}, None
    )["report"]["mass_g"]  # fmt: skip
    assert heavier.mass_g == pytest.approx(expected)
    assert heavier.mass_g != light
    assert not Submission.objects.filter(check_state="checking").exists()


def test_a_change_of_the_kit_measures_the_kit_part_again(world):
    give_file(world.chassis, "kit/chassis.stl")
    before = world.chassis.mass_g
    set_print_settings(world.teacher, world.chassis, None, {"infill_share": 1.0})
    run_waiting("measure")
    world.chassis.refresh_from_db()
    assert world.chassis.mass_g > 1.3 * before


def test_figures_begun_with_older_settings_are_not_written(world):
    """A check that was claimed before the change ends after it: only the newer one may write."""
    from lessons.measuring import measure_in_job
    from meshcheck.types import Limits

    submission = make_submission(world)
    job = Job(kind="check-submission", subject=str(submission.pk), school=world.school)
    late = measure_in_job(job, submission, world.wheel, Limits(), world.assignment)
    set_print_settings(world.teacher, world.wheel, world.assignment, {"infill_share": 1.0})
    late()
    submission.refresh_from_db()
    assert submission.check_state == "checking"


def test_trying_answers_without_changing_anything(world):
    give_file(world.wheel, "kit/wheel.stl")
    key = try_print_settings(world.teacher, world.wheel, world.assignment, {"infill_share": 1.0})
    assert trying.answer_of(world.wheel, key).state == "waiting"
    assert run_waiting("measure") == 2  # now and as tried, each once
    now, tried = trying.answer_with(world.wheel, in_force(world.wheel)), trying.answer_of(world.wheel, key)
    assert (now.state, tried.state) == ("known", "known")
    # the same figures as the check itself gives for these settings
    checked = service.measure(
        world.wheel.file.path, "wheel.stl", None, {"infill_share": 1.0}, {}, {}, None
    )["report"]  # fmt: skip
    assert tried.mass_g == pytest.approx(checked["mass_g"])
    assert tried.duration_s == pytest.approx(checked["duration_s"])
    assert now.mass_g < tried.mass_g
    world.assignment.refresh_from_db()
    assert world.assignment.print_settings == {}
    try_print_settings(world.teacher, world.wheel, world.assignment, {"infill_share": 1.0})
    assert run_waiting("measure") == 0  # remembered
    assert PartEstimate.objects.count() == 2


def test_a_part_without_a_file_says_so(world):
    key = try_print_settings(world.teacher, world.wheel, world.assignment, {"walls": 3})
    run_waiting("measure")
    answer = trying.answer_of(world.wheel, key)
    assert (answer.state, "no stored file" in answer.why) == ("unknown", True)


def test_plates_use_the_settings_of_the_class(world):
    """The whole way: a class prints its wheels denser, and the plates are planned and weighed so."""
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    light = Plate.objects.filter(copies__request__kit_part=world.wheel).distinct().get()
    set_print_settings(world.teacher, world.wheel, world.assignment, {"infill_share": 1.0, "wall_mm_s": 20.0})
    run_waiting("measure")
    assert plan_now() >= 1
    heavy = Plate.objects.filter(copies__request__kit_part=world.wheel).distinct().get()
    assert heavy.settings == {**light.settings, "infill_share": 1.0, "wall_mm_s": 20.0}
    assert heavy.mass_g > 1.1 * light.mass_g
    assert min(heavy.durations_s.values()) > min(light.durations_s.values())
    chassis = Plate.objects.filter(copies__request__kit_part=world.chassis).distinct().get()
    assert chassis.pk != heavy.pk  # other settings, another plate


def test_a_plate_whose_file_was_taken_stays_as_prepared(world):
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    plates = Plate.objects.filter(copies__request__kit_part=world.wheel).distinct()
    plates.update(held=True)
    before = plates.get()
    set_print_settings(world.teacher, world.wheel, world.assignment, {"infill_share": 1.0})
    run_waiting()
    after = plates.get()
    assert (after.pk, after.settings, after.mass_g) == (before.pk, before.settings, before.mass_g)


# pages


@pytest.fixture
def teacher(world, signed_in):
    return signed_in(world.teacher)


def part_page(world):
    return reverse("lessons:assignment-settings-part", args=[world.assignment.pk, world.wheel.pk])


def seen_by(world):
    return fingerprint(own_changes(world.wheel, world.assignment))


def test_the_page_shows_kit_and_usual_values_with_their_source(world, teacher):
    world.wheel.settings = {"walls": 3}
    world.wheel.save()
    text = text_of(teacher.get(part_page(world)))
    assert "Kit: 3." in text
    assert "Usual: 2 to 3, which is 0.8 to 1.2 mm." in text
    assert "common practice, no source" in text


def test_saving_and_the_overview(world, teacher):
    answer = teacher.post(
        part_page(world), {"step": "save", "infill_share": "42,5", "walls": "", "seen": seen_by(world)}
    )
    assert answer.status_code == 302
    world.assignment.refresh_from_db()
    assert world.assignment.print_settings == {"wheel": {"infill_share": 0.425}}
    text = text_of(teacher.get(reverse("lessons:assignment-settings", args=[world.assignment.pk])))
    assert "1 setting changed" in text
    assert "infill 42" in text or "infill 43" in text
    assert 'value="42.5"' in text_of(teacher.get(part_page(world)))


def test_bad_input_keeps_everything_and_names_the_field(world, teacher):
    typed = {"step": "save", "line_width_mm": "2", "walls": "7", "layer_height_mm": "thin", "seen": seen_by(world)}
    answer = teacher.post(part_page(world), typed)
    text = text_of(answer)
    assert answer.status_code == 422
    assert 'value="thin"' in text
    assert 'value="7"' in text
    assert "Enter a number" in text
    answer = teacher.post(part_page(world), {**typed, "layer_height_mm": ""})
    text = text_of(answer)
    assert answer.status_code == 422
    assert "Line width must be 0.8 to 2 times the 0.4 mm nozzle, 0.32 to 0.80 mm." in text
    assert 'value="2"' in text
    world.assignment.refresh_from_db()
    assert world.assignment.print_settings == {}


@pytest.mark.parametrize("typed", ["1e999", "nan", "-3", "9" * 400, "<b>", "\x00"])
def test_odd_figures_are_refused_in_words(world, teacher, typed):
    answer = teacher.post(part_page(world), {"step": "save", "infill_share": typed, "seen": seen_by(world)})
    assert answer.status_code == 422


def test_a_form_from_before_somebody_elses_change_is_kept_and_told(world, teacher):
    old = seen_by(world)
    set_print_settings(world.administrator, world.wheel, world.assignment, {"walls": 5})
    answer = teacher.post(part_page(world), {"step": "save", "walls": "3", "seen": old})
    text = text_of(answer)
    assert answer.status_code == 422
    assert "Somebody changed these settings meanwhile" in text
    assert 'value="3"' in text
    world.assignment.refresh_from_db()
    now = seen_by(world)
    assert f'value="{now}"' in text
    assert teacher.post(part_page(world), {"step": "save", "walls": "3", "seen": now}).status_code == 302


def test_try_on_the_page_and_its_figures(world, teacher):
    give_file(world.wheel, "kit/wheel.stl")
    answer = teacher.post(part_page(world), {"step": "try", "infill_share": "100", "seen": seen_by(world)})
    assert answer.status_code == 200
    assert 'value="100"' in text_of(answer)
    key = answer.context["key"]
    address = reverse("lessons:assignment-settings-figures", args=[world.assignment.pk, world.wheel.pk])
    waiting = text_of(teacher.get(address, {"key": key}, headers={"HX-Request": "true"}))
    assert "being worked out" in waiting
    assert "hx-trigger" in waiting
    run_waiting("measure")
    done = text_of(teacher.get(address, {"key": key}, headers={"HX-Request": "true"}))
    assert "hx-trigger" not in done
    assert "heavier" in done
    assert "longer" in done


def test_the_kits_own_page(world, teacher):
    address = reverse("lessons:kit-settings", args=[world.wheel.pk])
    assert "1 class uses this kit" in text_of(teacher.get(address))
    seen = fingerprint(own_changes(world.wheel))
    assert teacher.post(address, {"step": "save", "material": "PETG", "seen": seen}).status_code == 302
    world.wheel.refresh_from_db()
    assert world.wheel.material == "PETG"
    plan = text_of(teacher.get(reverse("lessons:plan-detail", args=[world.plan.pk])))
    assert address in plan
    assert reverse("lessons:assignment-settings", args=[world.assignment.pk]) in plan


def test_students_and_technicians_see_no_settings_pages(world, signed_in):
    for person in (world.student, world.technician, world.far_teacher):
        assert signed_in(person).get(part_page(world)).status_code == 404
    plan = text_of(signed_in(world.student).get(reverse("lessons:plan-detail", args=[world.plan.pk])))
    assert "print-settings" not in plan


def test_looking_changes_nothing(world, teacher):
    give_file(world.wheel, "kit/wheel.stl")
    for address in (part_page(world), reverse("lessons:assignment-settings", args=[world.assignment.pk])):
        assert teacher.get(address).status_code == 200
    assert not Job.objects.exists()
