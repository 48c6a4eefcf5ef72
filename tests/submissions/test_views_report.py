"""The report of a version, as students and staff see it."""

from __future__ import annotations

from datetime import timedelta

import manifold3d
import pytest
from django.urls import reverse
from django.utils import timezone

from lessons.models import Membership
from lessons.parts.files import stl_binary
from makerlab.work.actions import run_waiting
from makerlab.work.models import Job
from submissions.following import ask_again_s
from submissions.models import Review, Submission
from submissions.states import State
from tests.submissions.make import make_submission, post_file, report, stl_upload, text_of, wheel_stl
from tests.world import make_kit_part

pytestmark = pytest.mark.django_db
PARTS = "/parts/"
SEES = {"student", "teacher", "technician", "administrator"}


@pytest.mark.parametrize("name", ["student", "far_student", "teacher", "far_teacher", "technician", "administrator"])
@pytest.mark.parametrize("page", ["report", "file"])
def test_who_sees_report_and_file(world, signed_in, name, page):
    submission = make_submission(world)
    answer = signed_in(world.people()[name]).get(reverse(f"submissions:submission-{page}", args=[submission.pk]))
    answer.close()
    assert answer.status_code == (200 if name in SEES else 404)


@pytest.mark.parametrize("name", ["other_student", "other_teacher", "other_technician"])
def test_another_school_finds_nothing(world, signed_in, name):
    submission = make_submission(world)
    client = signed_in(world.people()[name])
    for page in ("report", "file"):
        assert client.get(reverse(f"submissions:submission-{page}", args=[submission.pk])).status_code == 404
    for verb in ("hand-in", "take-back", "reread"):
        assert client.post(reverse(f"submissions:submission-{verb}", args=[submission.pk])).status_code == 404


@pytest.mark.parametrize("verb", ["hand-in", "take-back", "reread"])
@pytest.mark.parametrize("name", ["teacher", "technician", "administrator"])
def test_staff_look_and_do_not_act_for_the_team(world, signed_in, name, verb):
    submission = make_submission(world)
    address = reverse(f"submissions:submission-{verb}", args=[submission.pk])
    assert signed_in(world.people()[name]).post(address).status_code == 404
    submission.refresh_from_db()
    assert submission.state == State.DRAFT


@pytest.mark.parametrize("verb", ["hand-in", "take-back", "reread"])
def test_steps_are_posts(world, student, verb):
    submission = make_submission(world)
    assert student.get(reverse(f"submissions:submission-{verb}", args=[submission.pk])).status_code == 405


def test_the_file_is_a_download_no_browser_opens(world, student):
    submission = make_submission(world, file_name="räder.stl")
    answer = student.get(reverse("submissions:submission-file", args=[submission.pk]))
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in answer["Content-Security-Policy"]
    assert b"".join(answer.streaming_content) == wheel_stl(submission.version)


@pytest.mark.parametrize(
    ("verdict", "sentence"),
    [
        ("ok", "Ready to print: every check passes."),
        ("advice", "It can print. One piece of advice: five spokes start above the bed."),
        ("must_fix", "One thing must be fixed: the hub hole is too small for the axle."),
    ],
)
def test_the_verdict_is_one_sentence(world, student, verdict, sentence):
    submission = make_submission(world, verdict=verdict)
    assert sentence in text_of(student.get(reverse("submissions:submission-report", args=[submission.pk])))


def test_a_rejected_file_says_why_and_what_to_do(world, student):
    post_file(student, world, stl_upload(b"Dear teacher"))
    run_waiting("measure")
    submission = Submission.objects.get()
    page = text_of(student.get(reverse("submissions:submission-report", args=[submission.pk])))
    assert "This file cannot be read as a part." in page
    assert submission.report["reason"].split("'")[0][:20] in page
    assert "Upload another version" in page
    assert "Hand in version" not in page


def test_what_was_sent_back_says_so_before_the_verdict(world, student):
    submission = make_submission(world, state=State.RETURNED)
    Review.objects.create(submission=submission, reviewer=world.teacher, decision="returned", note="Thicker spokes.")
    page = text_of(student.get(reverse("submissions:submission-report", args=[submission.pk])))
    assert page.index("Thicker spokes.") < page.index("every check passes")


def test_support_is_named_beside_the_mass(world, student):
    submission = make_submission(world, report=report(support_g=1.4))
    page = text_of(student.get(reverse("submissions:submission-report", args=[submission.pk])))
    assert "of support besides" in page


def test_a_gauge_the_class_shares_is_not_on_the_teams_list(world, student, told):
    make_kit_part(world.plan, "axle-gauge", copies_per_team=0)
    assert "Axle gauge" not in text_of(student.get(PARTS))


