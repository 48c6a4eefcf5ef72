"""Areas of a bed that stay free: who says so, what is refused, and that what was planned before moves away.

Whether a part overlaps an area is asked of shapely, an independent geometry library.
"""

from __future__ import annotations

import re

import pytest
import shapely
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from makerlab.audit.models import Event
from makerlab.work.models import Job
from planning.types import Area
from printing import actions
from printing.actions.areas import keep_free, use_again
from printing.bed_areas import AREAS_MOST, code_of, standing_on, why_not
from printing.by_hand import stands_now
from printing.models import Plate, PrinterKind
from printing.planner.snapshot import footprint_of
from printing.states import NotAllowedNow, PlateState
from tests.printing.helpers import ALL_CHECKED, ordered_mesh, plan_now, with_meshes

pytestmark = pytest.mark.django_db
CLIP = {"x_mm": "0", "y_mm": "95", "width_mm": "12", "depth_mm": "30", "words": "clip"}


def square(world) -> PrinterKind:
    return PrinterKind.objects.get(school=world.school, bed=PrinterKind.Bed.RECTANGULAR)


def disc(world) -> PrinterKind:
    return PrinterKind.objects.get(school=world.school, bed=PrinterKind.Bed.ROUND)


def page(kind: PrinterKind) -> str:
    return reverse("printing:kind-areas", args=[kind.pk])


def overlap_mm2(plate: Plate, kind: PrinterKind) -> float:
    """How much of the parts on the plate lies on areas kept free, by shapely."""
    blocks = [shapely.box(a.x_mm, a.y_mm, a.x_mm + a.width_mm, a.y_mm + a.depth_mm) for a in kind.areas()]
    copies = list(plate.copies.all())
    total = 0.0
    for copy, stand in zip(copies, stands_now(plate, copies, kind), strict=True):
        source = copy.request.source
        footprint = footprint_of(source.report, source.width_mm, source.depth_mm)
        body = shapely.Point(stand.x_mm, stand.y_mm).buffer(footprint.radius_mm)
        total += sum(body.intersection(block).area for block in blocks)
    return total


def test_a_technician_draws_an_area_and_takes_it_away_again(world, client):
    client.force_login(world.technician)
    kind = square(world)
    assert client.post(page(kind), CLIP).status_code == 302
    kind.refresh_from_db()
    assert kind.areas() == (Area(0.0, 95.0, 12.0, 30.0),)
    text = client.get(page(kind)).content.decode().replace("\u00a0", " ")
    assert "12 × 30 mm, 0 mm from the left, 95 mm from the front" in text
    assert re.search(r'<rect class="kept-free" x="6.0"', text), "on the picture, at the left edge"
    assert Event.objects.filter(verb="keep_free", subject_id=str(kind.pk)).exists()
    assert Job.objects.filter(kind="plan-room", subject=str(world.room.pk)).exists()
    answer = client.post(reverse("printing:kind-area-remove", args=[kind.pk]), {"area": "0 95 12 30"})
    assert answer.status_code == 302
    kind.refresh_from_db()
    assert kind.keep_out == []


