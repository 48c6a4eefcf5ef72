"""Plates fixed by staff: what is refused and in which words, that the planner obeys, and that races have one end."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone, translation

from makerlab.audit.models import Event
from planning.verify import violations
from printing import actions, pins
from printing.models import Outage, Plate, PrinterKind, Room, RoomPlan
from printing.pins import Pin
from printing.planner import choose as choosing
from printing.planner.estimates import Estimates
from printing.planner.snapshot import take_snapshot
from printing.reasons import words
from printing.states import NotAllowedNow
from tests.printing.helpers import ALL_CHECKED, make_plate, ordered, ordered_mesh, plan_now, started, with_meshes

CHICAGO = ZoneInfo("America/Chicago")  # the world's school


pytestmark = pytest.mark.usefixtures("short_search")


def on_day(days: int, hour: int, minute: int = 0) -> datetime:
    """A moment of a coming day by the school's wall clock; the room is staffed 08:00 to 12:00 and 12:30 to 15:30."""
    day = timezone.now().astimezone(CHICAGO).date() + timedelta(days=days)
    return datetime.combine(day, time(hour, minute), CHICAGO)


def hour_plate(world, number: int = 1, **values) -> Plate:
    """An hour on Wren or Heron; Swift cannot hold it."""
    printers = world.printers[:2]
    return make_plate(world, number=number, durations_s={str(p.pk): 3600.0 for p in printers}, **values)


@pytest.fixture
def planned(world):
    """Two teams with a wheel each, planned."""
    with_meshes(world)
    world.requests = [ordered_mesh(world), ordered_mesh(world, world.second_team, "students/otters-wheel-3.stl")]
    plan_now()
    return world


# --- what is refused, in which words ----------------------------------------------------------------------------------


def told(plate: Plate, pin: Pin) -> str:
    with timezone.override(CHICAGO):
        return pins.why_not(plate, pin, timezone.now()) or ""


def test_a_printer_whose_bed_is_too_small_says_so_with_the_size(planned):
    small = PrinterKind.objects.create(school=planned.school, name="small", width_mm=120, depth_mm=120, height_mm=200)
    heron = planned.printers[1]
    heron.kind = small
    heron.save()
    actions.plan_again(planned.room, planned.teacher)
    plan_now()
    plate = Plate.objects.filter(copies__request__kit_part=planned.chassis).first()
    words = told(plate, Pin(printer=heron))
    assert words.startswith("Heron cannot hold a 150 mm chassis"), words  # the kit's chassis is 150 mm long
    with pytest.raises(NotAllowedNow, match="Heron cannot hold"):
        actions.pin_plate(plate, planned.technician, Pin(printer=heron))
    assert not Plate.objects.get(pk=plate.pk).is_pinned


@pytest.mark.parametrize(
    ("setup_at", "words"),
    [
        (lambda: timezone.now() - timedelta(minutes=2), "passed already"),
        (lambda: on_day(1, 12, 10), "Nobody is in the room"),  # lunch
        (lambda: on_day(1, 11, 58), "Nobody is in the room"),  # lunch begins during the set-up
        (lambda: on_day(1, 15, 0), "would print until 16:05 and the staffed day ends at 15:30"),
        (lambda: on_day(1, 20), "Nobody is in the room"),
    ],
)
def test_a_start_that_cannot_be_is_refused(world, setup_at, words):
    assert words in told(hour_plate(world), Pin(printer=world.printers[0], setup_at=setup_at()))


def test_a_start_that_can_be_is_not_refused(world):
    assert told(hour_plate(world), Pin(printer=world.printers[0], setup_at=on_day(1, 9))) == ""
    assert told(hour_plate(world, number=2), Pin(setup_at=on_day(1, 9))) == ""


def test_unattended_needs_the_room_and_the_printer(world):
    wren, plate = world.printers[0], hour_plate(world)
    pin = Pin(printer=wren, setup_at=on_day(1, 15))
    wren.may_run_unattended = True
    wren.save()
    assert told(plate, pin)
    Room.objects.update(unattended_allowed=True)
    plate = Plate.objects.select_related("room").get(pk=plate.pk)
    assert told(plate, Pin(printer=type(wren).objects.get(pk=wren.pk), setup_at=on_day(1, 15))) == ""


