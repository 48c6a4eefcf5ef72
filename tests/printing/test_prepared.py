"""Files a technician prepared elsewhere: read in a real child, held against the plate, standing for it, withdrawn."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from lessons.actions.print_settings import set_print_settings
from makerlab.audit.models import Event
from makerlab.work.actions import run_waiting
from printing import actions
from printing.actions.prepared import FILES_KEPT, bring_prepared, use_prepared, withdraw_prepared
from printing.models import Plate, PreparedFile, PrintCopy
from printing.planner.arrangement import arrangement_of, arrangement_of_plate
from printing.planner.snapshot import take_snapshot
from printing.queries import placed_copies
from printing.states import NotAllowedNow
from tests.printing.gcode_for_plates import FEED_MM_S, bring, codes, file_for, plate_of_wheels, upload
from tests.printing.helpers import ALL_CHECKED, plan_now
from tests.submissions.make import stored_files, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plate(world) -> Plate:
    return plate_of_wheels(world)


# what tells arrangements apart


def test_planner_and_database_see_the_same_arrangement(world, plate):
    snapshot = take_snapshot(world.room.pk, timezone.now())
    laid = next(each.laid for each in snapshot.plates if each.id == plate.pk)
    assert arrangement_of(laid, snapshot.copies) == arrangement_of_plate(plate, placed_copies(plate))


def test_another_place_turn_or_setting_is_another_arrangement(plate):
    before = arrangement_of_plate(plate, placed_copies(plate))
    copies = placed_copies(plate)
    copies[0].number, copies[1].number = copies[1].number, copies[0].number  # which is which does not matter
    assert arrangement_of_plate(plate, copies[::-1]) == before
    copies[0].x_mm += 0.01
    assert arrangement_of_plate(plate, copies) != before
    copies[0].x_mm -= 0.01
    copies[0].turn_deg += 1
    assert arrangement_of_plate(plate, copies) != before
    copies[0].turn_deg -= 1
    plate.settings = {**plate.settings, "walls": 9}
    assert arrangement_of_plate(plate, copies) != before


# the whole way


def test_a_file_that_fits_stands_by_itself_and_is_planned_with(world, plate):
    own_s, own_g = dict(plate.durations_s), plate.mass_g
    prepared = bring(world, plate, file_for(plate, grams=1.1))
    assert (prepared.check_state, prepared.check_error, prepared.stands) == ("checked", "", True)
    assert codes(prepared) == set()
    assert codes(prepared, "passes") >= {"gcode_height", "gcode_grams", "gcode_extents", "gcode_on_bed", "gcode_time"}
    assert prepared.mass_g == pytest.approx(1.1 * own_g, rel=1e-3)
    same_kind = [str(p.pk) for p in world.printers if p.kind == plate.printer.kind and str(p.pk) in own_s]
    others = [key for key in own_s if key not in same_kind]
    for _time in range(2):  # at once, and again after the room is planned
        assert {plate.estimates_s[key] for key in same_kind} == {prepared.duration_s}
        assert {plate.durations_s[key] for key in others} == {own_s[key] for key in others}
        assert (plate.mass_g, plate.held) == (prepared.mass_g, True)
        plan_now()
        plate.refresh_from_db()
    assert plate.ends_at is not None
    minutes = (plate.ends_at - plate.starts_at).total_seconds() / 60
    assert minutes == pytest.approx(plate.durations_s[str(plate.printer_id)] / 60, abs=1.0)
    prepared.refresh_from_db()
    assert prepared.stands
    assert Event.objects.filter(verb="use_prepared", facts__by_itself=True).exists()


def test_the_time_is_that_of_the_path_in_the_file(world, plate):
    """On paper: the way round the box at 40 mm/s in every layer, corners and the step up costing little beside it, and
    the heat-up and homing every file has (20 s, meshcheck.gcode.reader)."""
    prepared = bring(world, plate, file_for(plate, speed=FEED_MM_S))
    facts = prepared.reading["facts"]
    lowest, highest = facts["printed"]["lowest_mm"], facts["printed"]["highest_mm"]
    around_mm = 2 * (highest[0] - lowest[0] + highest[1] - lowest[1])
    heat_s = plate.printer.kind.machine_value().heat_up_s
    on_paper = heat_s + 20 + facts["layers"] * around_mm / FEED_MM_S
    assert prepared.duration_s == pytest.approx(on_paper, rel=0.03)


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"taller_mm": 2.0}, {"gcode_height"}),
        ({"grams": 2.0}, {"gcode_grams"}),
        ({"nozzle_c": 260}, {"gcode_nozzle"}),
        ({"speed": 400.0}, {"gcode_time"}),
    ],
)
def test_what_does_not_fit_stands_only_when_somebody_compared_it(world, plate, changes, wrong):
    before = dict(plate.durations_s)
    prepared = bring(world, plate, file_for(plate, **changes))
    assert codes(prepared) == wrong
    assert (prepared.stands, plate.durations_s) == (False, before)
    with pytest.raises(NotAllowedNow, match="Compare"):
        use_prepared(prepared, world.technician)
    use_prepared(prepared, world.technician, compared=True)
    plate.refresh_from_db()
    assert plate.estimates_s[str(plate.printer_id)] == prepared.duration_s


def test_what_prints_beyond_the_bed_never_stands(world, plate):
    prepared = bring(world, plate, file_for(plate, x_mm=150))
    assert "gcode_on_bed" in codes(prepared)
    with pytest.raises(NotAllowedNow, match="cannot stand"):
        use_prepared(prepared, world.technician, compared=True)


def test_withdrawing_brings_our_own_estimate_back(world, plate):
    own_s, own_g = dict(plate.durations_s), plate.mass_g
    prepared = bring(world, plate, file_for(plate, grams=1.2))
    withdraw_prepared(prepared, world.technician)
    plate.refresh_from_db()
    assert (plate.durations_s, plate.mass_g) == (own_s, own_g)
    plan_now()
    plate.refresh_from_db()
    assert (plate.durations_s, plate.mass_g) == (own_s, own_g)
    use_prepared(prepared, world.technician)  # it fits, so it may stand again
    with pytest.raises(NotAllowedNow, match="already"):
        use_prepared(prepared, world.technician)


def test_the_newer_of_two_stands(world, plate):
    first = bring(world, plate, file_for(plate))
    second = bring(world, plate, file_for(plate, grams=1.05))
    first.refresh_from_db()
    assert (first.stands, second.stands) == (False, True)
    assert plate.mass_g == second.mass_g


def test_another_arrangement_withdraws_the_file(world, plate):
    prepared = bring(world, plate, file_for(plate, grams=1.2))
    assert prepared.stands
    PrintCopy.objects.filter(plate=plate, place=1).update(turn_deg=45.0)
    actions.plan_again(world.room, world.technician)
    plan_now()
    prepared.refresh_from_db()
    plate.refresh_from_db()
    assert not prepared.stands
    assert prepared.duration_s not in plate.estimates_s.values()
    with pytest.raises(NotAllowedNow, match="otherwise by now"):
        use_prepared(prepared, world.technician, compared=True)


def test_new_settings_leave_a_prepared_plate_alone_until_it_is_let_go(world, plate):
    prepared = bring(world, plate, file_for(plate))
    set_print_settings(world.teacher, world.wheel, world.assignment, {"infill_share": 1.0})
    run_waiting()
    prepared.refresh_from_db()
    assert prepared.stands
    actions.release_plate(Plate.objects.get(pk=plate.pk), world.technician)
    run_waiting()
    assert not PreparedFile.objects.filter(stands=True).exists()


def test_a_file_changed_under_the_reading_does_not_stand(world, plate):
    """The arrangement it was held against is gone by the time it is read."""
    bring_prepared(plate, plate.printer.kind, "printer-ms", upload(file_for(plate)), world.technician)
    from makerlab.work.actions import claim, finish
    from printing.prepared import read

    job = claim("measure")
    apply = read(job)
    PrintCopy.objects.filter(plate=plate, place=1).update(x_mm=70.123)
    assert finish(job, apply)
    prepared = PreparedFile.objects.get()
    assert (prepared.check_state, prepared.stands) == ("checked", False)


# hostile files and caps


@pytest.mark.parametrize(
    "content",
    [
        b"\x00" * 1000,
        b"solid wheel\nfacet normal 0 0 1\n",
        b"<svg onload=alert(1)>",
        b"G1 X99999999 F100\n",
        b"G1 F600\nG1 X" + b"9" * 5000,
        b"%PDF-1.7 \xff\xfe\n" * 50,
        b"G1 X1 F100 E1\n" + b"(" * 5000,
        b"G91\nG1 F6000\n" + b"G1 X9000\n" * 10,
    ],
)
def test_hostile_text_is_refused_in_words(world, plate, content, signed_in):
    prepared = bring(world, plate, content)
    assert not prepared.stands
    assert prepared.check_state == "checked"
    said = prepared.reading["rejected"]
    assert said["message"]
    text = text_of(signed_in(world.technician).get(reverse("printing:plate-detail", args=[plate.pk])))
    assert "could not be used" in text
    with pytest.raises(NotAllowedNow):
        use_prepared(prepared, world.technician, compared=True)


def test_a_name_never_reaches_the_file_system(world, plate):
    prepared = bring(world, plate, "G1 X1 F100", name="../../etc/<script>.gcode")
    assert "/" not in prepared.file_name
    assert "<" not in prepared.file_name
    assert Path(prepared.file.name).parent.parent.name == "prepared"


def test_sizes_are_capped_and_nothing_stays_behind(world, plate, settings):
    before = len(stored_files())
    settings.PREPARED_MAX_BYTES = 100
    for content, said in ((b"", "empty"), (b"G" * 101, "at most")):
        with pytest.raises(NotAllowedNow, match=said):
            bring_prepared(plate, plate.printer.kind, "printer-ms", upload(content), world.technician)
    assert len(stored_files()) == before


def test_a_refused_file_leaves_nothing_behind(world, plate):
    before = len(stored_files())
    with pytest.raises(NotAllowedNow, match="not known"):
        bring_prepared(plate, plate.printer.kind, "guess", upload("G1 X1 F1"), world.technician)
    assert len(stored_files()) == before
    assert not PreparedFile.objects.exists()


def test_only_the_newest_files_are_kept(world, plate, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        for number in range(FILES_KEPT + 3):
            kind = plate.printer.kind
            bring_prepared(plate, kind, "printer-ms", upload(f"G1 X{number} F100"), world.technician)
    kept = list(PreparedFile.objects.values_list("pk", flat=True))
    assert len(kept) == FILES_KEPT
    stored = [path for path in stored_files() if "prepared" in path.parts]
    assert len(stored) == FILES_KEPT


def test_a_started_plate_takes_no_file(world, plate):
    prepared = bring(world, plate, file_for(plate))
    actions.start_plate(plate, plate.printer, world.technician, ALL_CHECKED)
    plate.refresh_from_db()
    assert plate.runs.get().estimate_g == prepared.mass_g
    for verb in (
        lambda: bring_prepared(plate, plate.printer.kind, "printer-ms", upload("G1 X1 F1"), world.technician),
        lambda: withdraw_prepared(prepared, world.technician),
    ):
        with pytest.raises(NotAllowedNow):
            verb()


# who may, and the pages


@pytest.mark.parametrize("who", ["student", "teacher", "other_technician", "other_teacher"])
def test_only_bench_staff_bring_and_use_files(world, plate, who):
    person = getattr(world, who)
    with pytest.raises(PermissionDenied):
        bring_prepared(plate, plate.printer.kind, "printer-ms", upload("G1 X1 F1"), person)
    prepared = bring(world, plate, file_for(plate))
    for verb in (use_prepared, withdraw_prepared):
        with pytest.raises(PermissionDenied):
            verb(prepared, person)
