"""My parts and the report, as a student's browser asks for them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lessons.models import Assignment, Membership, PartGauge
from makerlab.work.actions import run_waiting
from submissions import queries
from submissions.models import Review, Submission
from submissions.progress import PartProgress, Stage
from submissions.states import State
from tests.submissions.make import make_submission, report, stl_upload, wheel_stl
from tests.world import make_kit_part, make_student

pytestmark = pytest.mark.django_db
PARTS = "/parts/"


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def post_file(client, world, file, **extra):
    address = reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk])
    return client.post(address, {"file": file} if file else {}, **extra)


@pytest.fixture
def student(world, signed_in):
    return signed_in(world.student)


@pytest.fixture
def told(monkeypatch):
    """What printing would say, for the pages alone; printing's own tests check that it says so."""
    entries: list[PartProgress] = []
    monkeypatch.setattr(queries, "progress_sources", [lambda team, assignment: entries])
    return entries


# ---- my parts ------------------------------------------------------------------------------------------------


def test_says_what_to_make_and_what_to_keep(world, student):
    world.wheel.task = "Draw a quicker wheel. The hub must stay."
    world.wheel.save()
    PartGauge.objects.filter(kit_part=world.wheel).update(
        hub_diameter_mm=14.0, size_x_mm=70.0, size_y_mm=70.0, size_z_mm=12.0
    )
    Assignment.objects.update(mass_max_g=14.0, duration_max_s=3 * 3600)
    page = text_of(student.get(PARTS))
    assert "<h3>Draw a quicker wheel.</h3>" in page
    assert "The hub must stay." in page
    for label in ("⌀ 3.2<", "+0.10", "−0.05", "⌀ 14<", ">8<", "at most ⌀ 70"):
        assert label in page, label
    assert "Working drawing of the hub of wheel. Keep the hole 3.2 mm across." in page
    assert "14.0" in page
    assert "at most, each one" in page
    assert 'type="file"' in page


def test_a_gauge_without_a_hole_draws_no_hub(world, student):
    PartGauge.objects.filter(kit_part=world.wheel).update(hole_diameter_mm=None)
    assert "Working drawing" not in text_of(student.get(PARTS))


def test_lists_everything_the_team_needs(world, student):
    page = text_of(student.get(PARTS))
    assert "Wheel" in page
    assert "Chassis" in page
    assert "same for every team" in page
    assert "Nothing uploaded yet" in page


def test_shows_own_versions_only(world, student):
    make_submission(world, file_name="ours.stl")
    make_submission(world, team=world.second_team, file_name="theirs.stl")
    page = text_of(student.get(PARTS))
    assert "ours.stl" in page
    assert "theirs.stl" not in page


def test_without_a_team_it_says_what_to_do(world, signed_in):
    page = text_of(signed_in(make_student(world.school_class, None, "Fern")).get(PARTS))
    assert "You are not in a team yet" in page
    assert 'type="file"' not in page


def test_without_an_assignment_it_says_so(world, signed_in):
    assert "No lesson yet" in text_of(signed_in(world.far_student).get(PARTS))


def test_an_assignment_of_another_class_is_not_found(world, signed_in):
    assert signed_in(world.far_student).get(f"{PARTS}?assignment={world.assignment.pk}").status_code == 404


def test_when_time_is_over_there_is_no_drop_zone(world, student):
    Assignment.objects.update(upload_by=timezone.now() - timedelta(hours=1))
    page = text_of(student.get(PARTS))
    assert "The time to upload is over" in page
    assert 'type="file"' not in page


def test_staff_are_sent_home(world, signed_in):
    assert signed_in(world.teacher).get(PARTS).url == "/"


def test_two_lessons_can_be_told_apart(world, student):
    other = Assignment.objects.create(
        plan=world.plan,
        school_class=world.school_class,
        meeting=world.meeting.__class__.objects.create(
            school_class=world.school_class,
            starts_at=world.meeting.starts_at + timedelta(days=7),
            ends_at=world.meeting.ends_at + timedelta(days=7),
        ),
        upload_by=timezone.now() + timedelta(days=6),
    )
    page = text_of(student.get(PARTS))
    assert f"?assignment={other.pk}" in page
    assert reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk]) in page
    page = text_of(student.get(f"{PARTS}?assignment={other.pk}"))
    assert reverse("submissions:submission-create", args=[other.pk, world.wheel.pk]) in page


