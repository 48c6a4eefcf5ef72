"""One student in several classes: one sign-in, the parts and lab days of all of them, and no class loses anybody."""

from __future__ import annotations

import html
from datetime import date, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from lessons.actions.classes import archive_class, restore_class
from lessons.actions.refusals import NotPossible
from lessons.actions.rosters import PackageEntry, import_package, import_roster, preview
from lessons.actions.students import move_student, put_into_class_too, remove_student, rename_student
from lessons.models import Assignment, Meeting, Membership
from lessons.rosters import read_oneroster
from makerlab.accounts.models import User
from makerlab.privacy.erasing import erase_class, erase_student
from submissions import permissions, queries
from submissions.models import Submission
from tests.lessons.rosters import packages as build
from tests.submissions.make import make_submission
from tests.world import PIN, make_class

pytestmark = pytest.mark.django_db
SIGN_IN = "lessons:student-sign-in"


@pytest.fixture
def both(world):
    """Pip of 7B is in the club too, in its second crew; the club has the lesson as well."""
    world.club = make_class(world.school, "Club", world.teacher)
    put_into_class_too(world.teacher, world.student.memberships.get(), world.club)
    world.club_team = world.club.teams.get(number=2)
    Membership.objects.filter(school_class=world.club).update(team=world.club_team)
    start = world.meeting.starts_at + timedelta(days=1)
    meeting = Meeting.objects.create(school_class=world.club, starts_at=start, ends_at=start + timedelta(minutes=50))
    world.club_assignment = Assignment.objects.create(
        plan=world.plan, school_class=world.club, meeting=meeting, upload_by=start - timedelta(days=1)
    )
    return world


def sign_in(code: str, nickname: str) -> Client:
    client = Client()
    pictures = {f"picture{place}": name for place, name in enumerate(PIN.split(","), start=1)}
    client.post(reverse(SIGN_IN), {"class_code": code, "nickname": nickname, **pictures})
    return client


def is_in(client: Client) -> bool:
    return client.get(reverse("submissions:part-list")).status_code == 200


class TestSigningIn:
    def test_either_code_leads_to_the_same_student(self, both):
        for school_class in (both.school_class, both.club):
            client = sign_in(school_class.code, "Pip")
            assert int(client.session["_auth_user_id"]) == both.student.pk
            assert is_in(client)

    def test_the_nickname_is_that_of_the_class(self, both):
        rename_student(both.teacher, both.club.memberships.get(), "Pippa")
        assert is_in(sign_in(both.club.code, "Pippa"))
        assert is_in(sign_in(both.school_class.code, "Pip"))
        assert not is_in(sign_in(both.club.code, "Pip"))

    def test_an_archived_class_ends_nothing_elsewhere(self, both):
        client = sign_in(both.club.code, "Pip")
        both.club_assignment.delete()
        archive_class(both.teacher, both.club)
        assert is_in(client)
        assert not is_in(sign_in(both.club.code, "Pip"))
        both.assignment.delete()
        archive_class(both.teacher, both.school_class)
        assert not is_in(client), "nobody whose classes are all archived gets in"
        restore_class(both.teacher, both.club)
        assert is_in(sign_in(both.club.code, "Pip"))


class TestTheirPages:
    def test_parts_of_each_class_with_the_team_there(self, both):
        assert set(queries.assignments_of(both.student)) == {both.assignment, both.club_assignment}
        assert queries.team_of(both.student, both.assignment) == both.team
        assert queries.team_of(both.student, both.club_assignment) == both.club_team
        client = sign_in(both.club.code, "Pip")
        for assignment in (both.assignment, both.club_assignment):
            page = client.get(reverse("submissions:part-list"), {"assignment": assignment.pk})
            assert page.context["team"] == queries.team_of(both.student, assignment)
            text = html.unescape(page.content.decode())
            assert "7B" in text
            assert "Club" in text  # the head of the page names both

    def test_a_file_is_the_teams_of_its_class(self, both):
        assert permissions.check_can_upload(both.student, both.club_assignment, both.wheel) == both.club_team
        own = make_submission(both)
        permissions.check_is_own(both.student, own)
        foreign = make_submission(both, team=both.second_team)
        with pytest.raises(PermissionDenied):
            permissions.check_is_own(both.student, foreign)
        assert set(Submission.objects.visible_to(both.student)) == {own}

    def test_others_of_the_club_do_not_see_the_class(self, both):
        assert not Assignment.objects.visible_to(both.far_student).exists()
        with pytest.raises(PermissionDenied):
            permissions.check_can_upload(both.far_student, both.club_assignment, both.wheel)

    def test_lab_days_of_both(self, both):
        page = sign_in(both.club.code, "Pip").get(reverse("lessons:lab-list"))
        assert page.status_code == 200


