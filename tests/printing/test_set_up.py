"""An administrator sets a school up: room, hours, kinds, printers, and what is still missing."""

from __future__ import annotations

from datetime import time

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import call_command
from django.urls import reverse

from lessons.models import DayKind
from makerlab.accounts.models import Role, School, User
from makerlab.audit.models import Event
from makerlab.work.models import Job
from printing import actions
from printing.actions.printers import remove_printer, save_printer
from printing.actions.set_up import permit_unattended, remove_kind, save_kind, save_room
from printing.models import Plate, Printer, PrinterKind, Room
from printing.set_up.forms import KindForm, kind_initial
from printing.set_up.hours_text import HoursProblem, Span, read_hours, write_hours
from printing.set_up.steps import steps_of
from printing.states import NotAllowedNow
from tests.printing.helpers import ALL_CHECKED, make_plate, ordered
from tests.submissions.make import text_of

pytestmark = pytest.mark.django_db


class TestHoursText:
    def test_reads_what_people_type(self):
        wanted = [Span(time(7, 45), time(11, 40), 1), Span(time(12, 20), time(16, 15), 2)]
        assert read_hours("12.20 to 16.15, 2 people\n7:45-11:40") == wanted
        assert read_hours(write_hours(wanted)) == wanted
        assert read_hours("\n  \n") == []

    @pytest.mark.parametrize(
        ("text", "told"),
        [
            ("in the morning", "Line 1"),
            ("07:45 - 11:40\n12:00 - 25:00", "Line 2: there is no such time"),
            ("11:40 - 07:45", "ends before it begins"),
            ("07:45 - 11:40, 0", "from 1 to 20 people"),
            ("07:45 - 11:40\n11:00 - 12:00", "begins before"),
            ("\n".join(f"{hour:02d}:00 - {hour:02d}:30" for hour in range(13)), "12 spans at most"),
        ],
    )
    def test_says_which_line_is_wrong(self, text, told):
        with pytest.raises(HoursProblem, match=told):
            read_hours(text)


def room_values(**changes):
    return {"name": "Shed", "start_min": 4, "swap_min": 9, "clear_min": 8, "gap_mm": 6.0, "frozen_min": 20, **changes}


def kind_values(**changes):
    usual = {"name": "Plain 200", "bed": "rectangular", "width_mm": 200.0, "depth_mm": 210.0, "height_mm": 190.0}
    return {**usual, "margin_mm": 4.0, "nozzle_mm": 0.6, **changes}


def test_a_school_from_nothing_to_a_room_that_plans():
    """new_school, then every step in the browser; each one turns to 'there'."""
    call_command("new_school", "Tallow Creek School", "--time-zone", "America/Denver", "--administrator", "ida")
    ida = User.objects.get(username="ida")
    assert [step.done for step in steps_of(ida, None)] == [False] * 7
    kind = DayKind.objects.create(school=ida.school, name="regular", weekdays=[0, 1, 2, 3, 4])
    kind.periods.create(name="Period 1", starts_at=time(8), ends_at=time(9))
    room = save_room(ida, None, room_values(), {kind: [Span(time(8), time(15), 1)]})
    assert [(row.starts_at, row.staff) for row in room.hours.all()] == [(time(8), 1)]
    plain = save_kind(ida, None, kind_values(), {"wall_mm_s": 70.0})
    assert plain.machine_value().wall_mm_s == 70
    printer = save_printer(ida, room, None, "Linnet", plain)
    done = {step.title: step.done for step in steps_of(ida, room)}
    assert (done["Bell schedule"], done["Room and its hours"], done["Printers"]) == (True, True, True)
    assert not done["Spools"]
    assert Job.objects.filter(kind="plan-room", subject=str(room.pk)).exists()
    assert Event.objects.filter(verb="save_printer", subject_id=str(printer.pk)).exists()


def test_the_command_says_why_it_cannot(capsys):
    from django.core.management import CommandError

    with pytest.raises(CommandError, match="not a time zone"):
        call_command("new_school", "A", "--time-zone", "Nowhere/At_All", "--administrator", "ida")
    assert not School.objects.filter(name="A").exists()


@pytest.fixture
def administrator(world, signed_in):
    return signed_in(world.administrator)


def test_the_pages_from_empty_to_saved(world, administrator):
    kinds = {f"hours-{kind.pk}": "08:00 - 12:00, 2" for kind in DayKind.objects.filter(school=world.school)}
    page = reverse("printing:room-new")
    assert "Staffed hours" in text_of(administrator.get(page))
    assert administrator.post(page, {**room_values(), **kinds}).status_code == 302
    room = Room.objects.get(name="Shed")
    assert {row.staff for row in room.hours.all()} == {2}
    made = administrator.post(reverse("printing:kind-new"), {**kind_values(), "wall_mm_s": "55", "travel_mm_s": "150"})
    assert made.status_code == 302
    kind = PrinterKind.objects.get(name="Plain 200")
    assert kind.machine == {"wall_mm_s": 55.0}  # 150 mm/s is what travel is anyway
    assert (
        administrator.post(
            reverse("printing:printer-new", args=[room.pk]), {"name": "Rook", "kind": kind.pk}
        ).status_code
        == 302
    )
    overview = text_of(administrator.get(reverse("printing:set-up")))
    assert "Rook" in overview
    assert "Plain 200" in overview


