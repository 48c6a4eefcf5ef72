"""Laying a plate out by hand: what is saved, what is refused and why, and that nothing anybody moved is lost."""

from __future__ import annotations

import json

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from makerlab.audit.models import Event
from makerlab.work.models import Job
from printing import actions, by_hand
from printing.actions.arrange import ESTIMATE_PLATE, ChangedMeanwhile
from printing.by_hand import Stand, Wish
from printing.models import Plate, PrintCopy, PrinterKind
from printing.planner.beds import common_bed
from printing.planner.snapshot import bed_of, canonical, settings_of
from printing.states import CopyState, NotAllowedNow, PlateState
from tests.printing.helpers import make_plate, ordered, ordered_mesh, plan_now, started, with_meshes
from tests.world import World

pytestmark = pytest.mark.django_db


def plate_of(world: World, **values) -> Plate:
    return make_plate(world, **values)


def wish_of(plate: Plate, *stands: Stand, **values) -> Wish:
    kind = plate.printer.kind
    return Wish(kind, stands or now(plate), **{"version": by_hand.version_of(plate), **values})


def now(plate: Plate) -> tuple[Stand, ...]:
    from printing.queries import placed_copies

    return by_hand.stands_now(plate, placed_copies(plate), plate.printer.kind)


def moved(stands: tuple[Stand, ...], at: int, x: float, y: float) -> tuple[Stand, ...]:
    return tuple(Stand(s.copy_id, x, y, s.turn_deg) if i == at else s for i, s in enumerate(stands))


def test_a_copy_moved_by_hand_stays_there_and_says_who_did_it(world):
    plate = plate_of(world)
    before = now(plate)
    actions.arrange_plate(plate, world.technician, wish_of(plate, *moved(before, 1, 180.0, 180.0)))
    plate.refresh_from_db()
    assert plate.arranged
    copy = PrintCopy.objects.get(pk=before[1].copy_id)
    assert (copy.x_mm, copy.y_mm, copy.state) == (180.0, 180.0, CopyState.PLANNED)
    assert copy.place == len(before), "places are numbered from the front left"
    event = Event.objects.filter(verb="arrange_plate").get()
    assert (event.actor, event.subject_id) == (world.technician, str(plate.pk))
    assert Job.objects.filter(kind=ESTIMATE_PLATE, subject=str(plate.pk)).count() == 1
    assert plate.durations_s == {}, "figures of another arrangement are not shown for this one"


def test_what_it_was_laid_out_as_is_what_it_prints_as(world):
    """Material, colour and settings of the plate are those of its copies."""
    plate = plate_of(world)
    actions.arrange_plate(plate, world.technician, wish_of(plate))
    plate.refresh_from_db()
    request = plate.copies.first().request
    settings = settings_of(request)
    assert settings is not None
    assert plate.settings == json.loads(canonical(settings))
    assert plate.material == settings.material


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        (40.0, 102.0, "apart; 5.00\xa0mm is the least"),
        (42.0, 60.0, "lie on top of each other"),
        (33.0, 180.0, "2.00\xa0mm inside the edge of 5.00\xa0mm that stays free"),
        (20.0, 180.0, "hangs 10.0\xa0mm over the edge"),
    ],
)
def test_a_broken_rule_is_refused_with_its_figures_and_nothing_is_written(world, x, y, said):
    plate = plate_of(world)
    before = now(plate)
    with pytest.raises(NotAllowedNow, match=said.replace(".", r"\.")):
        actions.arrange_plate(plate, world.technician, wish_of(plate, *moved(before, 3, x, y)))
    plate.refresh_from_db()
    assert now(plate) == before
    assert not plate.arranged
    assert not Event.objects.filter(verb="arrange_plate").exists()


