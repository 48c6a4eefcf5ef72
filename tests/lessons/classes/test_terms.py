"""Terms, days that take turns, and what they mean for meetings and for the room, all from one source."""

from __future__ import annotations

import html
from datetime import date, datetime, time, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from lessons.actions.days import remove_day_kind, remove_term, set_special_days, set_term
from lessons.actions.meetings import new_meetings
from lessons.actions.refusals import NotPossible
from lessons.models import DayKind, Meeting, Period, Term
from lessons.school_days import read_school_days
from lessons.school_year import days_ahead, misfits
from lessons.signals import days_changed
from printing.hours import read_bells
from printing.models import RoomHours

pytestmark = pytest.mark.django_db
MON_TO_FRI = {0, 1, 2, 3, 4}
# Labor Day is the first Monday of September (5 U.S.C. 6103(a)): 7 September in 2026
FIRST, LABOR_DAY, LAST = date(2026, 8, 31), date(2026, 9, 7), date(2026, 12, 18)


def period(kind: DayKind, name: str, start: time, end: time) -> None:
    Period.objects.create(day_kind=kind, name=name, starts_at=start, ends_at=end)


@pytest.fixture
def year(world):
    """A days and B days with blocks of their own, Wednesdays with all of them, short."""
    DayKind.objects.filter(school=world.school).delete()
    world.a = DayKind.objects.create(school=world.school, name="A")
    world.b = DayKind.objects.create(school=world.school, name="B")
    world.short = DayKind.objects.create(school=world.school, name="all blocks", weekdays=[2])
    for kind, blocks in ((world.a, "13"), (world.b, "24")):
        period(kind, f"Block {blocks[0]}", time(8), time(9, 30))
        period(kind, f"Block {blocks[1]}", time(9, 40), time(11, 10))
    for hour, block in enumerate("1234", start=8):
        period(world.short, f"Block {block}", time(hour), time(hour, 45))
    for kind in (world.a, world.b, world.short):
        RoomHours.objects.create(room=world.room, day_kind=kind, starts_at=time(8), ends_at=time(12), staff=1)
    return world


def autumn(year, turning=frozenset({0, 1, 3, 4}), rotation=None, **changes):
    values = {"name": "Autumn", "first": FIRST, "last": LAST, **changes}
    kinds = [year.a.pk, year.b.pk] if rotation is None else rotation
    term = year.school.terms.filter(name=values["name"]).first()
    return set_term(year.administrator, term, values["name"], values["first"], values["last"], kinds, turning)


def letters(year, first: date, count: int) -> str:
    """One sign a day: A, B, S for the short day, - for none."""
    days = read_school_days(year.school)
    kinds = (days.kind_of(first + timedelta(days=offset)) for offset in range(count))
    return "".join({year.a.pk: "A", year.b.pk: "B", year.short.pk: "S"}.get(kind, "-") for kind in kinds)


class TestWhichKindADayIs:
    def test_two_weeks_by_hand(self, year):
        """Monday 31 August begins with A; Wednesdays are short and use up no turn; Labor Day neither."""
        autumn(year)
        set_special_days(year.administrator, LABOR_DAY, LABOR_DAY, None, "Labor Day")
        #      Mo Tu We Th Fr Sa Su   Mo Tu We Th Fr
        assert letters(year, FIRST, 12) == "ABSAB--" + "-ASBA"

    def test_turns_on_every_weekday(self, year):
        autumn(year, turning=MON_TO_FRI)
        assert letters(year, FIRST, 14) == "ABABA--BABAB--"

    def test_a_date_of_another_kind_uses_up_its_turn(self, year):
        autumn(year, turning=MON_TO_FRI)
        set_special_days(year.administrator, FIRST, FIRST, year.short, "First day")
        assert letters(year, FIRST, 5) == "SBABA"

    def test_a_cycle_of_six_days(self, year):
        autumn(
            year, turning=MON_TO_FRI, rotation=[year.a.pk, year.a.pk, year.b.pk, year.short.pk, year.b.pk, year.a.pk]
        )
        assert letters(year, FIRST, 12) == "AABSB--AAABS"

    def test_outside_the_terms_there_is_no_school(self, year):
        autumn(year)
        assert letters(year, FIRST - timedelta(days=5), 5) == "-----"  # Wednesday to Sunday before
        assert letters(year, LAST, 8) == "B-------"
        days = read_school_days(year.school)
        assert days.why_none(LAST + timedelta(days=5)) == "no school: outside the terms"
        assert days.next_school_days(LAST, 10) == [LAST]

    def test_without_terms_weekdays_hold_all_year(self, year):
        assert letters(year, FIRST, 14) == "--S----" * 2
        term = autumn(year)
        remove_term(year.administrator, term)
        assert letters(year, FIRST, 14) == "--S----" * 2

    def test_a_second_term_begins_its_turns_anew(self, year):
        autumn(year, turning=MON_TO_FRI)
        spring = date(2027, 1, 5)  # a Tuesday
        set_term(year.administrator, None, "Spring", spring, date(2027, 6, 11), [year.b.pk, year.a.pk], MON_TO_FRI)
        assert letters(year, spring - timedelta(days=1), 5) == "-BABA"