def test_a_failed_check_says_so_and_keeps_the_file(world, student):
    submission = make_submission(world, check_state="failed", check_error="Measuring took too long.", verdict="ok")
    page = text_of(student.get(reverse("submissions:submission-report", args=[submission.pk])))
    assert "This file could not be checked." in page
    assert "Measuring took too long." in page
    assert reverse("submissions:submission-file", args=[submission.pk]) in page


def test_must_fix_is_handed_in_only_with_a_reason(world, student):
    submission = make_submission(world, verdict="must_fix")
    address = reverse("submissions:submission-hand-in", args=[submission.pk])
    answer = student.post(address, {"note": " "})
    assert answer.status_code == 422
    page = text_of(answer)
    assert "<details" in page
    assert " open>" in page
    assert "Say in a sentence why" in page
    assert student.post(address, {"note": "To see it jam."}).status_code == 302
    submission.refresh_from_db()
    assert submission.hand_in_note == "To see it jam."


def test_a_note_that_is_too_long_is_kept_in_the_form(world, student):
    submission = make_submission(world, verdict="must_fix")
    note = "y" * 401
    answer = student.post(reverse("submissions:submission-hand-in", args=[submission.pk]), {"note": note})
    assert answer.status_code == 422
    assert note in text_of(answer)


def test_handing_in_twice_is_told(world, student):
    submission = make_submission(world)
    address = reverse("submissions:submission-hand-in", args=[submission.pk])
    student.post(address)
    assert "so that cannot be done" in text_of(student.post(address, follow=True))


def test_place_in_line_is_told(world, student):
    for spokes in (1, 2, 3):
        post_file(student, world, stl_upload(wheel_stl(spokes)))
    last = Submission.objects.get(version=3)
    assert "2 other checks come first" in text_of(student.get(reverse("submissions:submission-report", args=[last.pk])))


@pytest.mark.parametrize(
    ("wait_s", "again_s"), [(0.0, 1), (1.0, 1), (4.0, 1), (7.0, 2), (20.0, 5), (40.0, 10), (60.0, 15), (3600.0, 15)]
)
def test_who_waits_longer_asks_less_often(wait_s, again_s):
    assert ask_again_s(wait_s) == again_s


def test_the_page_asks_again_by_its_place_in_line(world, student):
    """Checks have taken 12 s each; two come first, so that 24 s pass: a quarter of it is 6 s."""
    post_file(student, world, stl_upload(wheel_stl(1)))
    began = timezone.now()
    Job.objects.update(state=Job.State.DONE, started_at=began, finished_at=began + timedelta(seconds=12))
    for spokes in (2, 3, 4):
        post_file(student, world, stl_upload(wheel_stl(spokes)))
    last = Submission.objects.get(version=4)
    assert "every 6s" in text_of(student.get(reverse("submissions:submission-report", args=[last.pk])))


def test_a_proposed_unit_is_one_click(world, student):
    submission = make_submission(world, verdict="must_fix", report=report("must_fix", unit_proposed="inch"))
    address = reverse("submissions:submission-report", args=[submission.pk])
    assert "Read again in inches" in text_of(student.get(address))
    student.post(reverse("submissions:submission-reread", args=[submission.pk]), {"unit": "inch"})
    assert "We are measuring your part" in text_of(student.get(address))
    refused = student.post(
        reverse("submissions:submission-reread", args=[submission.pk]), {"unit": "inch"}, follow=True
    )
    assert "still being checked" in text_of(refused)


def test_versions_stand_side_by_side(world, student):
    make_submission(world, mass_g=14.9, duration_s=2580.0)
    second = make_submission(world, version=2, mass_g=11.6, duration_s=2160.0)
    page = text_of(student.get(reverse("submissions:submission-report", args=[second.pk])))
    for words in ("Starting part", "Version 1", "Version 2", "3.3 g lighter", "7 min less", "the same"):
        assert words in page, words


def test_a_replacing_hand_in_is_told_before(world, student):
    make_submission(world, state=State.APPROVED)
    second = make_submission(world, version=2)
    page = text_of(student.get(reverse("submissions:submission-report", args=[second.pk])))
    assert "Handing in version 2 takes its place" in page


def test_the_same_bytes_as_a_version_sent_back_are_pointed_out(world, student):
    make_submission(world, state=State.RETURNED, sha256="a" * 64)
    again = make_submission(world, version=2, sha256="a" * 64)
    assert "very same bytes as version 1" in text_of(
        student.get(reverse("submissions:submission-report", args=[again.pk]))
    )


def test_names_cannot_smuggle_markup(world, student):
    post_file(student, world, stl_upload(wheel_stl(), "<img src=x onerror=alert(1)>.stl"))
    submission = Submission.objects.get()
    assert "<" not in submission.file_name
    assert "<img" not in text_of(student.get(reverse("submissions:submission-report", args=[submission.pk])))