def test_a_copy_taken_off_waits_and_one_added_is_put_where_there_is_room(world):
    plate = plate_of(world)
    other = ordered(world, team=world.second_team)
    before = now(plate)
    added = other.copies.filter(state=CopyState.WAITING).first()
    actions.arrange_plate(plate, world.technician, wish_of(plate, *before[:-1], Stand(added.pk)))
    assert PrintCopy.objects.get(pk=before[-1].copy_id).state == CopyState.WAITING
    added.refresh_from_db()
    assert (added.plate, added.state) == (plate, CopyState.PLANNED)
    verdict = by_hand.judge(
        plate, wish_of(plate), by_hand.copies_by_id(plate.copies.all()), by_hand.names_of(list(plate.copies.all()))
    )
    assert verdict.is_sound


def test_a_copy_added_leaves_its_other_plate_and_an_empty_plate_goes(world):
    plate = plate_of(world)
    request = ordered(world, team=world.second_team)
    other = make_plate(world, request, number=2)
    ids = list(other.copies.values_list("pk", flat=True))
    actions.arrange_plate(plate, world.technician, wish_of(plate, *now(plate)[:1], *(Stand(pk) for pk in ids)))
    assert set(plate.copies.values_list("pk", flat=True)) >= set(ids)
    assert not Plate.objects.filter(pk=other.pk).exists()


def test_a_plate_changed_meanwhile_is_told_and_nothing_is_overwritten(world):
    plate = plate_of(world)
    mine = wish_of(plate, *moved(now(plate), 0, 40.0, 45.0))
    actions.arrange_plate(plate, world.administrator, wish_of(plate, *moved(now(plate), 3, 180.0, 180.0)))
    with pytest.raises(ChangedMeanwhile, match="changed meanwhile"):
        actions.arrange_plate(plate, world.technician, mine)
    plate.refresh_from_db()
    assert {(s.x_mm, s.y_mm) for s in now(plate)} >= {(180.0, 180.0), (40.0, 40.0)}


def test_running_and_taken_plates_are_refused_in_words(world):
    plate = plate_of(world)
    actions.hold_plate(plate, world.technician)
    plate.refresh_from_db()
    with pytest.raises(NotAllowedNow, match="file of P1 was taken"):
        actions.arrange_plate(plate, world.technician, wish_of(plate))
    run = started(world, plate)
    with pytest.raises(NotAllowedNow, match="does not move"):
        actions.arrange_plate(run.plate, world.technician, wish_of(run.plate))


def test_a_copy_that_is_not_to_be_had(world):
    plate = plate_of(world)
    other = make_plate(world, ordered(world, team=world.second_team), number=2)
    actions.hold_plate(other, world.technician)
    wish = wish_of(plate, *now(plate), Stand(other.copies.first().pk))
    with pytest.raises(ChangedMeanwhile, match="not to be had"):
        actions.arrange_plate(plate, world.technician, wish)


def test_who_may(world):
    plate = plate_of(world)
    for person in (world.student, world.far_teacher, world.other_technician):
        with pytest.raises(PermissionDenied):
            actions.arrange_plate(plate, person, wish_of(plate))
    actions.arrange_plate(plate, world.teacher, wish_of(plate))


def test_the_planner_gets_it_back(world):
    plate = plate_of(world)
    with pytest.raises(NotAllowedNow, match="own already"):
        actions.lay_out_again(plate, world.technician)
    actions.arrange_plate(plate, world.technician, wish_of(plate))
    actions.lay_out_again(plate, world.technician)
    plate.refresh_from_db()
    assert not plate.arranged
    assert not plate.copies.exists()
    assert not PrintCopy.objects.filter(state=CopyState.PLANNED).exists()


