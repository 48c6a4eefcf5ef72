"""Which days the room plan shows, and the pages of a day and a week."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone

from printing.models import Plate, Room, Run
from printing.room_days import View, monday_of, window_of
from printing.timeline import PAD, WEEK_WIDTH, draw_day
from tests.printing.helpers import make_plate
from tests.printing.test_timeline import ZONE, bar, bells

NOW = datetime(2026, 11, 18, 10, tzinfo=ZONE)  # a Wednesday
MOMENTS = ("setup_at", "starts_at", "ends_at", "cleared_at")
THURSDAY, FRIDAY, MONDAY = date(2026, 11, 19), date(2026, 11, 20), date(2026, 11, 23)


def test_a_day_stands_beside_the_next_one_with_somebody_in_the_room():
    window = window_of(bells(), [], FRIDAY, View.DAY, NOW)
    assert window.days == (FRIDAY, MONDAY), "nobody comes on Saturday and Sunday"
    assert (window.earlier, window.later) == (THURSDAY, MONDAY)


def test_a_holiday_is_passed_over_but_not_in_its_week():
    off = bells(special={FRIDAY: None}, names={FRIDAY: "Holiday"})
    assert window_of(off, [], THURSDAY, View.DAY, NOW).days == (THURSDAY, MONDAY)
    week = window_of(off, [], FRIDAY, View.WEEK, NOW)
    assert week.days == tuple(date(2026, 11, 16) + timedelta(days=at) for at in range(5))
    assert (week.earlier, week.later) == (date(2026, 11, 9), MONDAY)


def test_a_run_on_saturday_opens_that_day():
    saturday = datetime(2026, 11, 21, 9, tzinfo=ZONE)
    assert window_of(bells(), [saturday], FRIDAY, View.DAY, NOW).days[1] == saturday.date()
    week = window_of(bells(), [saturday], FRIDAY, View.WEEK, NOW)
    assert [day.isoweekday() for day in week.days] == [1, 2, 3, 4, 5, 6]


def test_the_day_of_a_moment_is_the_schools():
    late = datetime(2026, 11, 22, 3, tzinfo=ZoneInfo("UTC"))  # Saturday, 21:00 in Chicago
    assert window_of(bells(), [late], FRIDAY, View.DAY, NOW).days[1] == date(2026, 11, 21)


@pytest.mark.parametrize("wish", [None, date(1999, 1, 1), date(9999, 12, 31)])
def test_no_day_or_one_beyond_all_plans_means_today(wish):
    for view in View:
        assert NOW.date() in window_of(bells(), [], wish, view, NOW).days


def test_a_day_of_a_week_is_drawn_narrow_with_few_ticks():
    """08:00 to 16:00 on 208 px between two margins of 8: 24 px an hour; ticks every six hours at most three."""
    day = draw_day(
        date(2026, 11, 17), bells(), 1, [bar(NOW.replace(day=17), NOW.replace(day=17, hour=12))], width=WEEK_WIDTH
    )
    assert (day.width, day.inner, day.is_narrow) == (208, 208 - PAD, True)
    assert (day.bars[0].x, day.bars[0].width) == (8 + 2 * 24, 48)
    assert len(day.ticks) <= 3


@pytest.mark.django_db
def test_week_and_day_have_their_pages_and_their_ways(world, client):
    start = timezone.now() + timedelta(days=1)
    make_plate(world, setup_at=start, starts_at=start, ends_at=start + timedelta(hours=1), cleared_at=start)
    client.force_login(world.teacher)
    url = reverse("printing:room-plan")
    week = client.get(url, {"view": "week", "day": start.date().isoformat()})
    text = week.content.decode()
    window = week.context["page"].window
    assert window.days[0] == monday_of(start.date()) or window.days[0].weekday() == 0
    assert f"day={window.later:%Y-%m-%d}&amp;view=week" in text
    assert text.count('class="day"') == len(window.days) >= 5
    assert "view=week" in text.partition('id="board"')[2].partition(">")[0], "the board asks for the same view again"
    day = client.get(url, {"day": start.date().isoformat()}).content.decode()
    assert day.count('class="day"') <= 2
    assert client.get(url, {"day": "nonsense", "view": "year"}).status_code == 200


@pytest.mark.django_db
def test_the_table_of_a_week_holds_that_week_alone(world, client):
    """One run of last week, one plate of this one, one of the next, and one without a time; the week is the school's,
    from Monday 00:00 to Monday 00:00 in Chicago."""
    zone = ZoneInfo("America/Chicago")
    today = timezone.now().astimezone(zone)
    monday = (today - timedelta(days=today.weekday())).replace(hour=0, minute=0, second=0, microsecond=0)

    def planned(number: int, start: datetime | None) -> Plate:
        times = {name: start and start + timedelta(minutes=30 * at) for at, name in enumerate(MOMENTS)}
        return make_plate(world, number=number, **times)

    last = planned(1, monday - timedelta(days=3))
    Run.objects.create(
        plate=last, printer=world.printers[0], outcome="finished", started_at=last.starts_at,
        expected_end_at=last.ends_at, ended_at=last.ends_at, estimate_s=60.0, estimate_g=1.0,
    )  # fmt: skip
    Plate.objects.filter(pk=last.pk).update(state="cleared")
    planned(2, monday + timedelta(days=6, hours=23, minutes=20))  # begins on Sunday 23:50, ends on Monday 00:20
    planned(3, monday + timedelta(days=9))
    planned(4, None)
    client.force_login(world.technician)

    def rows(**query: str) -> tuple[list[str], int]:
        page = client.get(reverse("printing:room-plan"), query).context["page"]
        return [str(row.plate) for row in page.rows], page.elsewhere

    def week(days: int) -> tuple[list[str], int]:
        return rows(view="week", day=(monday + timedelta(days=days)).date().isoformat())

    assert week(0) == (["P2", "P4"], 2)
    assert week(7) == (["P2", "P3", "P4"], 1), "what runs over midnight stands in both weeks"
    assert week(-7) == (["P1", "P4"], 2), "what was printed is in its own week"
    assert rows() == (["P2", "P3", "P4"], 0)


@pytest.mark.django_db
def test_a_school_with_two_rooms_has_a_way_from_one_to_the_other(world, client):
    """The choice holds for every page of the room, within the school; an address from outside leads nowhere."""
    other = Room.objects.create(school=world.school, name="Annex")
    stranger = Room.objects.create(school=world.other_school, name="Elsewhere")
    client.force_login(world.technician)
    pages = [reverse(f"printing:{name}") for name in ("room-plan", "bench", "spool-list")]
    for page in pages:
        answer = client.get(page)
        assert answer.context["room"] == world.room
        assert reverse("printing:room-choose", args=[other.pk]) in answer.content.decode()
    choose = reverse("printing:room-choose", args=[other.pk])
    assert client.post(choose, {"next": pages[1]}).url == pages[1]
    assert {client.get(page).context["room"] for page in pages} == {other}
    assert client.post(choose, {"next": "https://evil.example/"}).url == pages[0]
    assert client.post(reverse("printing:room-choose", args=[stranger.pk])).status_code == 404
    assert client.get(pages[0]).context["room"] == other
    other.delete()
    assert client.get(pages[0]).context["room"] == world.room, "a room that is gone is chosen no more"
