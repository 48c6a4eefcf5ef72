"""The calendar feed against RFC 5545 (sections named beside the checks), and what becomes of it when the plan changes.

The raw text is checked by its own rules here; the icalendar package, which wrote it, only reads it back for values.
"""

from __future__ import annotations

import re
from collections import Counter
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from lessons.actions.meetings import move_meeting
from lessons.classes.moving import ALONG, work_out
from lessons.models import Meeting
from lessons.school_days import Slot
from makerlab.audit.models import Event as Record
from makerlab.audit.models import record
from printing import actions
from printing.feed import calendar_of, entries_of, uid_of
from printing.models import CalendarFeed, Plate, RoomPlan
from printing.planner.publish import ready_of
from printing.states import PlateState
from tests.printing.helpers import make_plate, ordered_mesh, plan_now, started, with_meshes
from tests.world import World

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("short_search")]


def sent(user) -> bytes:
    return calendar_of(user, lambda path: f"https://maker.example{path}", timezone.now())


def events(raw: bytes) -> dict[str, dict]:
    """UID -> the values of the entry, as a calendar program reads them."""
    found = {}
    for event in Calendar.from_ical(raw).walk("VEVENT"):
        found[str(event["uid"])] = {
            "start": event.decoded("dtstart"),
            "end": event.decoded("dtend") if "dtend" in event else None,
            "sequence": int(event.get("sequence", 0)),
            "summary": str(event["summary"]),
            "description": str(event.get("description", "")),
        }
    return found


def unfolded(raw: bytes) -> list[str]:
    """Content lines: a line break and one white space are taken out (RFC 5545, section 3.1)."""
    return re.sub(r"\r\n[ \t]", "", raw.decode()).removesuffix("\r\n").split("\r\n")


def components(raw: bytes) -> list[tuple[str, Counter[str], list[str]]]:
    """Each VEVENT: its name, how often each property stands in it, its lines."""
    found, inside = [], None
    for line in unfolded(raw):
        if line == "BEGIN:VEVENT":
            inside = []
        elif line == "END:VEVENT":
            names = Counter(re.split("[;:]", each)[0] for each in inside or [])
            found.append(("VEVENT", names, inside or []))
            inside = None
        elif inside is not None:
            inside.append(line)
    return found


