"""The calendar feed fetched over the network from a running server, as a calendar program fetches it."""

from __future__ import annotations

import urllib.error
import urllib.request
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from icalendar import Calendar

from printing import actions
from printing.feed import uid_of
from tests.printing.test_feed import address_of


def over_http(address: str) -> tuple[int, bytes, dict[str, str]]:
    """As a calendar program asks: a bare GET, nothing remembered from before."""
    try:
        with urllib.request.urlopen(urllib.request.Request(address, headers={"User-Agent": "some calendar"})) as answer:
            return answer.status, answer.read(), dict(answer.headers)
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read(), dict(error.headers)


@pytest.mark.django_db(transaction=True)
def test_a_calendar_program_fetches_it_over_http(world, client, live_server):
    """Twice over the network without a session, read by the icalendar package: the same UIDs, times on both sides of a
    clock change as the bell has them, one class alone, and 404 once it is revoked."""
    world.school.time_zone = "America/Chicago"
    world.school.save()
    zone, day = ZoneInfo("America/Chicago"), timedelta(days=1)
    first = timezone.now().astimezone(zone).replace(hour=9, minute=5, second=0, microsecond=0) + 7 * day
    starts = [first + 91 * day * quarter for quarter in range(4)]  # by the clock: a year meets both changes
    made = [world.school_class.meetings.create(starts_at=at, ends_at=at + timedelta(minutes=50)) for at in starts]
    assert len({at.utcoffset() for at in starts}) == 2
    address = live_server.url + address_of(client, world.teacher)
    status, body, headers = over_http(address)
    assert (status, headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert not {"Set-Cookie", "Location"} & headers.keys()
    read = {str(each["UID"]): each for each in Calendar.from_ical(body).walk("VEVENT")}
    for meeting, at in zip(made, starts, strict=True):
        found = read[uid_of(f"meeting {meeting.pk}")]["DTSTART"].dt.astimezone(zone)
        assert (found.hour, found.minute, found) == (9, 5, at)
    again = {str(each["UID"]) for each in Calendar.from_ical(over_http(address)[1]).walk("VEVENT")}
    assert again == set(read)
    of_class = Calendar.from_ical(over_http(f"{address}?class={world.school_class.pk}")[1]).walk("VEVENT")
    assert {uid_of(f"meeting {meeting.pk}") for meeting in made} <= {str(each["UID"]) for each in of_class}
    actions.revoke_feed(world.teacher)
    assert over_http(address)[0] == 404
    assert over_http(f"{address}?class={world.school_class.pk}")[0] == 404