def test_a_new_plan_keeps_it_and_works_out_its_figures(world):
    """The whole way: real meshes, the real planner, moved by hand, planned again: every copy is where it was put."""
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    plate = Plate.objects.filter(state=PlateState.PLANNED, printer__isnull=False).order_by("-id").first()
    kind = plate.printer.kind
    first = now(plate)
    assert by_hand.judge(
        plate, Wish(kind, first), by_hand.copies_by_id(plate.copies.all()), by_hand.names_of(list(plate.copies.all()))
    ).is_sound, "what the planner lays out stands by the same rules"
    wish = tuple(
        Stand(s.copy_id, kind.width_mm - s.x_mm, kind.depth_mm - s.y_mm, (s.turn_deg + 180) % 360) for s in first
    )
    grams = plate.mass_g
    actions.arrange_plate(plate, world.technician, Wish(kind, wish, by_hand.version_of(plate)))
    plan_now()
    plate.refresh_from_db()
    assert plate.arranged
    assert plate.durations_s, "the estimate is there"
    assert plate.mass_g == pytest.approx(grams, rel=0.05), "the same parts weigh the same wherever they stand"
    assert plate.printer_id is not None
    assert {(s.copy_id, s.x_mm, s.y_mm, s.turn_deg) for s in now(plate)} == {
        (s.copy_id, s.x_mm, s.y_mm, s.turn_deg) for s in wish
    }
    actions.lay_out_again(plate, world.technician)
    plan_now()
    assert not PrintCopy.objects.filter(state=CopyState.WAITING).exists()
    assert not Plate.objects.filter(arranged=True).exists()


# --- pages -----------------------------------------------------------------------------------------------------------


def posted(plate: Plate, stands: tuple[Stand, ...], **more) -> dict:
    values = {"on": [s.copy_id for s in stands], "bed": plate.printer.kind_id, "version": by_hand.version_of(plate)}
    for stand in stands:
        if stand.has_place:
            values |= {
                f"x-{stand.copy_id}": f"{stand.x_mm:.2f}",
                f"y-{stand.copy_id}": f"{stand.y_mm:.2f}",
                f"turn-{stand.copy_id}": f"{stand.turn_deg:.2f}",
            }
    return values | more


def test_the_page_has_a_field_for_every_figure_and_saves_without_script(world, client):
    plate = plate_of(world)
    client.force_login(world.technician)
    page = client.get(reverse("printing:plate-arrange", args=[plate.pk]))
    assert page.status_code == 200
    for stand in now(plate):
        assert f'name="x-{stand.copy_id}"' in page.content.decode()
    answer = client.post(
        reverse("printing:plate-save", args=[plate.pk]), posted(plate, moved(now(plate), 1, 180.0, 180.0))
    )
    assert answer.status_code == 302
    assert (180.0, 180.0) in {(s.x_mm, s.y_mm) for s in now(plate)}


def test_a_field_left_as_it_was_shown_means_the_exact_place(world, client):
    plate = plate_of(world)
    copy = plate.copies.order_by("place").first()
    PrintCopy.objects.filter(pk=copy.pk).update(x_mm=35.0000001, y_mm=35.004)
    client.force_login(world.technician)
    client.post(reverse("printing:plate-save", args=[plate.pk]), posted(plate, now(plate)))
    copy.refresh_from_db()
    assert (copy.x_mm, copy.y_mm) == (35.0000001, 35.004)


def test_a_refused_save_keeps_what_was_moved(world, client):
    plate = plate_of(world)
    client.force_login(world.technician)
    wrong = moved(now(plate), 3, 40.0, 102.0)
    answer = client.post(reverse("printing:plate-save", args=[plate.pk]), posted(plate, wrong))
    assert answer.status_code == 422
    text = answer.content.decode()
    assert 'value="102"' in text
    assert "is the least" in text


def test_saving_over_a_change_tells_and_keeps_both_chances(world, client):
    """Told that it changed; the same form saved once more is taken."""
    plate = plate_of(world)
    client.force_login(world.technician)
    mine = moved(now(plate), 0, 38.0, 36.0)
    old = posted(plate, mine)
    actions.arrange_plate(plate, world.administrator, wish_of(plate, *moved(now(plate), 3, 180.0, 180.0)))
    url = reverse("printing:plate-save", args=[plate.pk])
    answer = client.post(url, old)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "changed meanwhile" in text
    assert 'value="38"' in text
    plate.refresh_from_db()
    again = client.post(url, old | {"version": answer.context["version"]})
    assert again.status_code == 302
    assert (38.0, 36.0) in {(s.x_mm, s.y_mm) for s in now(plate)}


