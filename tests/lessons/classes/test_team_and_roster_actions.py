"""Class lists and teams brought into a class, also by two teachers at once."""

from __future__ import annotations

from datetime import date

import pytest
from django.core.exceptions import PermissionDenied

from lessons.actions.classes import make_class
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.actions.rosters import import_roster, preview
from lessons.actions.students import add_student
from lessons.actions.teams import form_teams, has_work, make_team, proposal_for, remove_team, set_teams
from lessons.classes.members import teams_seen
from lessons.models import Membership, SchoolClass, Team
from lessons.rosters import Roster, RosterStudent, read_oneroster, read_paste
from lessons.rosters.teaming import Rule
from makerlab.accounts.models import User
from tests.lessons.rosters import packages as build
from tests.submissions.make import make_submission
from tests.world import make_student

pytestmark = pytest.mark.django_db
STRANGERS = ("student", "far_student", "far_teacher", "technician", "other_student", "other_teacher")


def bring(world, text: str, leave=()):
    roster = read_paste(text)
    return import_roster(world.teacher, world.school_class, roster, preview(world.school_class, roster).seen, leave)


def placed(school_class: SchoolClass) -> dict[str, str | None]:
    return {m.nickname: m.team.name if m.team else None for m in school_class.memberships.select_related("team")}


@pytest.fixture
def fresh(world):
    """A class of our teacher with nobody in it."""
    world.school_class = make_class(world.teacher, "7C", {})
    return world


class TestLists:
    def test_new_students_and_teams(self, fresh):
        bring(fresh, "Juno, Hares\nPip, Hares\nTavi, 4\nBee")
        assert placed(fresh.school_class)["Juno"] == "Hares"
        assert placed(fresh.school_class)["Bee"] is None
        assert sorted(fresh.school_class.teams.values_list("number", "tray")) == [(1, 1), (4, 4)]

    def test_twice_changes_nothing(self, fresh):
        text = "Juno, Hares\nPip, 2\nTavi, team 2\nBee"
        bring(fresh, text)
        before = list(Membership.objects.order_by("pk").values())
        changes = bring(fresh, text)
        assert changes.is_nothing
        assert list(Membership.objects.order_by("pk").values()) == before
        assert User.objects.count() == len(fresh.people()) + 4

    def test_nobody_leaves_unless_ticked(self, fresh):
        bring(fresh, "Juno\nPip\nTavi")
        pip, tavi = (fresh.school_class.memberships.get(nickname=name) for name in ("Pip", "Tavi"))
        bring(fresh, "Juno", [pip.pk])
        assert set(placed(fresh.school_class)) == {"Juno", "Tavi"}
        assert not User.objects.get(pk=pip.user_id).is_active
        assert User.objects.get(pk=tavi.user_id).is_active

    def test_only_who_the_list_no_longer_holds_can_be_ticked(self, world):
        bring(
            world,
            "\n".join(m.nickname for m in world.school_class.memberships.all()),
            [world.student.memberships.get().pk],
        )
        assert Membership.objects.filter(user=world.student).exists()

    def test_two_swap_nicknames(self, fresh):
        keyed = [RosterStudent("Juno", sourced_id="u-1"), RosterStudent("Pip", sourced_id="u-2")]
        for names in (("Juno", "Pip"), ("Pip", "Juno")):
            students = [RosterStudent(n, sourced_id=s.sourced_id) for n, s in zip(names, keyed, strict=True)]
            roster = Roster(tuple(students))
            import_roster(fresh.teacher, fresh.school_class, roster, preview(fresh.school_class, roster).seen)
        assert fresh.school_class.memberships.get(sourced_id="u-1").nickname == "Pip"
        assert fresh.school_class.memberships.get(sourced_id="u-1").user.display_name == "Pip"

    @pytest.mark.parametrize("version", ["1.1", "1.2"])
    def test_a_package_twice(self, fresh, version):
        roster = read_oneroster(build.package(version), date(2026, 11, 25)).classes[0].roster
        for _ in range(2):
            seen = preview(fresh.school_class, roster).seen
            changes = import_roster(fresh.teacher, fresh.school_class, roster, seen)
        assert changes.is_nothing
        assert set(placed(fresh.school_class)) == {"Juno", "Pip A.", "Pip B."}

    def test_what_changed_since_the_preview_is_told_and_nothing_saved(self, fresh):
        roster = read_paste("Juno\nPip")
        seen = preview(fresh.school_class, roster).seen
        add_student(fresh.teacher, fresh.school_class, "Pip")
        with pytest.raises(ChangedMeanwhile):
            import_roster(fresh.teacher, fresh.school_class, roster, seen)
        assert set(placed(fresh.school_class)) == {"Pip"}

    @pytest.mark.parametrize("who", STRANGERS)
    def test_not_by_others(self, world, who):
        roster = read_paste("Zuri")
        with pytest.raises(PermissionDenied):
            import_roster(world.people()[who], world.school_class, roster, preview(world.school_class, roster).seen)


