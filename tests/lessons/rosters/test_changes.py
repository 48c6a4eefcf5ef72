"""What a list would change in a class, and that doing it twice changes nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lessons.rosters import Changes, Member, Roster, RosterStudent, compare, names, read_oneroster, read_paste
from tests.lessons.rosters import packages as build


def applied(changes: Changes, members: list[Member]) -> list[Member]:
    """The class after the changes, by the plain meaning of the words (the app's own way is in lessons.actions)."""
    after = {member.pk: member for member in members}
    for rename in changes.renamed:
        after[rename.member.pk] = replace(after[rename.member.pk], nickname=rename.nickname)
    for move in changes.moved:
        after[move.member.pk] = replace(after[move.member.pk], teams=(move.team,))
    for member, key in changes.keyed:
        after[member.pk] = replace(after[member.pk], sourced_id=key)
    for pk, student in enumerate(changes.added, start=max(after, default=0) + 1):
        after[pk] = Member(pk, student.nickname, student.sourced_id, (student.team,) if student.team else ())
    return list(after.values())


def roster(*students: RosterStudent, **more: bool) -> Roster:
    return Roster(tuple(students), **more)


def keyed(nickname: str, key: str, row: int = 1) -> RosterStudent:
    return RosterStudent(nickname, sourced_id=key, row=row)


def test_new_moved_and_left():
    members = [Member(1, "Juno", teams=("1", "Hares")), Member(2, "Pip", teams=("1", "Hares")), Member(3, "Odd")]
    changes = compare(read_paste("Juno, hares\nPip, Toads\nZuri, 2"), members)
    assert [student.nickname for student in changes.added] == ["Zuri"]
    assert [(move.member.pk, move.team) for move in changes.moved] == [(2, "Toads")]
    assert [member.pk for member in changes.left] == [3]
    assert changes.unchanged == 1


def test_a_key_finds_who_was_renamed():
    changes = compare(roster(keyed("Juno", "u-1")), [Member(1, "Junifer", "u-1")])
    assert [(rename.member.pk, rename.nickname) for rename in changes.renamed] == [(1, "Juno")]
    assert not changes.added


def test_a_nickname_finds_who_had_no_key_yet():
    changes = compare(roster(keyed("juno", "u-1"), names_are_ours=True), [Member(1, "Juno")])
    assert [(member.pk, key) for member, key in changes.keyed] == [(1, "u-1")]
    assert not changes.added
    assert not changes.renamed


def test_somebody_with_another_key_is_somebody_else():
    changes = compare(roster(keyed("Juno", "u-2")), [Member(1, "Juno", "u-1")])
    assert not changes.keyed
    assert [problem.code for problem in changes.problems] == ["taken"]


def test_two_may_swap_nicknames():
    members = [Member(1, "Juno", "u-1"), Member(2, "Pip", "u-2")]
    changes = compare(roster(keyed("Pip", "u-1"), keyed("Juno", "u-2")), members)
    assert {rename.member.pk: rename.nickname for rename in changes.renamed} == {1: "Pip", 2: "Juno"}


def test_who_cannot_be_renamed_stands_in_the_way_of_the_next():
    """Ana should become Bo, but a Bo stays; so Ana stays Ana, and Cy cannot become Ana."""
    members = [Member(1, "Ana", "u-1"), Member(2, "Cy", "u-2"), Member(3, "Bo")]
    changes = compare(roster(keyed("Bo", "u-1"), keyed("Ana", "u-2")), members)
    assert not changes.renamed
    assert [problem.code for problem in changes.problems] == ["taken", "taken"]


def test_like_names_of_a_package_are_told_apart():
    package = read_oneroster(build.package(), date(2026, 11, 25))
    changes = compare(package.classes[0].roster, [])
    assert [student.nickname for student in changes.added] == ["Juno", "Pip A.", "Pip B."]


def test_a_package_twice_changes_nothing_the_second_time():
    package = read_oneroster(build.package("1.2"), date(2026, 11, 25))
    first = compare(package.classes[0].roster, [Member(7, "Juno")])
    again = compare(package.classes[0].roster, applied(first, [Member(7, "Juno")]))
    assert again.is_nothing
    assert again.unchanged == 3


NAMES = st.sampled_from(["Juno", "juno", "Pip", "Tavi", "Zoë", "ZOË", "Bee"])
KEYS = st.sampled_from(["", "", "u-1", "u-2", "u-3"])
STUDENTS = st.lists(
    st.builds(RosterStudent, NAMES, st.sampled_from(["", "1", "Hares"]), KEYS, st.sampled_from(["", "A"])),
    max_size=6,
    unique_by=(lambda s: names.key(s.nickname), lambda s: s.sourced_id or s.nickname),
)
MEMBERS = st.lists(
    st.tuples(NAMES, KEYS), max_size=5, unique_by=(lambda m: names.key(m[0]), lambda m: m[1] or m[0])
).map(lambda rows: [Member(pk, name, key) for pk, (name, key) in enumerate(rows, start=1)])


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(STUDENTS, MEMBERS, st.booleans())
def test_any_list_leaves_each_nickname_once_and_settles(students, members, ours):
    listed = Roster(tuple(students), names_are_ours=ours)
    changes = compare(listed, members)
    after = applied(changes, members)
    spelled = [names.key(member.nickname) for member in after]
    assert len(spelled) == len(set(spelled))
    keys = [member.sourced_id for member in after if member.sourced_id]
    assert len(keys) == len(set(keys))
    if not changes.problems:
        again = compare(listed, after)
        assert not again.added or ours
        assert not again.moved