def test_outage_running_print_and_another_pin_stand_against_it(world):
    wren, heron = world.printers[:2]
    Outage.objects.create(printer=heron, since=on_day(1, 8), until=on_day(1, 12), reason="belt")
    plate = hour_plate(world)
    assert "out of service then: belt" in told(plate, Pin(printer=heron, setup_at=on_day(1, 9)))
    other = hour_plate(world, number=2)
    actions.pin_plate(other, world.technician, Pin(printer=wren, setup_at=on_day(1, 9)))
    assert "P2 is fixed on Wren at that time" in told(plate, Pin(printer=wren, setup_at=on_day(1, 9, 30)))
    actions.pin_plate(other, world.technician, Pin(printer=wren, setup_at=on_day(2, 9)))
    assert "setting up other fixed plates" in told(plate, Pin(printer=heron, setup_at=on_day(2, 9, 2)))
    third = ordered(world, world.second_team)
    run = started(world, make_plate(world, third, number=3), printer=heron)
    soon = run.expected_end_at - timedelta(minutes=30)
    pin = Pin(printer=heron, setup_at=soon)
    assert pins.why_not(plate, pin, timezone.now()) is not None


def test_orders_must_lead_somewhere(world):
    first, second, third = (hour_plate(world, number=number) for number in (1, 2, 3))
    assert "cannot come after itself" in told(first, Pin(after=first))
    actions.pin_plate(second, world.technician, Pin(after=first))
    actions.pin_plate(third, world.technician, Pin(after=Plate.objects.get(pk=second.pk)))
    third.refresh_from_db()
    assert "round in a circle" in told(first, Pin(after=third))
    actions.pin_plate(first, world.technician, Pin(setup_at=on_day(2, 9)))
    first.refresh_from_db()
    assert "fixed to start later" in told(second, Pin(after=first, setup_at=on_day(1, 9)))
    assert told(first, Pin()) == "Choose a printer, a time or a plate to come after."


def test_a_started_plate_cannot_be_fixed(world):
    plate = hour_plate(world)
    started(world, plate)
    with pytest.raises(NotAllowedNow, match="a running print does not move"):
        actions.pin_plate(plate, world.technician, Pin(printer=world.printers[1]))


# --- who may ----------------------------------------------------------------------------------------------------------


def test_teachers_fix_plates_of_their_own_classes_only(world):
    plate = hour_plate(world)
    actions.pin_plate(plate, world.teacher, Pin(printer=world.printers[1]))
    for person in (world.far_teacher, world.student, world.other_technician):
        with pytest.raises(PermissionDenied):
            actions.unpin_plate(plate, person)
    actions.unpin_plate(plate, world.administrator)
    assert [event.verb for event in Event.objects.all()[:2]] == ["unpin_plate", "pin_plate"]
    with pytest.raises(NotAllowedNow, match="Nothing is fixed"):
        actions.unpin_plate(plate, world.technician)


# --- the planner obeys ------------------------------------------------------------------------------------------------


def sound(world) -> None:
    """The published plan has no violation when it is verified again from the rows."""
    snapshot = take_snapshot(world.room.pk, timezone.now())
    choice = choosing.choose(snapshot, Estimates(snapshot), lambda share: None)
    assert violations(choice.option.posed.problem, choice.option.plan) == []


def test_the_planner_obeys_printer_and_start(planned):
    plate = Plate.objects.order_by("setup_at").first()
    other = next(printer for printer in planned.printers if str(printer.pk) in plate.durations_s)
    copies = set(plate.copies.values_list("pk", flat=True))
    at = on_day(1, 10, 7)
    actions.pin_plate(plate, planned.technician, Pin(printer=other, setup_at=at))
    ordered_mesh(planned, path="students/otters-wheel-2.stl")
    plan_now()
    plate.refresh_from_db()
    assert (plate.printer_id, plate.setup_at) == (other.pk, at)
    assert set(plate.copies.values_list("pk", flat=True)) == copies
    assert RoomPlan.objects.first().facts["violations"] == 0
    sound(planned)
    actions.unpin_plate(plate, planned.technician)
    plan_now()
    again = Plate.objects.get(pk=plate.pk)
    assert not again.is_pinned
    # let go, it moves forward where that pays; late in the day its kit may be waiting for another plate anyway
    assert again.setup_at <= at
    sound(planned)