class TestTeams:
    def test_by_hand(self, world):
        member = world.student.memberships.get()
        named = {world.team.pk: ("Crew one", 7), world.second_team.pk: ("Crew two", 1)}
        seen = teams_seen(world.school_class)
        set_teams(world.teacher, world.school_class, {member.pk: world.second_team.pk}, named, seen)
        world.team.refresh_from_db()
        member.refresh_from_db()
        assert (world.team.name, world.team.tray, member.team) == ("Crew one", 7, world.second_team)
        set_teams(world.teacher, world.school_class, {member.pk: None}, {}, teams_seen(world.school_class))
        member.refresh_from_db()
        assert member.team is None

    def test_names_and_trays_once(self, world):
        seen = teams_seen(world.school_class)
        for named in (
            {world.team.pk: ("crew 2", 1)},
            {world.team.pk: ("Crew 1", 2)},
            {world.team.pk: ("", 1)},
        ):
            with pytest.raises(NotPossible):
                set_teams(world.teacher, world.school_class, {}, named, seen)
        swapped = {world.team.pk: ("Crew 2", 2), world.second_team.pk: ("Crew 1", 1)}
        set_teams(world.teacher, world.school_class, {}, swapped, seen)

    def test_a_team_of_another_class(self, world):
        with pytest.raises(NotPossible):
            set_teams(
                world.teacher, world.school_class, {world.student.memberships.get().pk: world.far_team.pk}, {},
                teams_seen(world.school_class),
            )  # fmt: skip

    def test_a_student_of_another_class_is_not_touched(self, world):
        far = world.far_student.memberships.get()
        set_teams(world.teacher, world.school_class, {far.pk: world.team.pk}, {}, teams_seen(world.school_class))
        far.refresh_from_db()
        assert far.team == world.far_team

    def test_two_teachers_at_once(self, world):
        seen = teams_seen(world.school_class)
        member = world.student.memberships.get()
        set_teams(world.teacher, world.school_class, {member.pk: world.second_team.pk}, {}, seen)
        with pytest.raises(ChangedMeanwhile):
            set_teams(world.administrator, world.school_class, {member.pk: None}, {}, seen)
        member.refresh_from_db()
        assert member.team == world.second_team

    def test_drawn_as_shown(self, fresh):
        bring(fresh, "\n".join(f"N{n}" for n in range(10)))
        shown = proposal_for(fresh.school_class, Rule.DRAWN, 3, 42)
        done = form_teams(fresh.teacher, fresh.school_class, Rule.DRAWN, 3, 42, teams_seen(fresh.school_class))
        assert done.teams == shown.teams
        assert [team.memberships.count() for team in fresh.school_class.teams.all()] == [3, 3, 2, 2]

    def test_a_team_with_work_is_never_removed(self, world):
        make_submission(world)
        Membership.objects.filter(team=world.team).update(team=None)
        with pytest.raises(NotPossible, match="handed in"):
            remove_team(world.teacher, world.team)
        assert Team.objects.filter(pk=world.team.pk).exists()
        empty = make_team(world.teacher, world.school_class, "Newcomers")
        assert not has_work(empty)
        remove_team(world.teacher, empty)
        assert not Team.objects.filter(pk=empty.pk).exists()

    def test_a_team_with_students_is_not_removed(self, world):
        with pytest.raises(NotPossible, match="still has students"):
            remove_team(world.teacher, world.team)

    @pytest.mark.parametrize("who", STRANGERS)
    def test_not_by_others(self, world, who):
        person = world.people()[who]
        for verb in (
            lambda: make_team(person, world.school_class),
            lambda: remove_team(person, world.second_team),
            lambda: set_teams(person, world.school_class, {}, {}, teams_seen(world.school_class)),
            lambda: form_teams(person, world.school_class, Rule.DRAWN, 3, 1, teams_seen(world.school_class)),
        ):
            with pytest.raises(PermissionDenied):
                verb()


@pytest.mark.django_db(transaction=True)
def test_of_two_who_save_teams_at_the_same_moment_one_wins(world, at_once):
    make_student(world.school_class, None, "Zed")  # in no team yet, so that drawing teams changes something too
    seen = teams_seen(world.school_class)
    member = world.student.memberships.get()
    results = at_once(
        lambda: set_teams(world.teacher, world.school_class, {member.pk: world.second_team.pk}, {}, seen),
        lambda: set_teams(world.administrator, world.school_class, {member.pk: None}, {}, seen),
        lambda: form_teams(world.teacher, world.school_class, Rule.DRAWN, 1, 5, seen),
    )
    assert sorted(type(result).__name__ for result in results) in (
        ["ChangedMeanwhile", "ChangedMeanwhile", "NoneType"],
        ["ChangedMeanwhile", "ChangedMeanwhile", "Proposal"],
    )


@pytest.mark.django_db(transaction=True)
def test_of_two_who_bring_the_same_list_one_wins(world, at_once):
    roster = read_paste("Zuri\nBee")
    seen = preview(world.school_class, roster).seen
    bring_it = [
        lambda who=who: import_roster(who, world.school_class, roster, seen)
        for who in (world.teacher, world.administrator)
    ]
    results = at_once(*bring_it)
    assert sum(isinstance(result, ChangedMeanwhile) for result in results) == 1
    (count,) = at_once(lambda: Membership.objects.filter(nickname="Zuri").count())
    assert count == 1
