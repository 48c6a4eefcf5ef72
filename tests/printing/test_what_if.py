"""Situations that are not so: planned for real, the room untouched until applied, and then each change by its verb."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.apps import apps
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from lessons.models import Assignment, Meeting
from lessons.print_settings import in_force
from makerlab.audit.models import Event
from makerlab.work.actions import claim, run
from makerlab.work.models import Job
from planning.verify import violations
from printing import actions
from printing.actions.whatif import discard_what_if, try_what_if
from printing.models import ExtraHours, Outage, Plate, PrintCopy, Printer, Room, RoomPlan, WhatIf
from printing.planner.choose import choose
from printing.planner.estimates import Estimates
from printing.planner.problem import spares_on
from printing.planner.snapshot import take_snapshot
from printing.states import NotAllowedNow
from printing.whatif import Changes, Hours
from printing.whatif.apply import apply_what_if
from printing.whatif.situation import situation
from tests.printing.helpers import ordered_mesh, plan_now, states, with_meshes

CHICAGO = ZoneInfo("America/Chicago")  # the world's school
OWN = {"work.Job", "printing.WhatIf", "audit.Event", "printing.PlateEstimate", "sessions.Session"}


pytestmark = pytest.mark.usefixtures("short_search")


@pytest.fixture
def planned(world):
    with_meshes(world)
    world.requests = [ordered_mesh(world), ordered_mesh(world, world.second_team, "students/otters-wheel-3.stl")]
    plan_now()
    return world


def considered(row: WhatIf) -> WhatIf:
    """Do the job of the what-if."""
    job = claim(job_id=Job.objects.get(kind="what-if", subject=str(row.pk), state="waiting").pk)
    run(job)
    assert Job.objects.get(pk=job.pk).state == "done", Job.objects.get(pk=job.pk).error
    row.refresh_from_db()
    return row


def everything() -> dict[str, list[dict[str, Any]]]:
    """Every row of the database but those a what-if is made of."""
    return {
        model._meta.label: list(model.objects.order_by("pk").values())
        for model in apps.get_models()
        if model._meta.label not in OWN
    }


def in_a_week(hour: int) -> datetime:
    day = timezone.now().astimezone(CHICAGO).date() + timedelta(days=7)
    return datetime.combine(day, time(hour), CHICAGO)


def all_kinds(world) -> Changes:
    wren, heron, swift = world.printers
    Outage.objects.create(printer=swift, since=timezone.now() - timedelta(hours=1), reason="belt")
    return Changes(
        out=(wren.pk,),
        back=(swift.pk,),
        added=(heron.pk,),
        hours=(Hours(in_a_week(16).date(), time(16), time(18, 30)),),
        unattended=(heron.pk,),
        infill={world.assignment.pk: 0.1},
        meetings={world.meeting.pk: in_a_week(9)},
        spares={world.assignment.pk: 1},
    )


def test_changes_survive_being_stored(world):
    changes = all_kinds(world)
    row = WhatIf.objects.create(room=world.room, made_by=world.teacher, changes=changes.to_json())
    assert Changes.from_json(WhatIf.objects.get(pk=row.pk).changes) == changes
    assert Changes.from_json({}) == Changes()


def test_nothing_real_changes_while_it_is_planned(planned):
    """Rows before and after, of every table."""
    Room.objects.update(unattended_allowed=True)
    changes = all_kinds(planned)
    before = everything()
    row = considered(try_what_if(planned.room, planned.administrator, changes))
    assert everything() == before
    assert {"now", "then"} <= row.answer.keys()
    discard_what_if(row, planned.administrator)
    assert everything() == before


def test_the_situation_is_what_was_asked_for(planned):
    Room.objects.update(unattended_allowed=True)
    changes = all_kinds(planned)
    snapshot = take_snapshot(planned.room.pk, timezone.now())
    changed = situation(snapshot, changes, {planned.assignment.pk: planned.meeting.pk})
    wren, heron, swift, added = changed.printers
    assert [until for _since, until, _why in wren.outages] == [None]
    assert swift.outages == ()
    assert (added.kind, added.name, added.may_run_unattended) == (heron.kind, "Heron 2", False)
    assert heron.may_run_unattended
    assert not wren.may_run_unattended
    assert changed.bells.staffed_on(in_a_week(16).date())[-1].end == time(18, 30)
    assert {kit.deadline for kit in changed.kits} == {in_a_week(9)}
    assert all('"infill_share": 0.1' in copy.settings for copy in changed.copies.values())
    spares = [copy for copy in changed.copies.values() if copy.spare]
    assert len(spares) == 4, "wheel and chassis, for two teams"
    assert {copy.id for copy in spares} == {-1, -2, -3, -4}
    assert snapshot == take_snapshot(planned.room.pk, snapshot.now)


def test_the_plan_of_it_is_sound_and_uses_what_is_added(planned):
    changes = Changes(out=(planned.printers[0].pk,), added=(planned.printers[1].pk,))
    snapshot = take_snapshot(planned.room.pk, timezone.now())
    changed = situation(snapshot, changes, {})
    option = choose(changed, Estimates(changed), lambda share: None).option
    assert violations(option.posed.problem, option.plan) == []
    assert str(planned.printers[0].pk) not in {run.printer_id for run in option.plan.runs}


def test_without_the_schools_permission_nothing_runs_unattended(planned):
    """The room does not allow it: what the form sends about it counts for nothing."""
    snapshot = take_snapshot(planned.room.pk, timezone.now())
    changed = situation(snapshot, Changes(unattended=tuple(printer.pk for printer in planned.printers)), {})
    assert not any(printer.may_run_unattended for printer in changed.printers)


def test_a_lost_printer_and_a_later_lab_day_move_the_chance(planned):
    everything_out = Changes(out=tuple(printer.pk for printer in planned.printers))
    none = considered(try_what_if(planned.room, planned.teacher, everything_out)).answer
    key = str(planned.assignment.pk)
    assert none["then"]["classes"][key]["chance"] == 0.0
    assert none["then"]["late_kits"] == 2
    assert none["now"]["classes"][key]["chance"] > 0
    later = Changes(meetings={planned.meeting.pk: in_a_week(9) + timedelta(days=20)})
    answer = considered(try_what_if(planned.room, planned.teacher, later)).answer
    assert answer["then"]["classes"][key]["chance"] >= answer["now"]["classes"][key]["chance"]
    assert answer["now"]["plates"] == RoomPlan.objects.first().plates


def test_less_infill_weighs_less(planned):
    light = considered(try_what_if(planned.room, planned.teacher, Changes(infill={planned.assignment.pk: 0.0}))).answer
    assert light["then"]["mass_g"] < light["now"]["mass_g"]


def test_spares_stand_in_for_their_own_part_only(planned):
    snapshot = take_snapshot(planned.room.pk, timezone.now())
    copies = [copy for copy in snapshot.copies.values() if copy.kit_id and copy.kit_id.endswith(f":{planned.team.pk}")]
    wheel = next(copy for copy in copies if copy.part == "wheel")
    chassis = next(copy for copy in copies if copy.part == "chassis")
    from dataclasses import replace

    spare = replace(wheel, id=-1, spare=True)
    assert spares_on([wheel, spare]) == 1
    assert spares_on([wheel, chassis, spare]) == 0
    assert spares_on([wheel, wheel]) == 0
    assert spares_on([spare]) == 0, "nobody waits for a plate of spares"


# --- apply ------------------------------------------------------------------------------------------------------------


def test_applying_makes_each_change_by_its_verb_with_its_record(planned):
    Room.objects.update(unattended_allowed=True)
    changes = all_kinds(planned)
    row = considered(try_what_if(planned.room, planned.administrator, changes))
    apply_what_if(row, planned.administrator)
    wren, heron, swift = Printer.objects.order_by("position")[:3]
    assert wren.outages.filter(until=None).exists()
    assert not swift.outages.filter(until=None).exists()
    assert Printer.objects.get(name="Heron 2").kind == heron.kind
    assert heron.may_run_unattended
    assert str(ExtraHours.objects.get().ends_at) == "18:30:00"
    assert Meeting.objects.get(pk=planned.meeting.pk).starts_at == in_a_week(9)
    assignment = Assignment.objects.get(pk=planned.assignment.pk)
    assert in_force(planned.wheel, assignment).infill_share == 0.1
    assert states(planned.requests[0]).count("cancelled") == 0
    assert planned.requests[0].copies.count() == 5, "four wheels and one more"
    verbs = set(Event.objects.values_list("verb", flat=True))
    assert verbs >= {
        "set_out_of_service", "back_in_service", "add_printer", "add_extra_hours", "set_unattended",
        "set_print_settings", "move_meeting", "order_spares", "apply_what_if",
    }  # fmt: skip
    plan_now()
    assert RoomPlan.objects.first().facts["violations"] == 0
    with pytest.raises(NotAllowedNow, match="applied already"):
        apply_what_if(WhatIf.objects.get(pk=row.pk), planned.administrator)


def test_what_one_may_not_do_is_told_and_then_nothing_is_done(planned):
    """A teacher may move the lab day but not take a printer out: neither happens."""
    changes = Changes(out=(planned.printers[0].pk,), meetings={planned.meeting.pk: in_a_week(9)})
    row = considered(try_what_if(planned.room, planned.teacher, changes))
    before = everything()
    with pytest.raises(NotAllowedNow, match=r"Wren is out of service: that is for somebody else to do\. Nothing"):
        apply_what_if(row, planned.teacher)
    assert everything() == before


def test_a_change_that_cannot_be_any_more_undoes_the_others(planned):
    day = in_a_week(16).date()
    changes = Changes(added=(planned.printers[0].pk,), hours=(Hours(day, time(16), time(18)),))
    row = considered(try_what_if(planned.room, planned.administrator, changes))
    actions.add_extra_hours(planned.room, planned.technician, day, time(16), time(17))
    before = everything()
    with pytest.raises(NotAllowedNow, match="noted already"):
        apply_what_if(row, planned.administrator)
    assert everything() == before


def test_applied_twice_at_once_counts_once(planned, at_once):
    row = considered(try_what_if(planned.room, planned.administrator, Changes(added=(planned.printers[0].pk,))))
    results = at_once(*[lambda: apply_what_if(WhatIf.objects.get(pk=row.pk), planned.administrator)] * 4)
    assert [type(result) for result in results if result is not None] == [NotAllowedNow] * 3
    assert at_once(lambda: Printer.objects.count()) == [4]


def test_spares_that_are_ordered_keep_nobody_waiting(planned):
    actions.order_spares(planned.assignment, planned.teacher, 1)
    plan_now()
    snapshot = take_snapshot(planned.room.pk, timezone.now())
    spares = [copy for copy in snapshot.copies.values() if copy.spare]
    assert len(spares) == 4
    assert PrintCopy.objects.filter(state="planned").count() == 14
    with pytest.raises(NotAllowedNow, match="one to 3"):
        actions.order_spares(planned.assignment, planned.teacher, 9)


# --- the pages --------------------------------------------------------------------------------------------------------


def test_from_the_form_to_the_room_and_back(planned, signed_in):
    client, wren = signed_in(planned.administrator), planned.printers[0]
    form = reverse("printing:room-what-if", args=[planned.room.pk])
    page = client.get(form).content.decode()
    assert "What if it were otherwise" in page
    assert "does not allow printing in this room with nobody there" in page
    empty = client.post(form, {})
    assert empty.status_code == 422
    assert "Change something first" in empty.content.decode()
    sent = client.post(form, {f"printer_{wren.pk}": "out", "like": planned.printers[1].pk, "count": "2"})
    assert sent.status_code == 302
    row = WhatIf.objects.get()
    assert Changes.from_json(row.changes) == Changes(out=(wren.pk,), added=(planned.printers[1].pk,) * 2)
    waiting = client.get(sent.url).content.decode()
    assert "being planned and played" in waiting
    considered(row)
    page = client.get(sent.url).content.decode()
    for words in (
        "As it is",
        "What if",
        "Wren is out of service",
        "Swaps of spools",
        "Filament",
        "Hands",
        "Make it so",
    ):
        assert words in page, words
    assert client.get(f"{form}?from={row.pk}").content.decode().count("selected") >= 2
    assert client.post(reverse("printing:what-if-apply", args=[row.pk])).status_code == 302
    assert Printer.objects.count() == 5
    assert "Applied" in client.get(sent.url).content.decode()
    assert client.post(reverse("printing:what-if-discard", args=[row.pk])).status_code == 302
    assert not WhatIf.objects.exists()


def test_bad_input_is_said_in_place(planned, signed_in):
    client = signed_in(planned.teacher)
    form, key = reverse("printing:room-what-if", args=[planned.room.pk]), planned.assignment.pk
    bad = client.post(
        form,
        {
            "day": f"{in_a_week(9):%Y-%m-%d}",
            "starts_at": "18:00",
            "ends_at": "16:00",
            f"infill_{key}": "140",
            f"meeting_{key}": "2020-01-01T08:00",
        },
    )
    assert bad.status_code == 422
    page = bad.content.decode()
    assert "must end after they start" in page
    assert "passed already" in page
    assert "100" in page
    assert not WhatIf.objects.exists()


def test_a_try_is_its_makers_alone(planned, signed_in):
    row = try_what_if(planned.room, planned.teacher, Changes(out=(planned.printers[0].pk,)))
    for person in (planned.far_teacher, planned.technician, planned.student, planned.other_teacher):
        client = signed_in(person)
        assert client.get(reverse("printing:what-if-detail", args=[row.pk])).status_code == 404
        for verb in ("apply", "discard", "again"):
            assert client.post(reverse(f"printing:what-if-{verb}", args=[row.pk])).status_code == 404
    assert (
        signed_in(planned.other_teacher).get(reverse("printing:room-what-if", args=[planned.room.pk])).status_code
        == 404
    )


# --- the forecast -----------------------------------------------------------------------------------------------------


def outlook(world) -> dict[str, Any]:
    """Of the world's lab day; nothing but the plan's own row is written for it."""
    before = everything()
    job = claim(job_id=Job.objects.filter(kind="plan-outlook", state="waiting").latest("pk").pk)
    run(job)
    assert Job.objects.get(pk=job.pk).state == "done", Job.objects.get(pk=job.pk).error
    after = everything()
    before.pop("printing.RoomPlan"), after.pop("printing.RoomPlan")
    assert after == before
    return RoomPlan.objects.first().facts["outlook"]["by_assignment"][str(world.assignment.pk)]


def test_the_outlook_of_a_lab_day_is_worked_out_beside_the_plan(planned, signed_in):
    found = outlook(planned)
    assert found["kits"] == 2
    assert 0 <= found["chance"] <= 1
    assert found["likely_at"] <= found["nearly_sure_at"]
    assert {"plan_anew", "evening", "printer"} <= {effect["remedy"] for effect in found["help"]}
    ranks = [(effect["chance"], effect["expected_kits"]) for effect in found["help"]]
    assert [chance for chance, _kits in ranks] == sorted((chance for chance, _kits in ranks), reverse=True)
    page = signed_in(planned.teacher).get(reverse("printing:room-forecast", args=[planned.room.pk])).content.decode()
    for words in ("every part when the lab day begins", "of 2 teams", "What would help", "One more printer like"):
        assert words in page, words
    far = signed_in(planned.far_teacher).get(reverse("printing:room-forecast", args=[planned.room.pk]))
    assert "7B" not in strip_tags(far.content.decode())  # a form's token may hold any two letters


@pytest.mark.parametrize("late", [timedelta(minutes=2), timedelta(hours=3)])
def test_an_outlook_is_worked_out_though_nobody_made_the_first_start(planned, late: timedelta):
    first = min(plate.setup_at for plate in Plate.objects.filter(printer__isnull=False))
    with time_machine.travel(first + late):
        assert outlook(planned)["kits"] == 2


def test_the_worst_failure_names_a_plate_of_the_plan(planned):
    Meeting.objects.update(starts_at=timezone.now() + timedelta(hours=30), ends_at=timezone.now() + timedelta(hours=31))
    actions.plan_again(planned.room, planned.teacher)
    plan_now()
    worst = outlook(planned)["worst"]
    if worst is not None:  # with days to spare no single failure may hurt
        assert worst["after"]["expected_kits"] <= worst["before"]["expected_kits"]
        assert worst["plate"] in set(RoomPlan.objects.first().room.plates.values_list("pk", flat=True))


def test_an_outlook_of_a_plan_that_was_followed_is_dropped(planned):
    job = Job.objects.filter(kind="plan-outlook", state="waiting").latest("pk")
    actions.plan_again(planned.room, planned.teacher)
    plan_now()
    run(claim(job_id=job.pk))
    assert "outlook" not in RoomPlan.objects.first().facts