def test_the_judge_answers_while_one_moves_and_writes_nothing(world, client):
    plate = plate_of(world)
    client.force_login(world.technician)
    plate.room.refresh_from_db()
    revision = plate.room.revision
    url = reverse("printing:plate-judge", args=[plate.pk])
    wrong = moved(now(plate), 3, 40.0, 102.0)
    answer = client.post(url, posted(plate, wrong)).json()
    assert set(answer["copies"]) == {str(wrong[at].copy_id) for at in (0, 2, 3)}
    assert not answer["changed"]
    fine = client.post(url, posted(plate, now(plate))).json()
    assert fine["sentences"] == []
    assert fine["printers"] == ["Wren", "Heron"]
    plate.room.refresh_from_db()
    assert plate.room.revision == revision


@pytest.mark.parametrize("figure", ["12e9", "abc", "nan", "inf", "-99999"])
def test_nonsense_in_a_field_is_told(world, client, figure):
    plate = plate_of(world)
    client.force_login(world.technician)
    first = now(plate)[0]
    answer = client.post(
        reverse("printing:plate-save", args=[plate.pk]), posted(plate, now(plate), **{f"x-{first.copy_id}": figure})
    )
    assert answer.status_code == 422
    assert "in figures" in answer.content.decode()


def test_the_plate_page_shows_the_way(world, client):
    plate = plate_of(world)
    for person, shown in ((world.technician, True), (world.teacher, True), (world.far_teacher, False)):
        client.force_login(person)
        text = client.get(reverse("printing:plate-detail", args=[plate.pk])).content.decode()
        assert ('id="arrange"' in text) is shown


def with_clip(world: World) -> tuple[PrinterKind, PrinterKind]:
    """The world's square beds with a clip in the front left corner, and its round ones."""
    square = PrinterKind.objects.get(school=world.school, bed=PrinterKind.Bed.RECTANGULAR)
    square.keep_out = [[0, 0, 30, 30]]
    square.save()
    return square, PrinterKind.objects.get(school=world.school, bed=PrinterKind.Bed.ROUND)


def test_an_area_kept_free_is_kept_by_hand(world, client):
    plate = plate_of(world)
    square, disc = with_clip(world)
    client.force_login(world.technician)
    answer = client.post(reverse("printing:plate-judge", args=[plate.pk]), posted(plate, now(plate))).json()
    assert answer["sentences"] == ["1 overlaps the area kept free."]
    common = common_bed([bed_of(square), bed_of(disc)])
    assert common is not None
    assert [(area.x_mm, area.y_mm) for area in common.keep_out] == [(-10.0, -10.0)], "200 in the middle of 220"


def test_an_area_kept_free_is_kept_by_the_planner(world):
    square, _disc = with_clip(world)
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    plates = Plate.objects.filter(state=PlateState.PLANNED, printer__kind=square)
    assert plates
    for plate in plates:
        copies = list(plate.copies.all())
        stands = by_hand.stands_now(plate, copies, square)
        verdict = by_hand.judge(plate, Wish(square, stands), by_hand.copies_by_id(copies), by_hand.names_of(copies))
        assert verdict.is_sound, verdict.sentences


@pytest.mark.parametrize("areas", [[[1, 2, 3]], [[0, 0, 0, 5]], [["a", 0, 5, 5]], [7]])
def test_an_area_that_is_none_is_refused(world, areas):
    from django.core.exceptions import ValidationError

    kind = world.printers[0].kind
    kind.keep_out = areas
    with pytest.raises(ValidationError, match="millimetres"):
        kind.clean()