class TestOneSource:
    def test_the_room_is_staffed_on_the_days_lessons_have(self, year):
        autumn(year)
        set_special_days(year.administrator, LABOR_DAY, LABOR_DAY, None, "Labor Day")
        lessons, room = read_school_days(year.school), read_bells(year.room)
        for offset in range(-10, 130):
            day = FIRST + timedelta(days=offset)
            assert room.kind_of(day) == lessons.kind_of(day)
            assert bool(room.staffed_on(day)) == (lessons.kind_of(day) is not None)
        calendar = room.calendar(FIRST, 8)
        assert sum(part.end - part.start for part in calendar.staffed) == 5 * 4 * 60  # five days of four hours

    def test_a_series_takes_the_days_that_have_the_block(self, year):
        autumn(year)
        dates = [FIRST + timedelta(days=offset) for offset in range(5)]
        new = new_meetings(year.school_class, dates, "Block 4")
        assert [slot.day.day for slot in new.slots] == [1, 2, 4]  # B on Tuesday and Friday, all blocks on Wednesday
        assert [slot.starts_at.astimezone(read_school_days(year.school).zone).hour for slot in new.slots] == [9, 11, 9]
        assert [each.why for each in new.skipped] == ["no Block 4 on a day of kind A"] * 2

    def test_who_plans_the_room_hears_of_it(self, year):
        heard = []

        def listen(sender, school, **_rest):
            heard.append(school.pk)

        days_changed.connect(listen)
        try:
            remove_term(year.administrator, autumn(year))
        finally:
            days_changed.disconnect(listen)
        assert heard == [year.school.pk] * 2

    def test_few_queries_whatever_the_dates(self, year, django_assert_num_queries):
        autumn(year)
        read_school_days(year.school)  # what the database can do with JSON is asked once
        with django_assert_num_queries(1):
            days = read_school_days(year.school)
            days_ahead(days, FIRST, 60)
        room = type(year.room).objects.select_related("school").get(pk=year.room.pk)
        with django_assert_num_queries(1):
            read_bells(room).calendar(FIRST, 60)


class TestWhatCannotBe:
    @pytest.mark.parametrize(
        ("change", "told"),
        [
            ({"name": " "}, "1 to 40 letters"),
            ({"name": "AUTUMN"}, "this name already"),
            ({"name": "Other", "first": date(2026, 12, 18), "last": date(2027, 2, 1)}, "lie in Autumn"),
            ({"name": "Other", "first": date(2027, 2, 2), "last": date(2027, 2, 1)}, "not before its first"),
            ({"name": "Other", "first": date(2027, 2, 2), "last": date(2029, 2, 1)}, "400 days at most"),
        ],
    )
    def test_of_a_term(self, year, change, told):
        autumn(year)
        values = {"name": "Autumn", "first": date(2027, 1, 5), "last": date(2027, 6, 1), **change}
        with pytest.raises(NotPossible, match=told):
            set_term(year.administrator, None, values["name"], values["first"], values["last"], [], ())
        assert year.school.terms.count() == 1

    def test_a_kind_of_another_school_takes_no_turn(self, year):
        theirs = DayKind.objects.create(school=year.other_school, name="theirs")
        with pytest.raises(NotPossible, match="not there any more"):
            autumn(year, rotation=[year.a.pk, theirs.pk])

    def test_a_kind_that_takes_turns_stays(self, year):
        autumn(year)
        RoomHours.objects.all().delete()
        with pytest.raises(NotPossible, match="rotation"):
            remove_day_kind(year.administrator, year.a)

    @pytest.mark.parametrize("who", ["student", "teacher", "technician", "other_teacher"])
    def test_only_administrators(self, year, who):
        term = autumn(year)
        person = year.people()[who]
        for verb in (
            lambda: set_term(person, term, "Mine", FIRST, LAST, [], ()),
            lambda: remove_term(person, term),
        ):
            with pytest.raises(PermissionDenied):
                verb()