def test_a_student_who_changed_class_finds_nothing(world, student):
    submission = make_submission(world)
    Membership.objects.filter(user=world.student).update(school_class=world.far_class, team=world.far_team)
    assert student.get(reverse("submissions:submission-report", args=[submission.pk])).status_code == 404


# ---- how it lies ---------------------------------------------------------------------------------------------


def lay(client, submission, how="advised"):
    return client.post(reverse("submissions:submission-lay", args=[submission.pk]), {"as": how})


def mushroom_stl() -> bytes:
    """A disc on a stem, drawn standing on its stem: much better printed upside down."""
    solid = manifold3d.Manifold.cylinder(12, 5, 5, 64) + manifold3d.Manifold.cylinder(4, 25, 25, 96).translate(
        (0, 0, 12)
    )
    shape = solid.to_mesh()
    return stl_binary((shape.vert_properties[:, :3].astype("float64"), shape.tri_verts.astype("int32")))


def test_a_part_laid_on_its_better_face_is_measured_as_it_then_lies(world, student):
    world.wheel.gauge.delete()
    post_file(student, world, stl_upload(mushroom_stl()))
    run_waiting()
    drawn = Submission.objects.get()
    assert "Lay it on the better face" in text_of(
        student.get(reverse("submissions:submission-report", args=[drawn.pk]))
    )
    assert lay(student, drawn).status_code == 302
    run_waiting()
    laid = Submission.objects.get()
    assert laid.report["posed"]
    assert laid.report["overhang_area_mm2"] < 1 < drawn.report["overhang_area_mm2"]
    assert laid.report["volume_mm3"] == pytest.approx(drawn.report["volume_mm3"], rel=1e-9)
    assert laid.duration_s < drawn.duration_s
    assert laid.sha256 == drawn.sha256
    lay(student, laid, "drawn")
    run_waiting()
    again = Submission.objects.get()
    assert again.pose is None
    assert again.report["overhang_area_mm2"] == drawn.report["overhang_area_mm2"]


@pytest.mark.parametrize(
    ("state", "may"),
    [
        (State.DRAFT, {"student"}),
        (State.HANDED_IN, {"teacher", "administrator"}),
        (State.APPROVED, set()),
        (State.RETURNED, set()),
    ],
)
@pytest.mark.parametrize("who", ["student", "far_student", "teacher", "far_teacher", "technician", "administrator"])
def test_who_may_lay_a_part_when(world, signed_in, state, may, who):
    turn = [[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]]
    kept = make_submission(
        world, state=state, report=report(pose={"turn": turn, "why": "", "saves_g": 1, "saves_min": 2})
    )
    lay(signed_in(world.people()[who]), kept)
    kept.refresh_from_db()
    assert (kept.pose == turn) == (who in may)


def test_nothing_is_laid_where_the_report_advises_nothing(world, student):
    kept = make_submission(world)
    lay(student, kept)
    kept.refresh_from_db()
    assert (kept.pose, kept.check_state) == (None, "checked")


# ---- look inside ---------------------------------------------------------------------------------------------


def layers(client, submission, query="", **headers):
    return client.get(reverse("submissions:submission-layers", args=[submission.pk]) + query, **headers)


@pytest.fixture
def real_wheel(world, student):
    post_file(student, world, stl_upload(wheel_stl()))
    run_waiting()
    return Submission.objects.get()


def test_layers_are_drawn_from_the_real_file(world, student, real_wheel):
    fragment = layers(student, real_wheel, "?layer=5", headers={"HX-Request": "true"})
    text = text_of(fragment)
    assert "Layer 5 of 40" in text
    assert 'class="line-walls"' in text
    assert "<html" not in text
    whole = text_of(layers(student, real_wheel, "?layer=5"))
    assert "<html" in whole
    assert "Show this layer" in whole


@pytest.mark.parametrize(("asked", "given"), [("0", 1), ("", 1), ("-3", 1), ("x", 1), ("99999", 40), ("9" * 30, 1)])
def test_any_number_gives_a_layer(student, real_wheel, asked, given):
    assert f"Layer {given} of 40" in text_of(layers(student, real_wheel, f"?layer={asked}"))


def test_layers_of_a_lost_file_say_so(student, real_wheel):
    real_wheel.file.delete(save=False)
    Submission.objects.filter(pk=real_wheel.pk).update(sha256="1" * 64)
    assert "cannot be drawn now" in text_of(layers(student, real_wheel))


def test_a_file_that_could_not_be_read_has_no_layers(world, student):
    kept = make_submission(world, mass_g=None, duration_s=None)
    assert layers(student, kept).status_code == 404


@pytest.mark.parametrize(
    ("who", "status"), [("teacher", 200), ("far_teacher", 404), ("far_student", 404), ("other_teacher", 404)]
)
def test_who_may_look_inside(world, signed_in, real_wheel, who, status):
    assert layers(signed_in(world.people()[who]), real_wheel).status_code == status