def test_who_may(world, client):
    kind = square(world)
    for person, seen, may in (
        (world.technician, 200, 302),
        (world.administrator, 200, 302),
        (world.teacher, 200, 404),
        (world.student, 404, 404),
        (world.other_technician, 404, 404),
    ):
        PrinterKind.objects.filter(pk=kind.pk).update(keep_out=[])
        client.force_login(person)
        answer = client.get(page(kind))
        assert answer.status_code == seen
        if seen == 200:
            assert ('id="keep"' in answer.content.decode()) is (may == 302)
        assert client.post(page(kind), CLIP).status_code == may
        PrinterKind.objects.filter(pk=kind.pk).update(keep_out=[[0, 95, 12, 30]])
        answer = client.post(reverse("printing:kind-area-remove", args=[kind.pk]), {"area": "0 95 12 30"})
        assert answer.status_code == may
    with pytest.raises(PermissionDenied):
        keep_free(kind, world.teacher, Area(0, 0, 10, 10), "")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"width_mm": "230"}, "reaches 10.0 mm beyond the right edge: the bed is 220 mm wide"),
        ({"depth_mm": "130.5"}, "reaches 5.5 mm beyond the back edge: the bed is 220 mm deep"),
        ({"x_mm": "-1"}, "greater than or equal to 0"),
        ({"width_mm": ""}, "required"),
        ({"width_mm": "wide"}, "Enter a number"),
        ({"depth_mm": "0"}, "greater than or equal to 1"),
        ({"y_mm": "nan"}, "Enter a number"),
        ({"y_mm": "0", "width_mm": "220", "depth_mm": "220"}, "not even a part of 20 mm has a place"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_typed_is_lost(world, client, change, told):
    client.force_login(world.technician)
    kind = square(world)
    answer = client.post(page(kind), {**CLIP, **change})
    assert answer.status_code == 422
    text = answer.content.decode().replace("\u00a0", " ")
    assert told in text
    assert 'value="clip"' in text
    kind.refresh_from_db()
    assert kind.keep_out == []


def test_one_that_is_there_already_and_too_many(world):
    kind = square(world)
    keep_free(kind, world.technician, Area(0, 0, 50, 50), "")
    with pytest.raises(NotAllowedNow, match="Area 1 keeps that free already"):
        keep_free(kind, world.technician, Area(10, 10, 20, 40), "")
    kind.keep_out = [[2 * at, 0, 1, 1] for at in range(AREAS_MOST)]
    assert f"{AREAS_MOST} areas already" in why_not(kind, Area(100, 100, 5, 5), 5.0)


def test_beside_a_round_bed_is_no_area(world):
    kind = disc(world)
    assert "outside the round bed" in why_not(kind, Area(0, 0, 20, 20), 5.0)
    middle = kind.width_mm / 2
    assert why_not(kind, Area(0, middle - 10, 15, 20), 5.0) == ""


def test_one_that_was_taken_away_meanwhile_is_not_taken_away_twice(world):
    kind = square(world)
    keep_free(kind, world.technician, Area(0, 0, 10, 10), "")
    keep_free(kind, world.technician, Area(200, 0, 10, 10), "")
    use_again(kind, world.technician, code_of(Area(0, 0, 10, 10)))
    with pytest.raises(NotAllowedNow, match="not kept free any more"):
        use_again(kind, world.technician, code_of(Area(0, 0, 10, 10)))
    kind.refresh_from_db()
    assert kind.areas() == (Area(200.0, 0.0, 10.0, 10.0),), "its neighbour stays"


def planned(world) -> list[Plate]:
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    return list(Plate.objects.filter(state=PlateState.PLANNED, printer__isnull=False))


def corner_of(plate: Plate, kind: PrinterKind) -> Area:
    """A box of 30 mm about the middle of the plate's first copy."""
    stand = stands_now(plate, list(plate.copies.all()), kind)[0]
    return Area(stand.x_mm - 15, stand.y_mm - 15, 30.0, 30.0)


def test_plates_planned_before_are_laid_out_around_it(world, client):
    plates = planned(world)
    kind = square(world)
    wheels = next(plate for plate in plates if plate.copies.filter(request__kit_part=world.wheel).exists())
    Plate.objects.filter(pk__in=[plate.pk for plate in plates]).exclude(printer__kind=kind).update(
        printer=world.printers[0]
    )
    wheels.refresh_from_db()
    area = corner_of(wheels, kind)
    assert wheels in standing_on(kind, area)
    for each in (kind, disc(world)):
        client.force_login(world.technician)
        figures = {"x_mm": area.x_mm, "y_mm": area.y_mm, "width_mm": 30, "depth_mm": 30}
        answer = client.post(page(each), figures, follow=True)
        assert answer.status_code == 200
    plan_now()
    kind.refresh_from_db()
    rows = Plate.objects.filter(state=PlateState.PLANNED, copies__request__kit_part=world.wheel).distinct()
    assert rows
    for plate in rows:
        assert plate.printer is not None, plate.unplanned_because
        plate.printer.kind.refresh_from_db()
        assert overlap_mm2(plate, plate.printer.kind) == 0.0


def test_a_file_that_was_taken_and_a_running_print_are_told_not_moved(world, client):
    plates = planned(world)
    kind = square(world)
    wheels = next(plate for plate in plates if plate.copies.filter(request__kit_part=world.wheel).exists())
    wheels.printer = world.printers[0]
    wheels.save()
    area = corner_of(wheels, kind)
    client.force_login(world.technician)
    figures = {"x_mm": area.x_mm, "y_mm": area.y_mm, "width_mm": 30, "depth_mm": 30}
    actions.hold_plate(wheels, world.technician)
    text = client.post(page(kind), figures, follow=True).content.decode()
    assert f"The file of {wheels} was taken and has a part there" in text
    PrinterKind.objects.filter(pk=kind.pk).update(keep_out=[])
    wheels.refresh_from_db()
    actions.start_plate(wheels, world.printers[0], world.technician, ALL_CHECKED)
    text = client.post(page(kind), figures, follow=True).content.decode()
    assert f"Printing just now with a part there: {wheels}" in text
    copies = list(wheels.copies.values_list("x_mm", "y_mm"))
    plan_now()
    assert list(wheels.copies.values_list("x_mm", "y_mm")) == copies


def test_the_pictures_of_a_plate_show_it(world, client):
    plate = planned(world)[0]
    keep_free(plate.printer.kind, world.technician, Area(0, 95, 12, 30), "clip")
    client.force_login(world.teacher)
    assert 'class="kept-free"' in client.get(reverse("printing:plate-detail", args=[plate.pk])).content.decode()