def test_bad_input_is_told_in_place_and_nothing_is_lost(world, administrator):
    page = reverse("printing:room-edit", args=[world.room.pk])
    before = list(world.room.hours.values_list("starts_at", "ends_at"))
    field = f"hours-{world.room.hours.first().day_kind_id}"
    answer = administrator.post(page, {**room_values(name=world.room.name), field: "eight to noon"})
    assert answer.status_code == 422
    assert "Line 1" in text_of(answer)
    assert "eight to noon" in text_of(answer)
    assert list(world.room.hours.values_list("starts_at", "ends_at")) == before
    twice = administrator.post(reverse("printing:room-new"), room_values(name=world.room.name))
    assert twice.status_code == 422
    assert "There is a room called" in text_of(twice)
    narrow = administrator.post(reverse("printing:kind-new"), kind_values(width_mm=100, margin_mm=45))
    assert "less than 20 mm" in text_of(narrow)
    assert administrator.post(reverse("printing:kind-new"), kind_values(depth_mm="")).status_code == 422


def test_a_round_bed_needs_no_depth():
    form = KindForm({**kind_values(), "bed": "round", "depth_mm": ""})
    assert form.is_valid(), form.errors
    assert form.values()["depth_mm"] == form.values()["width_mm"] == 200
    assert form.machine({"junction_deviation_mm": 0.02}) == {"junction_deviation_mm": 0.02}  # not asked, so kept


def test_a_kind_reads_back_as_it_was_saved(world):
    kind = save_kind(world.administrator, None, kind_values(), {"acceleration_mm_s2": 3000.0})
    form = KindForm(kind_initial(kind))
    assert form.is_valid()
    assert (form.values(), form.machine(kind.machine)) == (kind_values(), {"acceleration_mm_s2": 3000.0})


def test_unattended_needs_the_written_permission_and_falls_with_it(world):
    printer, room = world.printers[0], world.room
    Room.objects.filter(pk=room.pk).update(unattended_allowed=False)
    with pytest.raises(NotAllowedNow, match="does not allow"):
        actions.set_unattended(printer, world.administrator, True)
    permit_unattended(room, world.administrator, "Safety board, 3 September 2026")
    actions.set_unattended(printer, world.administrator, True)
    permit_unattended(room, world.administrator, "")
    printer.refresh_from_db()
    assert not printer.may_run_unattended
    assert [event.verb for event in Event.objects.filter(subject_kind="room").order_by("id")][-2:] == [
        "permit_unattended",
        "forbid_unattended",
    ]


def test_the_permission_on_the_page(world, administrator):
    page = reverse("printing:room-unattended", args=[world.room.pk])
    assert administrator.post(page, {"policy": "yes"}).status_code == 422
    assert administrator.post(page, {"policy": "Fire and safety plan, May 2026"}, follow=True).status_code == 200
    world.room.refresh_from_db()
    assert (world.room.unattended_allowed, world.room.unattended_policy) == (True, "Fire and safety plan, May 2026")
    administrator.post(reverse("printing:printer-unattended", args=[world.printers[0].pk]), {"allowed": "yes"})
    assert Printer.objects.get(pk=world.printers[0].pk).may_run_unattended
    administrator.post(page, {"withdraw": "yes"})
    assert not Printer.objects.filter(room=world.room, may_run_unattended=True).exists()


def test_only_a_printer_that_never_printed_is_taken_away(world):
    plate = make_plate(world, ordered(world))
    first, second = world.printers[:2]
    actions.start_plate(plate, first, world.technician, ALL_CHECKED)
    with pytest.raises(NotAllowedNow, match="has printed"):
        remove_printer(first, world.administrator)
    with pytest.raises(NotAllowedNow, match="is printing"):
        save_printer(world.administrator, world.room, first, first.name, PrinterKind.objects.create(
            school=world.school, name="other", width_mm=100, depth_mm=100, height_mm=100
        ))  # fmt: skip
    remove_printer(second, world.administrator)
    assert not Printer.objects.filter(pk=second.pk).exists()
    assert not Plate.objects.filter(printer=second.pk).exists()


def test_names_are_taken_once(world):
    first, second = world.printers[:2]
    with pytest.raises(NotAllowedNow, match="already"):
        save_printer(world.administrator, world.room, second, first.name.upper(), second.kind)
    with pytest.raises(NotAllowedNow, match="already"):
        save_kind(world.administrator, None, kind_values(name=first.kind.name), {})
    with pytest.raises(NotAllowedNow, match="There are printers"):
        remove_kind(first.kind, world.administrator)


@pytest.mark.parametrize("who", ["student", "teacher", "technician", "other_teacher"])
def test_nobody_else_sets_up(world, who, signed_in):
    person = getattr(world, who)
    with pytest.raises(PermissionDenied):
        save_room(person, world.room, room_values(), {})
    with pytest.raises(PermissionDenied):
        permit_unattended(world.room, person, "because I say so")
    assert signed_in(person).get(reverse("printing:set-up")).status_code == 404


def test_another_schools_room_is_not_there(world, signed_in):
    stranger = User.objects.create_staff(
        world.other_teacher.school, "stranger", Role.ADMINISTRATOR, "a long password", "S"
    )
    client = signed_in(stranger)
    for page in ("room-edit", "printer-new"):
        assert client.get(reverse(f"printing:{page}", args=[world.room.pk])).status_code == 404
    assert client.get(reverse("printing:printer-edit", args=[world.printers[0].pk])).status_code == 404
    with pytest.raises(PermissionDenied):
        save_room(stranger, world.room, room_values(), {})
