"""Verbs of classes and students: what they do, who may, and what they never lose."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.utils import timezone

from lessons.actions.classes import (
    archive_class,
    change_class,
    make_class,
    renew_code,
    restore_class,
    set_joining,
)
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.actions.students import add_student, move_student, remove_student, rename_student, renew_pins
from lessons.classes.codes import new_code
from lessons.classes.members import members_of, pins_seen
from lessons.models import Membership, SchoolClass
from lessons.signin import PICTURES, ClassCodeBackend, JoiningClosed
from makerlab.accounts.models import User
from makerlab.audit.models import Event
from tests.submissions.make import make_submission
from tests.world import PIN

pytestmark = pytest.mark.django_db
STRANGERS = (
    "student",
    "far_student",
    "far_teacher",
    "technician",
    "other_student",
    "other_teacher",
    "other_technician",
)
SIGN_IN = ClassCodeBackend()


def sign_in(school_class: SchoolClass, nickname: str, pin: str = PIN) -> User | None:
    school_class.refresh_from_db()
    return SIGN_IN.authenticate(None, school_class.code, nickname, pin)


def verbs(world):
    school_class, member = world.school_class, world.student.memberships.get()
    return {
        "change": lambda who: change_class(who, school_class, "7C", {}),
        "archive": lambda who: archive_class(who, school_class),
        "restore": lambda who: restore_class(who, school_class),
        "joining": lambda who: set_joining(who, school_class, False),
        "code": lambda who: renew_code(who, school_class),
        "add": lambda who: add_student(who, school_class, "Zuri"),
        "rename": lambda who: rename_student(who, member, "Zuri"),
        "move": lambda who: move_student(who, member, world.far_class),
        "remove": lambda who: remove_student(who, member),
        "cards": lambda who: renew_pins(who, school_class, [member.pk], pins_seen(members_of(school_class))),
    }


@pytest.mark.parametrize("who", STRANGERS)
def test_who_does_not_teach_the_class_changes_nothing(world, who):
    def rows():
        return [list(model.objects.order_by("pk").values()) for model in (Membership, SchoolClass)]

    before = rows()
    for verb in verbs(world).values():
        with pytest.raises(PermissionDenied):
            verb(world.people()[who])
    assert rows() == before


def test_moving_needs_both_classes(world):
    with pytest.raises(PermissionDenied):
        move_student(world.teacher, world.student.memberships.get(), world.far_class)


def test_a_teacher_makes_a_class_and_teaches_it(world):
    made = make_class(world.teacher, "  7C ", {"school_year": "2026-27", "term": "Autumn"})
    assert made.name == "7C"
    assert list(made.teachers.all()) == [world.teacher]
    assert Event.objects.filter(verb="make_class", actor=world.teacher).exists()
    with pytest.raises(NotPossible, match="7C already"):
        make_class(world.far_teacher, "7c", {})
    with pytest.raises(PermissionDenied):
        make_class(world.technician, "7D", {})


def test_an_administrator_says_who_teaches(world):
    with pytest.raises(NotPossible, match="who teaches"):
        make_class(world.administrator, "7C", {}, [world.other_teacher, world.technician])
    made = make_class(world.administrator, "7C", {}, [world.far_teacher, world.other_teacher])
    assert list(made.teachers.all()) == [world.far_teacher]
    change_class(world.administrator, made, "7C", {}, [world.teacher])
    assert list(made.teachers.all()) == [world.teacher]
    change_class(world.teacher, made, "7D", {}, [world.far_teacher])
    assert list(made.teachers.all()) == [world.teacher], "a teacher gives no class away"


def test_codes_are_not_guessed_from_one_another():
    codes = {new_code() for _ in range(2000)}
    assert len(codes) > 1950  # 28 words x 8^4 = 114,688 codes: by the birthday problem 17 of 2,000 repeat
    assert all(len(code) <= 12 for code in codes)


def test_a_new_code_ends_the_old_one(world):
    old = world.school_class.code
    code = renew_code(world.teacher, world.school_class)
    assert code != old
    assert SIGN_IN.authenticate(None, old, world.student.display_name, PIN) is None
    assert sign_in(world.school_class, world.student.display_name) == world.student


class TestArchive:
    def test_not_while_a_lesson_is_to_come(self, world):
        with pytest.raises(NotPossible, match="still to come"):
            archive_class(world.teacher, world.school_class)

    def test_students_are_out_at_once_and_everything_stays(self, world, signed_in):
        make_submission(world)
        world.meeting.starts_at -= timedelta(days=9)
        world.meeting.ends_at -= timedelta(days=9)
        world.meeting.save()
        client = Client()
        client.force_login(world.student, backend="lessons.signin.ClassCodeBackend")
        assert client.get("/", follow=False).url != "/sign-in/?next=/"
        archive_class(world.teacher, world.school_class)
        assert client.get("/").url.startswith("/sign-in")
        assert sign_in(world.school_class, world.student.display_name) is None
        assert world.team.submissions.count() == 1
        restore_class(world.teacher, world.school_class)
        world.student.last_login = timezone.now()
        world.student.save()
        assert sign_in(world.school_class, world.student.display_name) == world.student


class TestJoining:
    def test_closed_keeps_out_who_never_signed_in(self, world):
        set_joining(world.teacher, world.school_class, False)
        with pytest.raises(JoiningClosed):
            sign_in(world.school_class, world.student.display_name)
        User.objects.filter(pk=world.student.pk).update(last_login=timezone.now())
        assert sign_in(world.school_class, world.student.display_name) == world.student

    def test_closed_never_tells_whether_a_wrong_pin_was_near(self, world):
        set_joining(world.teacher, world.school_class, False)
        assert sign_in(world.school_class, world.student.display_name, "cart,cart,cart,cart") is None

    def test_the_page_says_so(self, world):
        set_joining(world.teacher, world.school_class, False)
        values = {f"picture{place}": name for place, name in enumerate(PIN.split(","), start=1)}
        values |= {"class_code": world.school_class.code, "nickname": world.student.display_name}
        answer = Client().post("/sign-in/student/", values)
        assert answer.status_code == 422
        assert "joining is closed" in answer.content.decode()


class TestStudents:
    def test_nicknames_are_once_in_a_class_whatever_their_case(self, world):
        name = world.student.display_name
        with pytest.raises(NotPossible, match="somebody else"):
            add_student(world.teacher, world.school_class, name.upper())
        with pytest.raises(NotPossible, match="e-mail"):
            add_student(world.teacher, world.school_class, "a@school.invalid")
        rename_student(world.teacher, world.student.memberships.get(), f"  {name.upper()} ")
        world.student.refresh_from_db()
        assert world.student.display_name == name.upper()

    def test_who_is_added_cannot_sign_in_before_a_card_is_made(self, world):
        add_student(world.teacher, world.school_class, "Zuri")
        assert sign_in(world.school_class, "Zuri", PIN) is None

    def test_removing_ends_the_session_and_keeps_the_work(self, world):
        submission = make_submission(world)
        client = Client()
        client.force_login(world.student, backend="lessons.signin.ClassCodeBackend")
        remove_student(world.teacher, world.student.memberships.get())
        assert client.get("/").url.startswith("/sign-in")
        assert sign_in(world.school_class, world.student.display_name) is None
        submission.refresh_from_db()
        assert (submission.team, submission.uploaded_by) == (world.team, world.student)
        add_student(world.teacher, world.school_class, world.student.display_name)

    def test_removing_twice_is_told(self, world):
        member = world.student.memberships.get()
        remove_student(world.teacher, member)
        with pytest.raises((ChangedMeanwhile, Membership.DoesNotExist)):
            remove_student(world.teacher, Membership(pk=member.pk, school_class=world.school_class))

    def test_moving_leaves_the_team_and_takes_the_pictures_along(self, world):
        world.far_class.teachers.add(world.teacher)
        submission = make_submission(world)
        move_student(world.teacher, world.student.memberships.get(), world.far_class)
        member = Membership.objects.get(user=world.student)
        assert (member.school_class, member.team) == (world.far_class, None)
        assert sign_in(world.far_class, member.nickname) == world.student
        submission.refresh_from_db()
        assert submission.team == world.team

    def test_moving_onto_a_nickname_is_told(self, world):
        world.far_class.teachers.add(world.teacher)
        add_student(world.teacher, world.far_class, world.student.display_name)
        with pytest.raises(NotPossible, match="somebody else"):
            move_student(world.teacher, world.student.memberships.get(), world.far_class)


class TestCards:
    def cards(self, world, seen: str = ""):
        members = members_of(world.school_class)
        return renew_pins(world.teacher, world.school_class, [m.pk for m in members], seen or pins_seen(members))

    def test_the_pictures_on_the_card_sign_in_and_are_kept_hashed_only(self, world):
        add_student(world.teacher, world.school_class, "Zuri")
        cards = self.cards(world)
        assert {card.nickname for card in cards} == set(
            world.school_class.memberships.values_list("nickname", flat=True)
        )
        for card in cards:
            assert set(card.pictures) <= set(PICTURES)
            person = sign_in(world.school_class, card.nickname, ",".join(card.pictures))
            assert person is not None
            assert card.pictures[0] not in person.pin
            assert not any(card.pictures[0] in str(event.facts) for event in Event.objects.all())

    def test_the_old_pictures_and_sessions_end(self, world):
        client = Client()
        client.force_login(world.student, backend="lessons.signin.ClassCodeBackend")
        card = next(card for card in self.cards(world) if card.nickname == world.student.display_name)
        assert client.get("/").url.startswith("/sign-in")
        if ",".join(card.pictures) != PIN:
            assert sign_in(world.school_class, card.nickname) is None

    def test_a_page_sent_twice_makes_no_second_set(self, world):
        seen = pins_seen(members_of(world.school_class))
        first = self.cards(world, seen)
        with pytest.raises(ChangedMeanwhile):
            self.cards(world, seen)
        assert sign_in(world.school_class, first[0].nickname, ",".join(first[0].pictures))

    def test_nobody_ticked(self, world):
        with pytest.raises(NotPossible, match="Tick"):
            renew_pins(world.teacher, world.school_class, [world.far_student.memberships.get().pk], "")

    def test_a_card_opens_a_lock(self, world):
        User.objects.filter(pk=world.student.pk).update(
            pin_failures=9, pin_locked_until=timezone.now() + timedelta(hours=1)
        )
        card = next(card for card in self.cards(world) if card.nickname == world.student.display_name)
        assert sign_in(world.school_class, card.nickname, ",".join(card.pictures)) == world.student