def test_meetings_that_no_longer_fit_are_found(year):
    autumn(year)
    zone = read_school_days(year.school).zone

    def meeting(day: date, block: str, start: time, end: time) -> Meeting:
        moments = (datetime.combine(day, at, tzinfo=zone) for at in (start, end))
        return Meeting(
            school_class=year.school_class, period=block, **dict(zip(("starts_at", "ends_at"), moments, strict=True))
        )

    rows = [
        meeting(FIRST, "Block 1", time(8), time(9, 30)),
        meeting(FIRST, "Block 2", time(8), time(9, 30)),
        meeting(FIRST, "Block 1", time(8), time(9)),
        meeting(FIRST, "club", time(15), time(16)),
        meeting(LAST + timedelta(days=10), "Block 1", time(8), time(9, 30)),
    ]
    found = misfits(read_school_days(year.school), rows)
    assert [(rows.index(each.meeting), each.why) for each in found] == [
        (1, "no Block 2 that day"),
        (2, "Block 1 is from 08:00 to 09:30 that day"),
        (4, "no school: outside the terms"),
    ]


class TestPages:
    """From today on, so dates are counted from now."""

    def first(self) -> date:
        today = timezone.localdate()
        return today + timedelta(days=7 - today.weekday())  # next Monday

    def values(self, year, **changes):
        first = self.first()
        values = {
            "name": "Term 1", "first": first.isoformat(), "last": (first + timedelta(days=60)).isoformat(),
            "turn_1": year.a.pk, "turn_2": year.b.pk, "turning": [0, 1, 3, 4], "do": "save",
        }  # fmt: skip
        return {**values, **changes}

    def test_an_administrator_looks_first_then_saves(self, year, signed_in):
        client = signed_in(year.administrator)
        new = reverse("lessons:term-new")
        assert client.get(new).status_code == 200
        looked = client.post(new, self.values(year, do="look"))
        assert [row.kind for row in looked.context["ahead"]][:5] == ["A", "B", "all blocks", "A", "B"]
        assert not Term.objects.exists()
        saved = client.post(new, self.values(year))
        assert saved["Location"] == reverse("lessons:day-list")
        page = client.get(saved["Location"])
        assert [row.kind for row in page.context["ahead"]] == ["A", "B", "all blocks", "A", "B"] * 2
        assert "A, B" in html.unescape(page.content.decode())
        term = Term.objects.get()
        edit = reverse("lessons:term-edit", args=[term.pk])
        assert b'value="Term 1"' in client.get(edit).content
        client.post(edit, self.values(year, turn_1="", turn_2=""))
        term.refresh_from_db()
        assert (term.rotation, term.turning) == ([], [])
        client.post(reverse("lessons:term-remove", args=[term.pk]))
        assert not Term.objects.exists()

    def test_meetings_the_term_would_leave_outside_are_told_before_saving(self, year, signed_in):
        year.assignment.delete()
        Meeting.objects.all().delete()
        wednesday = self.first() + timedelta(weeks=13, days=2)
        zone = read_school_days(year.school).zone
        at = datetime.combine(wednesday, time(8), tzinfo=zone)
        Meeting.objects.create(
            school_class=year.school_class, starts_at=at, ends_at=at + timedelta(minutes=45), period="Block 1"
        )
        looked = signed_in(year.administrator).post(reverse("lessons:term-new"), self.values(year, do="look"))
        assert [row.why for row in looked.context["misfits"]] == ["no school: outside the terms"]
        assert "These meetings would no longer fit" in html.unescape(looked.content.decode())

    @pytest.mark.parametrize(
        ("change", "told"),
        [
            ({"last": "2001-01-01"}, "The last day lies before the first."),
            ({"turn_2": ""}, "Taking turns needs two days or more"),
            ({"turning": []}, "Tick the weekdays"),
            ({"turn_1": "999999"}, "Select a valid choice"),
            ({"first": "soon"}, "Enter a valid date"),
        ],
    )
    def test_what_is_wrong_is_told_in_place(self, year, signed_in, change, told):
        answer = signed_in(year.administrator).post(reverse("lessons:term-new"), self.values(year, **change))
        assert answer.status_code == 422
        assert told in html.unescape(answer.content.decode())
        assert not Term.objects.exists()

    def test_others_see_the_year_and_change_nothing(self, year, signed_in):
        term = autumn(year)
        page = signed_in(year.teacher).get(reverse("lessons:day-list"))
        assert "Autumn" in page.content.decode()
        assert reverse("lessons:term-new") not in page.content.decode()
        for who in ("teacher", "technician", "student", "other_teacher"):
            client = signed_in(year.people()[who])
            assert client.get(reverse("lessons:term-new")).status_code == 404
            assert client.post(reverse("lessons:term-edit", args=[term.pk]), self.values(year)).status_code == 404
            assert client.post(reverse("lessons:term-remove", args=[term.pk])).status_code == 404
        assert Term.objects.get().name == "Autumn"

    def test_the_page_costs_few_queries(self, year, signed_in, django_assert_max_num_queries):
        autumn(year)
        client = signed_in(year.administrator)
        client.get(reverse("lessons:day-list"))
        with django_assert_max_num_queries(8):
            page = client.get(reverse("lessons:day-list"))
        assert len(page.content) < 150_000
