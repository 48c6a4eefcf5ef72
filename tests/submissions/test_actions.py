"""Who may do what with a file, what each step leaves behind."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from makerlab.audit.models import Event
from makerlab.work.models import Job
from submissions import actions, permissions
from submissions.models import Review, Submission
from submissions.signals import approved, withdrawn
from submissions.states import NotAllowedNow, State
from submissions.uploads import UploadRefused
from tests.submissions.make import make_submission, stl_upload, stored_files, wheel_stl
from tests.world import make_student

pytestmark = pytest.mark.django_db

PEOPLE = [
    "student",
    "far_student",
    "teacher",
    "far_teacher",
    "technician",
    "administrator",
    "other_student",
    "other_teacher",
    "other_technician",
]
MAY = {
    "upload": {"student"},
    "hand_in": {"student"},
    "take_back": {"student"},
    "reread": {"student"},
    "approve": {"teacher", "administrator"},
    "return": {"teacher", "administrator"},
}
STATE_FOR = {"take_back": State.HANDED_IN, "approve": State.HANDED_IN, "return": State.HANDED_IN}


def do(step: str, user, submission, world):
    """One step as its action takes it."""
    steps = {
        "upload": lambda: actions.upload_part(user, world.assignment, world.wheel, stl_upload()),
        "hand_in": lambda: actions.hand_in(user, submission),
        "take_back": lambda: actions.take_back(user, submission),
        "reread": lambda: actions.reread_in_unit(user, submission, "inch"),
        "approve": lambda: actions.approve(user, submission),
        "return": lambda: actions.return_with_note(user, submission, "Thicker spokes, please."),
    }
    return steps[step]()


def heard(signal):
    """Everything a signal sends from now on."""
    received: list[dict] = []

    def receiver(sender, **facts):
        received.append(facts)

    signal.connect(receiver, weak=False)
    return received, lambda: signal.disconnect(receiver)


@pytest.fixture
def decisions():
    """Submissions of the signals sent during a test."""
    yes, stop_yes = heard(approved)
    no, stop_no = heard(withdrawn)
    yield {"approved": yes, "withdrawn": no}
    stop_yes()
    stop_no()


# ---- role x action -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("step", sorted(MAY))
@pytest.mark.parametrize("name", PEOPLE)
def test_only_the_right_people_may(world, name, step):
    submission = make_submission(world, state=STATE_FOR.get(step, State.DRAFT))
    user = world.people()[name]
    if name in MAY[step]:
        do(step, user, submission, world)
        assert Event.objects.filter(actor=user).count() == 1
    else:
        with pytest.raises(PermissionDenied):
            do(step, user, submission, world)
        submission.refresh_from_db()
        assert submission.state == STATE_FOR.get(step, State.DRAFT)
        assert not Event.objects.exists()
        assert Submission.objects.count() == 1


def test_asking_and_doing_agree(world):
    draft = make_submission(world)
    assert permissions.can_upload(world.student, world.assignment, world.wheel)
    assert permissions.can_hand_in(world.student, draft)
    assert permissions.can_reread(world.student, draft)
    assert not permissions.can_take_back(world.student, draft)
    assert not permissions.can_approve(world.teacher, draft)
    assert not permissions.can_return(world.teacher, draft)
    assert permissions.can_review(world.teacher, draft)
    assert not permissions.can_review(world.far_teacher, draft)


# ---- upload --------------------------------------------------------------------------------------------------


def test_upload_stores_numbers_and_enqueues(world):
    content = wheel_stl()
    submission = actions.upload_part(world.student, world.assignment, world.wheel, stl_upload(content))
    submission.refresh_from_db()
    assert submission.version == 1
    assert submission.team == world.team
    assert submission.state == State.DRAFT
    assert submission.check_state == "checking"
    assert submission.sha256 == hashlib.sha256(content).hexdigest()
    assert submission.file_bytes == len(content)
    assert Path(submission.file.path).read_bytes() == content
    assert "pips" not in submission.file.name, "stored by uuid"
    job = Job.objects.get()
    assert (job.kind, job.subject, job.school_id) == ("check-submission", str(submission.pk), world.school.pk)


def test_versions_count_up_for_each_team(world):
    for number in (1, 2, 3):
        upload = stl_upload(wheel_stl(number))
        assert actions.upload_part(world.student, world.assignment, world.wheel, upload).version == number
    mate = make_student(world.school_class, world.second_team, "Moss")
    assert actions.upload_part(mate, world.assignment, world.wheel, stl_upload()).version == 1


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"", "empty"), (b"x" * 5000, "at most")],
)
def test_bad_size_is_refused_and_loses_nothing(world, settings, content, says):
    settings.UPLOAD_MAX_BYTES = 4096
    kept = make_submission(world)
    with pytest.raises(UploadRefused, match=says):
        actions.upload_part(world.student, world.assignment, world.wheel, stl_upload(content))
    assert list(Submission.objects.all()) == [kept]
    assert stored_files() == [Path(kept.file.path)]
    assert not Job.objects.exists()


def test_size_is_checked_before_reading(world, settings):
    settings.UPLOAD_MAX_BYTES = 10

    class Unreadable(SimpleUploadedFile):
        def chunks(self, chunk_size=None):
            raise AssertionError("read although it is too big")

    with pytest.raises(UploadRefused):
        actions.upload_part(world.student, world.assignment, world.wheel, Unreadable("a.stl", b"x" * 20))


def test_a_file_one_byte_under_the_cap_is_taken(world, settings):
    content = wheel_stl()
    settings.UPLOAD_MAX_BYTES = len(content)
    assert actions.upload_part(world.student, world.assignment, world.wheel, stl_upload(content)).version == 1


def test_without_a_team_says_so(world):
    alone = make_student(world.school_class, None, "Fern")
    with pytest.raises(NotAllowedNow, match="not in a team"):
        actions.upload_part(alone, world.assignment, world.wheel, stl_upload())
    assert stored_files() == []


def test_after_the_last_moment_says_so(world):
    world.assignment.upload_by = timezone.now() - timedelta(seconds=1)
    with pytest.raises(NotAllowedNow, match="time to upload is over"):
        actions.upload_part(world.student, world.assignment, world.wheel, stl_upload())


def test_only_parts_that_are_redesigned_take_files(world):
    with pytest.raises(PermissionDenied):
        actions.upload_part(world.student, world.assignment, world.chassis, stl_upload())


def test_files_max_ends_the_versions(world):
    world.assignment.files_max = 1
    actions.upload_part(world.student, world.assignment, world.wheel, stl_upload())
    with pytest.raises(UploadRefused, match="all 1 versions"):
        actions.upload_part(world.student, world.assignment, world.wheel, stl_upload(wheel_stl(3)))
    assert Submission.objects.count() == len(stored_files()) == 1


@pytest.mark.parametrize(
    ("state", "check_state", "refused"),
    [
        (State.DRAFT, "checking", True),
        (State.DRAFT, "checked", True),
        (State.DRAFT, "failed", False),  # trying once more is what the message asks for
        (State.HANDED_IN, "checked", True),
        (State.APPROVED, "checked", True),
        (State.RETURNED, "checked", False),
        (State.REPLACED, "checked", False),
    ],
)
def test_same_bytes_again(world, state, check_state, refused):
    content = wheel_stl()
    digest = hashlib.sha256(content).hexdigest()
    earlier = make_submission(world, state=state, check_state=check_state, sha256=digest)
    if refused:
        with pytest.raises(actions.AlreadyHere, match="version 1") as told:
            actions.upload_part(world.student, world.assignment, world.wheel, stl_upload(content))
        assert told.value.earlier == earlier
        assert len(stored_files()) == 1
    else:
        assert actions.upload_part(world.student, world.assignment, world.wheel, stl_upload(content)).version == 2


def test_same_bytes_of_another_team_are_their_own(world):
    mate = make_student(world.school_class, world.second_team, "Moss")
    actions.upload_part(world.student, world.assignment, world.wheel, stl_upload())
    assert actions.upload_part(mate, world.assignment, world.wheel, stl_upload()).version == 1


# ---- hand in, take back, re-read -----------------------------------------------------------------------------


def test_hand_in_replaces_the_one_before(world, decisions):
    first = make_submission(world, state=State.HANDED_IN)
    second = make_submission(world, version=2)
    actions.hand_in(world.student, second)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.state, second.state) == (State.REPLACED, State.HANDED_IN)
    assert second.handed_in_at is not None
    assert decisions["withdrawn"] == []
    assert set(Event.objects.values_list("verb", flat=True)) == {"hand_in", "replace"}


def test_replacing_an_approved_one_withdraws_it(world, decisions):
    first = make_submission(world, state=State.APPROVED)
    second = make_submission(world, version=2)
    actions.hand_in(world.student, second)
    assert [facts["submission"] for facts in decisions["withdrawn"]] == [first]


def test_hand_in_leaves_other_designs_alone(world):
    theirs = make_submission(world, team=world.second_team, state=State.HANDED_IN)
    clip = make_submission(world, kit_part=world.chassis, state=State.HANDED_IN)
    actions.hand_in(world.student, make_submission(world, version=2))
    assert set(Submission.objects.filter(state=State.HANDED_IN).values_list("pk", flat=True)) >= {theirs.pk, clip.pk}


@pytest.mark.parametrize("note", ["", "   "])
def test_must_fix_needs_a_note(world, note):
    bad = make_submission(world, verdict="must_fix")
    with pytest.raises(actions.NoteNeeded):
        actions.hand_in(world.student, bad, note)
    bad.refresh_from_db()
    assert bad.state == State.DRAFT
    actions.hand_in(world.student, bad, " We want to see it jam. ")
    bad.refresh_from_db()
    assert (bad.state, bad.hand_in_note) == (State.HANDED_IN, "We want to see it jam.")


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"check_state": "checking"}, "still being checked"),
        ({"check_state": "failed"}, "could not be read"),
        ({"verdict": "rejected"}, "could not be read"),
    ],
)
def test_only_a_checked_part_is_handed_in(world, values, says):
    with pytest.raises(NotAllowedNow, match=says):
        actions.hand_in(world.student, make_submission(world, **values), "please")


@pytest.mark.parametrize(("late", "allowed"), [(timedelta(minutes=9), True), (timedelta(minutes=11), False)])
def test_a_file_uploaded_in_the_last_minute_can_be_handed_in(world, late, allowed):
    world.assignment.upload_by = timezone.now() - late
    submission = make_submission(world)
    assert permissions.can_hand_in(world.student, submission) is allowed


def test_take_back_makes_a_draft_again(world):
    submission = make_submission(world, state=State.HANDED_IN, hand_in_note="why")
    actions.take_back(world.student, submission)
    submission.refresh_from_db()
    assert (submission.state, submission.handed_in_at, submission.hand_in_note) == (State.DRAFT, None, "")


def test_reread_checks_the_same_upload_again(world):
    submission = make_submission(world)
    actions.reread_in_unit(world.student, submission, "inch")
    submission.refresh_from_db()
    assert (submission.unit, submission.check_state) == ("inch", "checking")
    assert Job.objects.filter(subject=str(submission.pk)).count() == 1
    with pytest.raises(NotAllowedNow):
        actions.reread_in_unit(world.student, submission, "mm")


def test_reread_knows_its_units(world):
    with pytest.raises(UploadRefused):
        actions.reread_in_unit(world.student, make_submission(world), "furlong")


def test_a_part_handed_in_keeps_its_unit(world):
    with pytest.raises(NotAllowedNow, match="Take it back first"):
        actions.reread_in_unit(world.student, make_submission(world, state=State.HANDED_IN), "inch")


# ---- review --------------------------------------------------------------------------------------------------


def test_approve_tells_printing_inside_the_transaction(world, decisions):
    submission = make_submission(world, state=State.HANDED_IN)
    review = actions.approve(world.teacher, submission)
    assert [facts["submission"] for facts in decisions["approved"]] == [submission]
    assert (review.decision, review.reviewer) == (Review.Decision.APPROVED, world.teacher)
    assert Event.objects.get().verb == "approve"


def test_when_printing_cannot_take_it_nothing_is_approved(world):
    submission = make_submission(world, state=State.HANDED_IN)

    def no_room(sender, **facts):
        raise RuntimeError("no room to print in")

    approved.connect(no_room)
    try:
        with pytest.raises(RuntimeError):
            actions.approve(world.teacher, submission)
    finally:
        approved.disconnect(no_room)
    submission = Submission.objects.get(pk=submission.pk)
    assert submission.state == State.HANDED_IN
    assert not Review.objects.exists()
    assert not Event.objects.exists()


@pytest.mark.parametrize("note", ["", " \n "])
def test_sending_back_needs_a_note(world, note):
    submission = make_submission(world, state=State.HANDED_IN)
    with pytest.raises(actions.NoteNeeded):
        actions.return_with_note(world.teacher, submission, note)
    submission.refresh_from_db()
    assert submission.state == State.HANDED_IN


@pytest.mark.parametrize(("state", "withdraws"), [(State.HANDED_IN, 0), (State.APPROVED, 1)])
def test_sending_back_an_approved_one_withdraws_it(world, decisions, state, withdraws):
    submission = make_submission(world, state=state)
    review = actions.return_with_note(world.teacher, submission, "  Thicker spokes. ")
    assert review.note == "Thicker spokes."
    assert len(decisions["withdrawn"]) == withdraws
    submission.refresh_from_db()
    assert submission.state == State.RETURNED


def test_sending_back_what_a_colleague_approved_meanwhile_is_refused(world):
    submission = make_submission(world, state=State.APPROVED)
    with pytest.raises(NotAllowedNow, match="Somebody was quicker"):
        actions.return_with_note(world.teacher, submission, "Thicker spokes.", seen=State.HANDED_IN)


def test_approve_all_takes_only_what_passes_was_seen_and_is_in_own_classes(world):
    fine = make_submission(world, state=State.HANDED_IN)
    advised = make_submission(world, state=State.HANDED_IN, team=world.second_team, verdict="advice")
    far = make_submission(world, state=State.HANDED_IN, team=world.far_team)
    late = make_submission(world, state=State.HANDED_IN, kit_part=world.chassis)
    seen = [fine.pk, advised.pk, far.pk]
    assert actions.approve_all_passing(world.teacher, seen) == [fine]
    states = dict(Submission.objects.values_list("pk", "state"))
    assert states.pop(fine.pk) == State.APPROVED
    assert states == dict.fromkeys((advised.pk, far.pk, late.pk), State.HANDED_IN)