def test_the_page_needs_few_queries(world, student, django_assert_max_num_queries, told):
    for version in range(1, 6):
        make_submission(world, version=version, state=State.RETURNED)
    with django_assert_max_num_queries(14):
        student.get(PARTS)


# ---- where it is ---------------------------------------------------------------------------------------------


def titles(response) -> list[tuple[str, str]]:
    """State and title of each step on the page."""
    page = response.context["page"]
    return [(step["state"], step["title"]) for step in page.designs[0].steps]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"check_state": "checking"}, [("now", "Checking"), ("next", "Hand in"), ("next", "Approved")]),
        ({"check_state": "failed"}, [("bad", "Checked"), ("next", "Hand in"), ("next", "Approved")]),
        ({"verdict": "must_fix"}, [("bad", "Checked"), ("next", "Hand in"), ("next", "Approved")]),
        ({"verdict": "rejected"}, [("bad", "Checked"), ("next", "Hand in"), ("next", "Approved")]),
        ({}, [("done", "Checked"), ("now", "Hand in"), ("next", "Approved")]),
        ({"state": State.HANDED_IN}, [("done", "Checked"), ("done", "Handed in"), ("now", "Approved")]),
        ({"state": State.RETURNED}, [("done", "Checked"), ("done", "Handed in"), ("bad", "Sent back")]),
        ({"state": State.APPROVED}, [("done", "Checked"), ("done", "Handed in"), ("done", "Approved")]),
    ],
)
def test_steps_follow_the_state(world, student, told, values, expected):
    make_submission(world, **values)
    assert titles(student.get(PARTS))[:3] == expected


@pytest.mark.parametrize(
    ("stage", "done", "expected"),
    [
        (Stage.WAITING, 0, [("now", "Printing"), ("next", "In tray 1")]),
        (Stage.PLANNED, 0, [("now", "Printing"), ("next", "In tray 1")]),
        (Stage.PRINTING, 2, [("now", "Printing"), ("next", "In tray 1")]),
        (Stage.IN_TRAY, 4, [("done", "Printed"), ("done", "In tray 1")]),
    ],
)
def test_steps_follow_printing(world, student, told, stage, done, expected):
    submission = make_submission(world, state=State.APPROVED)
    ready = datetime(2026, 11, 17, 20, 0, tzinfo=UTC)
    told.append(
        PartProgress(world.wheel, submission.pk, 4, done, "printing on Wren", "live", "s-run", "P6", ready, stage, 91)
    )
    response = student.get(PARTS)
    assert titles(response)[3:5] == expected
    page = text_of(response)
    assert "printing on Wren" in page
    assert ("91 in 100" in page) is (done < 4)


def test_progress_of_an_older_version_is_not_shown_for_a_newer_one(world, student, told):
    old = make_submission(world, state=State.REPLACED)
    make_submission(world, version=2, state=State.APPROVED)
    told.append(PartProgress(world.wheel, old.pk, 4, 0, "printing on Wren", "live", "s-run", stage=Stage.PRINTING))
    assert titles(student.get(PARTS))[3] == ("next", "Printing")


def test_a_version_on_its_way_leads_and_a_newer_draft_is_named(world, student, told):
    make_submission(world, state=State.APPROVED)
    make_submission(world, version=2)
    page = text_of(student.get(PARTS))
    assert "Wheel, version 1" in page
    assert "Version 2 is newer" in page


def test_the_note_of_the_teacher_is_shown(world, student):
    submission = make_submission(world, state=State.RETURNED)
    Review.objects.create(submission=submission, reviewer=world.teacher, decision="returned", note="Thicker <spokes>.")
    assert "Thicker &lt;spokes&gt;." in text_of(student.get(PARTS))


def test_live_parts_answer_204_until_something_changes(world, student, told):
    submission = make_submission(world, state=State.HANDED_IN)
    revision = student.get(PARTS).context["page"].revision
    address = f"{PARTS}?assignment={world.assignment.pk}&since={revision}"
    assert student.get(address, headers={"HX-Request": "true"}).status_code == 204
    Submission.objects.filter(pk=submission.pk).update(state=State.APPROVED)
    answer = student.get(address, headers={"HX-Request": "true"})
    fragment = text_of(answer)
    assert answer.status_code == 200
    assert fragment.startswith('<section id="where"')
    assert 'id="list"' in fragment
    assert 'hx-swap-oob="true"' in fragment
    assert "<html" not in fragment
    assert "hx-trigger" in fragment