def test_the_planner_obeys_an_order(planned):
    first, second = Plate.objects.order_by("setup_at")[:2]
    actions.pin_plate(first, planned.technician, Pin(after=second))
    plan_now()
    first.refresh_from_db()
    second.refresh_from_db()
    assert second.setup_at <= first.setup_at
    sound(planned)


def test_a_near_start_gives_way_to_the_plate_it_comes_after(planned):
    """The start of the first has passed and the second's is a minute away: both still get a place, in that order."""
    first, second = Plate.objects.filter(setup_at__isnull=False).order_by("setup_at")[:2]
    actions.pin_plate(second, planned.technician, Pin(after=first))
    now = timezone.now()
    Plate.objects.filter(pk=first.pk).update(setup_at=now - timedelta(minutes=1))
    Plate.objects.filter(pk=second.pk).update(setup_at=now + timedelta(minutes=1))
    plan_now()
    first.refresh_from_db()
    second.refresh_from_db()
    assert first.setup_at is not None, first.unplanned_because
    assert first.setup_at <= second.setup_at
    sound(planned)


def test_nothing_waits_for_a_plate_that_was_started(planned):
    first, second = Plate.objects.order_by("setup_at")[:2]
    actions.pin_plate(second, planned.technician, Pin(after=first))
    plan_now()
    first.refresh_from_db()
    actions.start_plate(first, first.printer, planned.technician, ALL_CHECKED)
    plan_now()
    second.refresh_from_db()
    assert second.setup_at is not None, second.unplanned_because


def test_a_pin_that_cannot_hold_any_more_says_why_on_the_plate(planned, signed_in):
    plate = Plate.objects.order_by("setup_at").first()
    wren = next(printer for printer in planned.printers if str(printer.pk) in plate.durations_s)
    at = on_day(1, 9)
    actions.pin_plate(plate, planned.technician, Pin(printer=wren, setup_at=at))
    actions.set_out_of_service(wren, planned.technician, "nozzle", until=on_day(3, 8))
    plan_now()
    plate.refresh_from_db()
    assert plate.setup_at is None
    assert plate.why_unplanned == f"{wren} is out of service then."
    page = signed_in(planned.technician).get(reverse("printing:plate-detail", args=[plate.pk])).content.decode()
    assert f"{wren} is out of service then." in page


def test_what_cannot_all_hold_is_named_on_the_room_plan_in_the_readers_language(planned, signed_in):
    """The room has changed since both were fixed: they would stand on one printer at one time. A third, fixed
    elsewhere, is not named."""
    wren, heron = planned.printers[:2]
    plates = [
        plate for plate in Plate.objects.order_by("number") if {str(wren.pk), str(heron.pk)} <= {*plate.durations_s}
    ]
    first, second, third = plates[:3]
    for plate, printer, at in (
        (first, wren, on_day(1, 9)),
        (second, wren, on_day(1, 9, 6)),
        (third, heron, on_day(1, 10)),
    ):
        Plate.objects.filter(pk=plate.pk).update(pin_printer=printer, pin_setup_at=at)
    actions.plan_again(planned.room, planned.teacher)
    plan_now()
    page = signed_in(planned.technician).get(reverse("printing:room-plan")).content.decode()
    (clash,) = RoomPlan.objects.first().facts["clashes"]
    with timezone.override(CHICAGO):
        said = words(clash)
    assert said in unescape(page)
    assert said.startswith("These cannot all hold: ")
    assert f"{first} on {wren}" in said
    assert f"{second} on {wren}" in said
    assert str(third) not in said
    with translation.override("es"):
        assert words(clash).startswith("No se puede cumplir todo a la vez: ")
    actions.unpin_plate(Plate.objects.get(pk=second.pk), planned.technician)
    plan_now()
    assert RoomPlan.objects.first().facts["clashes"] == []


def test_a_fixed_start_that_was_missed_is_planned_as_soon_as_it_can(planned):
    plate = Plate.objects.order_by("setup_at").first()
    actions.pin_plate(plate, planned.technician, Pin(printer=plate.printer, setup_at=on_day(1, 9)))
    Plate.objects.filter(pk=plate.pk).update(pin_setup_at=timezone.now() - timedelta(hours=1))
    plan_now()
    plate.refresh_from_db()
    assert plate.setup_at is not None
    assert plate.printer_id == plate.pin_printer_id
    assert "that time has passed" in pins.words(plate)