class TestGoingAndStaying:
    def test_removed_from_one_class_the_sign_in_stays(self, both):
        client = sign_in(both.school_class.code, "Pip")
        remove_student(both.teacher, both.school_class.memberships.get(user=both.student))
        assert is_in(client)
        assert queries.team_of(both.student, both.assignment) is None
        with pytest.raises(PermissionDenied):
            permissions.check_can_upload(both.student, both.assignment, both.wheel)
        remove_student(both.teacher, both.club.memberships.get(user=both.student))
        assert not is_in(client)
        assert not User.objects.get(pk=both.student.pk).is_active

    def test_nobody_is_in_a_class_twice(self, both):
        member = both.school_class.memberships.get(user=both.student)
        for verb in (put_into_class_too, move_student):
            with pytest.raises(NotPossible, match="Pip is in Club already"):
                verb(both.teacher, member, both.club)
        assert both.club.memberships.count() == 1

    def test_a_nickname_taken_there_is_told(self, world):
        club = make_class(world.school, "Club", world.teacher)
        Membership.objects.create(
            school_class=club, user=User.objects.create_student(world.school, "pip"), nickname="pip"
        )
        with pytest.raises(NotPossible, match="somebody else in this class"):
            put_into_class_too(world.teacher, world.student.memberships.get(), club)

    @pytest.mark.parametrize("who", ["far_teacher", "technician", "student", "other_teacher"])
    def test_only_who_runs_both_classes(self, world, who):
        club = make_class(world.school, "Club", world.teacher)
        with pytest.raises(PermissionDenied):
            put_into_class_too(world.people()[who], world.student.memberships.get(), club)
        with pytest.raises(PermissionDenied):  # the other class is another teacher's
            put_into_class_too(world.teacher, world.student.memberships.get(), world.far_class)

    def test_on_the_students_page(self, world, signed_in):
        club = make_class(world.school, "Club", world.teacher)
        client, member = signed_in(world.teacher), world.student.memberships.get()
        answer = client.post(reverse("lessons:student-move", args=[member.pk]), {"into": club.pk, "how": "too"})
        made = club.memberships.get()
        assert answer["Location"] == reverse("lessons:student-detail", args=[made.pk])
        page = html.unescape(client.get(answer["Location"]).content.decode())
        assert "Also in 7B" in " ".join(page.split())
        assert "out of this class only" in page


class TestLists:
    """A package in which students take two classes: 1EdTech OneRoster CSV, enrollments.csv has a row for each."""

    def package(self):
        files = build.files()
        return read_oneroster(build.packed(files), date(2026, 9, 1))

    def test_the_same_key_in_two_classes_is_one_student(self, world):
        package = self.package()
        (listed, *_rest) = package.classes
        twin = type(listed)(
            sourced_id="club", title="Club", school_year=listed.school_year, term=listed.term, roster=listed.roster
        )
        entries = [PackageEntry(each, None, name, preview(None, each.roster).seen)
                   for each, name in ((listed, "7X"), (twin, "Club"))]  # fmt: skip
        first, second = import_package(world.teacher, entries)
        keys = {row.sourced_id: row.user_id for row in first.memberships.all()}
        assert keys
        assert {row.sourced_id: row.user_id for row in second.memberships.all()} == keys
        assert User.objects.filter(pk__in=keys.values()).count() == len(keys)
        again = preview(second, listed.roster)
        assert again.changes.is_nothing, "brought in again it changes nothing"

    def test_the_preview_says_who_is_here_already(self, world):
        (listed, *_rest) = self.package().classes
        club = make_class(world.school, "Club", world.teacher)
        import_roster(world.teacher, club, listed.roster, preview(club, listed.roster).seen)
        other = make_class(world.school, "7X", world.teacher)
        shown = preview(other, listed.roster)
        assert shown.known == tuple(student.nickname for student in shown.changes.added)
        assert shown.known

    def test_a_key_of_another_school_is_nobody_here(self, world):
        (listed, *_rest) = self.package().classes
        theirs = make_class(world.other_school, "Club", world.other_teacher)
        import_roster(world.other_teacher, theirs, listed.roster, preview(theirs, listed.roster).seen)
        ours = make_class(world.school, "Club", world.teacher)
        shown = preview(ours, listed.roster)
        assert shown.known == ()
        import_roster(world.teacher, ours, listed.roster, shown.seen)
        assert not {row.user_id for row in ours.memberships.all()} & {row.user_id for row in theirs.memberships.all()}


def test_the_students_page_costs_few_queries(both, django_assert_max_num_queries):
    client = sign_in(both.club.code, "Pip")
    client.get(reverse("submissions:part-list"))
    with django_assert_max_num_queries(12):
        client.get(reverse("submissions:part-list"))
    assert timezone.now() < both.meeting.starts_at


def test_erasing_one_class_keeps_who_is_in_another(both):
    erase_class(both.administrator, both.club)
    assert User.objects.get(pk=both.student.pk).is_active
    assert both.student.memberships.get().school_class == both.school_class


def test_only_who_runs_all_classes_of_a_student_erases_them(both):
    both.club.teachers.set([both.far_teacher])
    with pytest.raises(PermissionDenied):
        erase_student(both.teacher, both.student)
    erase_student(both.administrator, both.student)
    assert not Membership.objects.filter(nickname="Pip", school_class__school=both.school).exists()