@pytest.mark.parametrize(
    ("values", "seconds"), [({"check_state": "checking"}, 2), ({"state": State.HANDED_IN}, 15), ({}, 0)]
)
def test_asks_again_only_while_something_moves(world, student, told, values, seconds):
    make_submission(world, **values)
    page = text_of(student.get(PARTS))
    assert (f"every {seconds}s" in page) if seconds else ("hx-trigger" not in page)


# ---- upload --------------------------------------------------------------------------------------------------


def test_the_whole_path_from_upload_to_hand_in(world, student):
    sent = post_file(student, world, stl_upload(wheel_stl(), "Ünser Rad 1.stl"))
    submission = Submission.objects.get()
    address = reverse("submissions:submission-report", args=[submission.pk])
    assert (sent.status_code, sent.url) == (302, address)

    waiting = text_of(student.get(address))
    assert "We are measuring your part" in waiting
    assert "every 1s" in waiting

    run_waiting("measure")
    fragment = text_of(student.get(address, headers={"HX-Request": "true"}))
    assert fragment.startswith('<div id="report">')
    assert "every 1s" not in fragment
    assert "Ready to print: every check passes." in fragment
    assert "The hole fits the gauge" in fragment
    assert "<svg viewBox" in fragment
    assert 'id="checked-cell" hx-swap-oob="true"' in fragment

    page = text_of(student.get(address))
    assert "Ünser Rad 1.stl" in page
    assert "Hand in version 1" in page
    handed = student.post(reverse("submissions:submission-hand-in", args=[submission.pk]), follow=True)
    assert "is handed in. Your teacher looks at it next." in text_of(handed)
    submission.refresh_from_db()
    assert submission.state == State.HANDED_IN
    back = student.post(reverse("submissions:submission-take-back", args=[submission.pk]), follow=True)
    assert "is yours again" in text_of(back)


@pytest.mark.parametrize(
    ("file", "says"),
    [(lambda: stl_upload(b""), "empty"), (lambda: stl_upload(b"x" * 3000), "at most"), (lambda: None, "Choose a file")],
)
def test_a_bad_upload_is_told_in_place_and_loses_nothing(world, student, settings, file, says):
    kept = make_submission(world)
    settings.UPLOAD_MAX_BYTES = 2000
    answer = post_file(student, world, file())
    assert answer.status_code == 422
    assert answer["HX-Push-Url"] == "false"
    page = text_of(answer)
    assert says in page
    assert page.index(says) > page.index('id="hand-in"')
    assert kept.file_name in page
    assert Submission.objects.count() == 1


def test_the_same_file_again_goes_to_the_version_that_is_there(world, student):
    content = wheel_stl()
    post_file(student, world, stl_upload(content))
    answer = post_file(student, world, stl_upload(content))
    page = text_of(student.get(answer.url))
    assert "uploaded this very file already: it is version 1" in page


def test_uploading_late_is_told_in_place(world, student):
    Assignment.objects.update(upload_by=timezone.now() - timedelta(hours=1))
    answer = post_file(student, world, stl_upload())
    assert answer.status_code == 422
    assert "The time to upload is over. Ask" in text_of(answer)


def test_uploading_without_a_team_is_told(world, signed_in):
    answer = post_file(signed_in(make_student(world.school_class, None, "Fern")), world, stl_upload())
    assert answer.status_code == 422
    assert "not in a team yet" in text_of(answer)


@pytest.mark.parametrize("name", ["far_student", "other_student", "teacher", "technician"])
def test_others_do_not_find_where_to_upload(world, signed_in, name):
    assert post_file(signed_in(world.people()[name]), world, stl_upload()).status_code == 404
    assert not Submission.objects.exists()


def test_a_part_of_another_plan_is_not_found(world, student):
    stranger = make_kit_part(
        world.plan.__class__.objects.create(school=world.other_school, title="x", summary="x", grade_band="6"), "clip"
    )
    address = reverse("submissions:submission-create", args=[world.assignment.pk, stranger.pk])
    assert student.post(address, {"file": stl_upload()}).status_code == 404


# ---- the report ----------------------------------------------------------------------------------------------

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