def assert_by_the_rules(raw: bytes) -> None:
    assert raw.endswith(b"\r\n")
    assert b"\n" not in raw.replace(b"\r\n", b""), "3.1: lines end in CRLF"
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75, "3.1: lines of 75 octets at most"
    lines = unfolded(raw)
    assert (lines[0], lines[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR"), "3.4"
    assert sum(line.startswith("PRODID:") for line in lines) == 1, "3.6 and 3.7.3: once"
    assert sum(line == "VERSION:2.0" for line in lines) == 1, "3.6 and 3.7.4: once"
    uids = [line for line in lines if line.startswith("UID:")]
    assert len(uids) == len(set(uids)), "3.8.4.7: globally unique"
    for _name, names, inside in components(raw):
        assert names["UID"] == names["DTSTAMP"] == names["DTSTART"] == 1, "3.6.1: each once; DTSTART without METHOD"
        assert max(names[each] for each in ("DTEND", "SEQUENCE", "SUMMARY", "DESCRIPTION", "LOCATION", "URL")) <= 1
        assert not names["DURATION"], "3.6.1: never beside DTEND"
        times = {line.partition(":")[0]: line.partition(":")[2] for line in inside if line.startswith(("DT", "LAST"))}
        for name, value in times.items():
            assert re.fullmatch(r"\d{8}T\d{6}Z", value), f"3.3.5, form 2: {name} in UTC"
        assert times.get("DTEND", "9") > times["DTSTART"], "3.8.2.2: the end is later than the start"
        assert int(next(line for line in inside if line.startswith("SEQUENCE:")).partition(":")[2]) >= 0, "3.8.7.4"
        for line in inside:
            if line.startswith(("SUMMARY:", "DESCRIPTION:", "LOCATION:")):
                text = line.partition(":")[2]
                assert not re.search(r"(?<!\\)[;,]", text), "3.3.11: semicolons and commas are escaped"


def planned(world: World, **values) -> Plate:
    start = timezone.now().replace(microsecond=0) + timedelta(days=1)
    times = {
        "setup_at": start,
        "starts_at": start + timedelta(minutes=5),
        "ends_at": start + timedelta(minutes=125),
        "cleared_at": start + timedelta(minutes=150),
    }
    return make_plate(world, **{**times, **values})


def test_what_the_bench_gets_obeys_the_standard(world):
    plate = planned(world, colour="white; or, grey\\blue", swap=True)
    raw = sent(world.technician)
    assert_by_the_rules(raw)
    found = events(raw)
    assert {each["summary"] for each in found.values()} == {
        f"Set up and start P1 on {plate.printer}", f"Clear P1 from {plate.printer}"
    }  # fmt: skip
    setup = found[uid_of(f"plate {plate.pk} set up")]
    assert (setup["start"], setup["end"]) == (plate.setup_at, plate.starts_at)
    assert "white; or, grey\\blue" in setup["description"], "3.3.11: what is escaped comes back as it was"
    clear = found[uid_of(f"plate {plate.pk} clear")]
    assert clear["end"] == plate.cleared_at
    assert clear["end"] - clear["start"] == timedelta(minutes=world.room.clear_min)


def test_what_a_teacher_gets_obeys_the_standard(world):
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    raw = sent(world.teacher)
    assert_by_the_rules(raw)
    summaries = [each["summary"] for each in events(raw).values()]
    assert any(str(world.meeting.purpose) in summary for summary in summaries)
    assert any("arts ready" in summary for summary in summaries)
    assert not any("Set up" in summary for summary in summaries)
    ready = next(each for each in events(raw).values() if "arts ready" in each["summary"])
    facts = RoomPlan.objects.first().facts
    assert ready["start"] == max(datetime.fromisoformat(kit["ready_at"]) for kit in facts["kits"])


def test_no_pupil_and_no_team_is_named_and_no_other_class(world):
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    for person in (world.teacher, world.far_teacher, world.technician, world.administrator):
        text = "\n".join(unfolded(sent(person)))
        for pupil in (world.student, world.far_student):
            assert not re.search(rf"\b{re.escape(pupil.display_name)}\b", text)
        for team in (world.team, world.second_team, world.far_team):
            assert team.name not in text
    assert str(world.school_class) not in sent(world.far_teacher).decode()
    assert events(sent(world.other_technician)) == {}


ZONE = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    "moment",
    [
        datetime(2026, 3, 8, 7, 30, tzinfo=UTC),  # 01:30 before the hour that is left out
        datetime(2026, 3, 8, 8, 30, tzinfo=UTC),  # 03:30 after it
        datetime(2026, 11, 1, 6, 30, tzinfo=UTC),  # 01:30, first time
        datetime(2026, 11, 1, 7, 30, tzinfo=UTC),  # 01:30, second time: no local time names it
    ],
)
def test_both_clock_changes_come_back_to_the_second(world, moment):
    world.school.time_zone = "America/Chicago"
    world.school.save()
    plate = planned(world, setup_at=moment, starts_at=moment + timedelta(minutes=5))
    found = events(sent(world.technician))[uid_of(f"plate {plate.pk} set up")]
    assert found["start"] == moment
    assert found["end"] - found["start"] == timedelta(minutes=5)
    assert found["start"].astimezone(ZONE).hour in (1, 3)


def test_a_moved_plate_keeps_its_uid_and_raises_its_sequence(world):
    """The real planner: a printer goes out of service, its plates move, and their entries say so."""
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    before, plates = events(sent(world.technician)), {plate.pk: plate for plate in Plate.objects.all()}
    busy = next(plate.printer for plate in plates.values() if plate.printer)
    actions.set_out_of_service(busy, world.technician, "nozzle")
    plan_now()
    after = events(sent(world.technician))
    moved = 0
    for plate in Plate.objects.filter(pk__in=plates, state=PlateState.PLANNED):
        for what in ("set up", "clear"):
            uid = uid_of(f"plate {plate.pk} {what}")
            if uid not in before or uid not in after:
                continue
            old, new = before[uid], after[uid]
            differs = any(old[name] != new[name] for name in ("start", "end", "summary"))
            moved += differs
            assert new["sequence"] >= old["sequence"]
            if differs:
                assert new["sequence"] > old["sequence"], "3.8.7.4: raised with every significant change"
    assert moved, "the plates of the printer that is out moved"


def stamps(raw: bytes) -> dict[str, tuple[str, str]]:
    """UID -> SEQUENCE and LAST-MODIFIED as they are written."""
    found = {}
    for _name, _names, lines in components(raw):
        values = dict(line.split(":", 1) for line in lines if line.startswith(("UID", "SEQUENCE", "LAST-MODIFIED")))
        found[values["UID"]] = (values["SEQUENCE"], values["LAST-MODIFIED"])
    return found


def test_a_new_plan_that_changes_nothing_revises_nothing(world):
    """3.8.7.3 and 3.8.7.4: LAST-MODIFIED and SEQUENCE are of the entry, not of whatever made the room plan again."""
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    for person in (world.technician, world.teacher):
        before = stamps(sent(person))
        plans = RoomPlan.objects.count()
        actions.plan_again(world.room, world.technician)
        plan_now()
        assert RoomPlan.objects.count() > plans
        after = stamps(sent(person))
        sequences = {uid: stamp[0] for uid, stamp in after.items()}
        assert sequences == {uid: stamp[0] for uid, stamp in before.items()}
        if person == world.technician:
            assert after == before


def test_a_ready_moment_that_moves_is_revised_once(world):
    """The count goes on from the plan's number, which it was before it was kept; equal moments do not raise it."""
    plan = RoomPlan.objects.create(room=world.room, seconds=0.1, plates=0)
    kit = {"assignment": world.assignment.pk, "team": world.team.pk, "ready_at": "2026-11-17T14:00:00+00:00"}
    key = str(world.assignment.pk)
    first = ready_of([kit], plan)
    assert first == {key: {"at": kit["ready_at"], "count": plan.pk + 1}}
    plan.facts = {"ready": first}
    assert ready_of([kit], plan) == first
    later = {**kit, "team": world.second_team.pk, "ready_at": "2026-11-17T15:30:00+00:00"}
    assert ready_of([kit, later], plan)[key] == {"at": later["ready_at"], "count": plan.pk + 2}
    lost = {**later, "ready_at": None}
    assert ready_of([kit, lost], plan)[key] == {"at": None, "count": plan.pk + 2}


def test_the_feed_asks_no_more_for_more_plates(world, django_assert_max_num_queries):
    for number in range(1, 5):
        planned(world, number=number)
    with django_assert_max_num_queries(6):
        assert len(events(sent(world.technician))) == 8


def test_starting_a_plate_raises_the_sequence_of_its_clearing(world):
    plate = planned(world)
    uid = uid_of(f"plate {plate.pk} clear")
    before = events(sent(world.technician))[uid]
    started(world, plate)
    after = events(sent(world.technician))
    assert after[uid]["sequence"] > before["sequence"]
    assert uid_of(f"plate {plate.pk} set up") not in after, "that is done"


def test_a_moved_meeting_keeps_its_uid_and_raises_its_sequence(world):
    uid = uid_of(f"meeting {world.meeting.pk}")
    before = events(sent(world.teacher))[uid]
    Meeting.objects.filter(pk=world.meeting.pk).update(
        starts_at=world.meeting.starts_at + timedelta(days=1), ends_at=world.meeting.ends_at + timedelta(days=1)
    )
    record(world.school.pk, world.teacher, "move_meeting", world.meeting)
    after = events(sent(world.teacher))[uid]
    assert after["start"] - before["start"] == timedelta(days=1)
    assert after["sequence"] > before["sequence"]


def test_files_due_move_with_the_meeting(world):
    """A moment, found by the same UID after the meeting moved by the verb of its page, and then revised (3.8.7.4)."""
    uid = uid_of(f"assignment {world.assignment.pk} files due")
    assert_by_the_rules(sent(world.teacher))
    before = events(sent(world.teacher))[uid]
    assert (before["start"], before["end"]) == (world.assignment.upload_by.replace(microsecond=0), None)
    assert before["summary"] == f"Files due: {world.school_class}, {world.plan}"
    start = world.meeting.starts_at + timedelta(days=2)
    slot = Slot(start.date(), "2", start, start + timedelta(minutes=50))
    move_meeting(world.teacher, world.meeting, slot, ALONG, work_out(world.meeting, slot, ALONG).seen)
    after = events(sent(world.teacher))[uid]
    assert after["start"] - before["start"] == timedelta(days=2)
    assert after["sequence"] > before["sequence"]


def test_one_class_alone(world):
    world.far_class.teachers.add(world.teacher)
    start = world.meeting.starts_at
    theirs = Meeting.objects.create(school_class=world.far_class, starts_at=start, ends_at=start + timedelta(hours=1))
    ours, both = uid_of(f"meeting {world.meeting.pk}"), events(sent(world.teacher))
    assert {ours, uid_of(f"meeting {theirs.pk}")} <= set(both)
    for person in (world.teacher, world.administrator):
        raw = calendar_of(person, str, timezone.now(), world.school_class)
        assert_by_the_rules(raw)
        assert ours in events(raw)
        assert uid_of(f"meeting {theirs.pk}") not in events(raw)


def test_the_same_thing_has_one_uid_whoever_asks(world):
    planned(world)
    assert set(events(sent(world.technician))) == set(events(sent(world.administrator)))
    entries = entries_of(world.technician, timezone.now())
    assert len({uid_of(entry.key) for entry in entries}) == len(entries)


# --- the address -----------------------------------------------------------------------------------------------------


def address_of(client, person) -> str:
    client.force_login(person)
    text = client.post(reverse("printing:calendar-make")).content.decode()
    found = re.search(r'value="http://testserver(/calendar/[\w-]+\.ics)"', text)
    assert found, "the address is shown once, after it was made"
    client.logout()
    return found[1]


def test_only_a_fingerprint_is_kept_and_the_address_is_shown_once(world, client):
    address = address_of(client, world.technician)
    token = address.removeprefix("/calendar/").removesuffix(".ics")
    feed = CalendarFeed.objects.get()
    assert token not in str(feed.__dict__)
    assert len(token) >= 43, "32 random bytes"
    assert not any(token in str(event.facts) for event in Record.objects.all())
    client.force_login(world.technician)
    again = client.get(reverse("printing:calendar-page"))
    assert token not in again.content.decode()
    assert "no-store" in again["Cache-Control"]


def test_whoever_has_the_address_reads_it_and_no_cache_shares_it(world, client):
    plate = planned(world)
    answer = client.get(address_of(client, world.technician))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer["Cache-Control"].startswith("private")
    assert "Set-Cookie" not in answer.headers
    assert uid_of(f"plate {plate.pk} set up") in events(answer.content)
    assert f"http://testserver/plates/{plate.pk}/" in "\n".join(unfolded(answer.content))
    assert CalendarFeed.objects.get().fetched_at is not None


def test_the_address_of_one_class_shows_it_and_no_class_of_others(world, client):
    address = address_of(client, world.teacher)
    answer = client.get(address, {"class": world.school_class.pk})
    assert uid_of(f"meeting {world.meeting.pk}") in answer.content.decode()
    for other in (world.far_class.pk, "7B", "9" * 30, ""):
        assert client.get(address, {"class": other}).status_code == 404


@pytest.mark.parametrize("token", ["x", "0" * 43, "a" * 200, "..%2F..%2Fetc", "%00"])
def test_a_wrong_token_finds_nothing(world, client, token):
    address_of(client, world.technician)
    assert client.get(f"/calendar/{token}.ics").status_code == 404


def test_replaced_and_revoked_addresses_are_dead(world, client):
    first = address_of(client, world.teacher)
    second = address_of(client, world.teacher)
    assert client.get(first).status_code == 404
    assert client.get(second).status_code == 200
    client.force_login(world.teacher)
    assert client.post(reverse("printing:calendar-revoke")).status_code == 302
    client.logout()
    assert client.get(second).status_code == 404
    assert not CalendarFeed.objects.exists()
    verbs = list(Record.objects.order_by("id").filter(verb__contains="feed").values_list("verb", flat=True))
    assert verbs == ["make_feed", "replace_feed", "revoke_feed"]


def test_a_person_who_left_shows_nothing_and_students_have_none(world, client):
    address = address_of(client, world.technician)
    type(world.technician).objects.filter(pk=world.technician.pk).update(is_active=False)
    assert client.get(address).status_code == 404
    client.force_login(world.student)
    assert client.get(reverse("printing:calendar-page")).status_code == 404
    assert client.post(reverse("printing:calendar-make")).status_code == 404