def test_a_start_inside_the_frozen_window_is_kept(planned):
    """The room keeps what begins within ``frozen_min``: its spool and file are being prepared. All printers are away
    for an hour, so that no start is over before the test is."""
    now = timezone.now()
    Outage.objects.bulk_create(
        Outage(printer=each, since=now, until=now + timedelta(hours=1), reason="belt") for each in planned.printers
    )
    actions.plan_again(planned.room, planned.teacher)
    plan_now()
    plate = Plate.objects.order_by("setup_at").first()
    far_min = int((plate.setup_at - timezone.now()).total_seconds() / 60) + 5
    Room.objects.update(frozen_min=far_min)
    before = (plate.printer_id, plate.setup_at, set(plate.copies.values_list("pk", flat=True)))
    for request in planned.requests[1:]:
        version = Room.objects.get().queue_version
        actions.move_request(request, planned.teacher, "up", version)
    ordered_mesh(planned, path="students/otters-wheel-2.stl")
    plan_now()
    plate.refresh_from_db()
    assert (plate.printer_id, plate.setup_at, set(plate.copies.values_list("pk", flat=True))) == before


# --- the page ---------------------------------------------------------------------------------------------------------


def test_the_page_fixes_and_lets_go(planned, signed_in):
    plate = Plate.objects.order_by("setup_at").first()
    client, where = signed_in(planned.technician), reverse("printing:plate-detail", args=[plate.pk])
    wanted = {"printer": plate.printer_id, "setup_at": f"{on_day(1, 9):%Y-%m-%dT%H:%M}", "after": ""}
    assert client.post(reverse("printing:plate-pin", args=[plate.pk]), wanted).status_code == 302
    plate.refresh_from_db()
    assert plate.pin_setup_at == on_day(1, 9)
    plan_now()
    page = client.get(where).content.decode()
    assert "fixed in the plan" in page
    assert "#s-pin" in page
    room = client.get(reverse("printing:room-plan"), {"day": f"{on_day(1, 9):%Y-%m-%d}"}).content.decode()
    assert "planned, fixed" in room
    assert "#s-pin" in room
    assert client.post(reverse("printing:plate-unpin", args=[plate.pk])).status_code == 302
    assert not Plate.objects.get(pk=plate.pk).is_pinned


def test_a_refused_pin_is_said_in_place_with_what_was_typed(world, signed_in):
    plate = hour_plate(world)
    at = f"{on_day(1, 20):%Y-%m-%dT%H:%M}"
    refused = signed_in(world.technician).post(reverse("printing:plate-pin", args=[plate.pk]), {"setup_at": at})
    assert refused.status_code == 422
    page = refused.content.decode()
    assert "Nobody is in the room" in page
    assert at in page


def test_who_may_not_fix_it_sees_no_form_and_finds_no_address(world, signed_in):
    plate = hour_plate(world)
    for person, status in ((world.far_teacher, 404), (world.student, 404), (world.other_technician, 404)):
        client = signed_in(person)
        assert client.post(reverse("printing:plate-pin", args=[plate.pk]), {"after": ""}).status_code == status
    assert (
        "plate-pin"
        not in signed_in(world.far_teacher).get(reverse("printing:plate-detail", args=[plate.pk])).content.decode()
    )


def test_fixing_and_starting_at_once_has_one_end(world, at_once):
    """Whoever comes first: either the plate is started and the pin refused, or it is fixed and then started."""
    plate = hour_plate(world)
    wren = world.printers[0]

    def pin():
        return actions.pin_plate(Plate.objects.get(pk=plate.pk), world.technician, Pin(printer=wren))

    def start():
        row = Plate.objects.get(pk=plate.pk)
        return actions.start_plate(row, wren, world.administrator, ALL_CHECKED)

    results = at_once(*[pin, start] * 4)
    assert [
        result for result in results if isinstance(result, Exception) and not isinstance(result, NotAllowedNow)
    ] == []
    assert at_once(lambda: Plate.objects.get(pk=plate.pk).state) == ["printing"]
    assert sum(not isinstance(result, Exception) for result in results[1::2]) == 1, "it is started once"
