"""Meetings by the bell schedule, moving them, and the bell schedule itself."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from lessons.actions.days import (
    read_periods,
    remove_day_kind,
    remove_special_day,
    set_day_kind,
    set_special_days,
)
from lessons.actions.meetings import add_meetings, move_meeting, new_meetings, remove_meeting
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.classes.moving import ALONG, KEEP, work_out
from lessons.models import DayKind, Meeting, Period, SchoolDay
from lessons.school_days import Slot, read_school_days, slots
from lessons.signals import days_changed, meeting_moved

pytestmark = pytest.mark.django_db
STRANGERS = ("student", "far_teacher", "technician", "other_teacher")
ZONE = ZoneInfo("America/Chicago")
MONDAY = date(2027, 3, 1)


@pytest.fixture
def bells(world):
    """Period 3 on usual days and, shorter, on early release; Wednesday 3 March early release, 8 March no school."""
    DayKind.objects.filter(school=world.school).delete()
    usual = DayKind.objects.create(school=world.school, name="regular", weekdays=[0, 1, 2, 3, 4])
    early = DayKind.objects.create(school=world.school, name="early release", weekdays=[])
    for kind, start, end in ((usual, time(9, 55), time(10, 45)), (early, time(9, 25), time(10))):
        Period.objects.create(day_kind=kind, name="Period 3", starts_at=start, ends_at=end)
    Period.objects.create(day_kind=usual, name="Period 7", starts_at=time(14, 10), ends_at=time(15))
    SchoolDay.objects.create(school=world.school, date=date(2027, 3, 3), day_kind=early, name="Staff meeting")
    SchoolDay.objects.create(school=world.school, date=date(2027, 3, 8), day_kind=None, name="Bridge day")
    world.usual, world.early = usual, early
    return world


def add(world, dates, period="Period 3", who=None):
    seen = new_meetings(world.school_class, dates, period).seen
    return add_meetings(who or world.teacher, world.school_class, dates, period, "", seen)


class TestSeries:
    def test_times_are_those_of_each_date(self, bells):
        """Worked by hand: Chicago is UTC-6 until Sunday 14 March 2027 02:00, then UTC-5 (second Sunday of March, the
        Uniform Time Act's rule since 2007)."""
        dates = [MONDAY, date(2027, 3, 3), date(2027, 3, 8), date(2027, 3, 15), date(2027, 3, 6)]
        new = new_meetings(bells.school_class, dates, "Period 3")
        assert [slot.starts_at.astimezone(UTC) for slot in new.slots] == [
            datetime(2027, 3, 1, 15, 55, tzinfo=UTC),
            datetime(2027, 3, 3, 15, 25, tzinfo=UTC),
            datetime(2027, 3, 15, 14, 55, tzinfo=UTC),
        ]
        assert [(each.day.day, each.why) for each in new.skipped] == [(6, "no school"), (8, "no school: Bridge day")]

    def test_a_period_that_day_does_not_have(self, bells):
        new = new_meetings(bells.school_class, [date(2027, 3, 3)], "Period 7")
        assert not new.slots
        assert new.skipped[0].why == "no Period 7 on a day of kind early release"
        with pytest.raises(NotPossible, match="None of these"):
            add(bells, [date(2027, 3, 3)], "Period 7")

    def test_not_twice(self, bells):
        assert len(add(bells, [MONDAY])) == 1
        new = new_meetings(bells.school_class, [MONDAY, MONDAY + timedelta(days=1)], "Period 3")
        assert [slot.day.day for slot in new.slots] == [2]
        assert new.skipped[0].why == "the class meets then already"

    def test_what_changed_since_the_preview_is_told(self, bells):
        seen = new_meetings(bells.school_class, [MONDAY], "Period 3").seen
        set_special_days(bells.administrator, MONDAY, MONDAY, bells.early, "Storm")
        with pytest.raises(ChangedMeanwhile):
            add_meetings(bells.teacher, bells.school_class, [MONDAY], "Period 3", "", seen)
        assert not bells.school_class.meetings.filter(period="Period 3").exists()

    @pytest.mark.parametrize("who", STRANGERS)
    def test_not_by_others(self, bells, who):
        with pytest.raises(PermissionDenied):
            add(bells, [MONDAY], who=bells.people()[who])


class TestMoving:
    def slot(self, world, days=5) -> Slot:
        start = world.meeting.starts_at + timedelta(days=days)
        return Slot(start.date(), "9", start, start + timedelta(minutes=50))

    def move(self, world, slot, rule, who=None):
        return move_meeting(who or world.teacher, world.meeting, slot, rule, work_out(world.meeting, slot, rule).seen)

    @pytest.mark.parametrize(("rule", "shift"), [(ALONG, 5), (KEEP, 0)])
    def test_the_limit_for_files(self, world, rule, shift):
        before = world.assignment.upload_by
        self.move(world, self.slot(world), rule)
        world.assignment.refresh_from_db()
        world.meeting.refresh_from_db()
        assert world.assignment.upload_by == before + timedelta(days=shift)
        assert (world.meeting.period, world.meeting.starts_at) == ("9", self.slot(world, 0).starts_at)

    def test_a_kept_limit_never_lies_after_the_meeting(self, world):
        slot = self.slot(world, days=-2)
        move = work_out(world.meeting, slot, KEEP)
        assert move.limits[0].cut
        self.move(world, slot, KEEP)
        world.assignment.refresh_from_db()
        assert world.assignment.upload_by == slot.starts_at

    def test_higher_layers_hear_of_it_in_the_same_transaction(self, world):
        heard = []

        def listen(sender, meeting, before, user, **_rest):
            heard.append((meeting.pk, before, user))
            raise RuntimeError("stop")

        meeting_moved.connect(listen)
        before = world.meeting.starts_at
        try:
            with pytest.raises(RuntimeError):
                self.move(world, self.slot(world), ALONG)
        finally:
            meeting_moved.disconnect(listen)
        assert heard == [(world.meeting.pk, before, world.teacher)]
        world.meeting.refresh_from_db()
        assert world.meeting.starts_at == before, "a receiver that raises undoes the move"

    def test_two_at_once(self, world):
        slot = self.slot(world)
        seen = work_out(world.meeting, slot, ALONG).seen
        move_meeting(world.administrator, world.meeting, slot, ALONG, seen)
        with pytest.raises(ChangedMeanwhile):
            move_meeting(world.teacher, world.meeting, slot, ALONG, seen)

    def test_not_into_the_past_or_onto_another_meeting(self, world):
        with pytest.raises(NotPossible, match="passed"):
            self.move(world, self.slot(world, days=-9), ALONG)
        slot = self.slot(world)
        Meeting.objects.create(school_class=world.school_class, starts_at=slot.starts_at, ends_at=slot.ends_at)
        with pytest.raises(NotPossible, match="meets then"):
            self.move(world, slot, ALONG)

    def test_removing_only_without_lessons(self, world):
        with pytest.raises(NotPossible, match="is given"):
            remove_meeting(world.teacher, world.meeting)
        world.assignment.delete()
        remove_meeting(world.teacher, world.meeting)
        assert not Meeting.objects.filter(pk=world.meeting.pk).exists()

    @pytest.mark.parametrize("who", STRANGERS)
    def test_not_by_others(self, world, who):
        with pytest.raises(PermissionDenied):
            self.move(world, self.slot(world), ALONG, world.people()[who])
        with pytest.raises(PermissionDenied):
            remove_meeting(world.people()[who], world.meeting)


class TestPeriodsAsTyped:
    @pytest.mark.parametrize(
        "line",
        ["Period 1, 08:05, 08:55", "Period 1  8:05-8:55", "Period 1\t08:05\t08:55", "Period 1; 8.05 to 8.55",
         "Period 1 8:05 am - 8:55 AM"],
    )  # fmt: skip
    def test_ways_to_write_one(self, line):
        (period,) = read_periods(line)
        assert (period.name, period.starts_at, period.ends_at) == ("Period 1", time(8, 5), time(8, 55))

    def test_noon_and_afternoon(self):
        found = read_periods("Lunch, 12:00 pm, 12:30 pm\nPeriod 6, 1:15 pm, 2:05 p.m.")
        assert [(p.starts_at, p.ends_at) for p in found] == [(time(12), time(12, 30)), (time(13, 15), time(14, 5))]

    @pytest.mark.parametrize(
        ("text", "told"),
        [("Period 1", "Line 1"), ("A, 8:00, 9:00\nB, 25:00, 26:00", "Line 2"), ("A, 9:00, 8:00", "ends before"),
         ("A, 8:00, 9:00\nB, 8:30, 9:30", "begins before A ends"), ("A, 8:00, 9:00\na, 10:00, 11:00", "twice"),
         (", 8:00, 9:00", "Line 1"), ("A, 13:00 pm, 14:00", "no such time")],
    )  # fmt: skip
    def test_what_cannot_be(self, text, told):
        with pytest.raises(NotPossible, match=told):
            read_periods(text)


class TestBellSchedule:
    def test_a_weekday_belongs_to_one_kind(self, bells):
        set_day_kind(bells.administrator, bells.early, "early release", {2}, read_periods("Period 3, 9:25, 10:00"))
        bells.usual.refresh_from_db()
        assert bells.usual.weekdays == [0, 1, 3, 4]
        days = read_school_days(bells.school)
        assert days.kind_of(date(2027, 3, 10)) == bells.early.pk

    def test_who_plans_the_room_hears_of_it(self, bells):
        heard = []

        def listen(sender, school, **_rest):
            heard.append(school.pk)

        days_changed.connect(listen)
        try:
            set_special_days(bells.administrator, MONDAY, MONDAY + timedelta(days=4), None, "Week off")
            remove_special_day(bells.administrator, SchoolDay.objects.get(date=MONDAY))
        finally:
            days_changed.disconnect(listen)
        assert heard == [bells.school.pk] * 2
        assert SchoolDay.objects.filter(school=bells.school, name="Week off").count() == 4

    def test_special_days_replace_what_was_said(self, bells):
        set_special_days(bells.administrator, date(2027, 3, 3), date(2027, 3, 3), None, "Storm")
        assert slots(read_school_days(bells.school), [date(2027, 3, 3)], "Period 3")[1][0].why == "no school: Storm"
        for last in (date(2027, 3, 2), date(2028, 3, 3)):
            with pytest.raises(NotPossible):
                set_special_days(bells.administrator, date(2027, 3, 3), last, None, "")

    def test_a_kind_in_use_stays(self, bells):
        for kind in (bells.usual, bells.early):
            with pytest.raises(NotPossible, match="still used"):
                remove_day_kind(bells.administrator, kind)
        SchoolDay.objects.filter(day_kind=bells.early).delete()
        remove_day_kind(bells.administrator, bells.early)
        assert not DayKind.objects.filter(pk=bells.early.pk).exists()

    @pytest.mark.parametrize("who", ["student", "teacher", "technician"])
    def test_only_administrators(self, bells, who):
        person = bells.people()[who]
        for verb in (
            lambda: set_day_kind(person, bells.usual, "x", set(), []),
            lambda: remove_day_kind(person, bells.early),
            lambda: set_special_days(person, MONDAY, MONDAY, None, ""),
            lambda: remove_special_day(person, SchoolDay.objects.first()),
        ):
            with pytest.raises(PermissionDenied):
                verb()

    def test_meetings_keep_their_times(self, bells):
        (meeting,) = add(bells, [timezone.localdate() + timedelta(days=7 - timezone.localdate().weekday() + 7)])
        before = meeting.starts_at
        set_day_kind(
            bells.administrator, bells.usual, "regular", {0, 1, 2, 3, 4}, read_periods("Period 3, 11:00, 12:00")
        )
        meeting.refresh_from_db()
        assert meeting.starts_at == before
