"""A plate on its bed: its drawing, its downloads read again by the mesh core, the beds it fits."""

from __future__ import annotations

import io
import json

import pytest
from django.urls import reverse

from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.types import PrintSettings, Unit
from planning.types import Bed, Circle, Rectangle
from printing import queries
from printing.models import Plate
from printing.planner.beds import common_bed, moved, why_not_on
from printing.planner.layout import arrange
from printing.planner.options import Worth, pays
from printing.planner.publish import match_rows
from printing.planner.snapshot import footprint_of
from printing.planner.values import Kind, Laid, Place, PlateNow, Source, WantedCopy
from printing.planner.ways import WAYS
from printing.plate_drawing import draw_plate
from tests.printing.helpers import make_plate, ordered_mesh, with_meshes

SETTINGS = json.dumps({"nozzle_mm": 0.4})


@pytest.fixture
def plate(world) -> Plate:
    with_meshes(world)
    return make_plate(world, ordered_mesh(world))


@pytest.mark.parametrize("kind", ["stl", "3mf"])
def test_the_file_holds_every_copy_where_the_plan_put_it(world, plate, signed_in, kind):
    """Read again by meshcheck.reading: as many bodies as copies, each body's box about its place, standing on z = 0."""
    response = signed_in(world.technician).get(reverse("printing:plate-file", args=[plate.pk, kind]))
    data = b"".join(response.streaming_content)
    raw = read_mesh(data, "plate")
    mesh, topology = repair(raw, raw.unit or Unit.MILLIMETRE)
    copies = queries.placed_copies(plate)
    assert topology.watertight
    assert topology.bodies == len(copies)
    centres = []
    for body in range(topology.bodies):
        corners = mesh.vertices[mesh.faces[mesh.body == body]].reshape(-1, 3)
        low, high = corners.min(axis=0), corners.max(axis=0)
        centres.append(tuple((low + high)[:2] / 2))
        assert low[2] == pytest.approx(0, abs=1e-4)
    wanted = [(copy.x_mm, copy.y_mm) for copy in copies]
    assert sorted(centres) == [pytest.approx(place, abs=1e-3) for place in sorted(wanted)]


def test_downloads_are_attachments_nothing_runs(world, plate, signed_in):
    response = signed_in(world.technician).get(reverse("printing:plate-file", args=[plate.pk, "stl"]))
    assert response["Content-Disposition"] == f'attachment; filename="P1-{queries.plate_code(plate)}.stl"'
    assert response["Content-Type"] == "application/octet-stream"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in response["Content-Security-Policy"]
    response.close()


@pytest.mark.parametrize("who", ["student", "far_student", "other_technician", "other_teacher"])
def test_who_gets_no_file(world, plate, signed_in, who):
    url = reverse("printing:plate-file", args=[plate.pk, "stl"])
    assert signed_in(world.people()[who]).get(url).status_code == 404


def test_taking_the_file_holds_the_plate(world, plate, signed_in):
    client = signed_in(world.technician)
    response = client.post(reverse("printing:plate-hold", args=[plate.pk]), {"kind": "3mf"})
    assert response["Location"] == reverse("printing:plate-file", args=[plate.pk, "3mf"])
    plate.refresh_from_db()
    assert plate.held
    assert client.post(reverse("printing:plate-hold", args=[plate.pk]), {"kind": "exe"}).status_code == 404
    client.post(reverse("printing:plate-release", args=[plate.pk]))
    plate.refresh_from_db()
    assert not plate.held


def test_a_file_that_cannot_be_written_is_a_404(world, plate, signed_in):
    plate.copies.first().request.submission.file.storage.delete(plate.copies.first().request.submission.file.name)
    url = reverse("printing:plate-file", args=[plate.pk, "stl"])
    assert signed_in(world.technician).get(url).status_code == 404


def test_the_code_changes_with_the_arrangement(plate):
    before = queries.plate_code(plate)
    assert queries.plate_code(plate) == before
    plate.copies.filter(place=1).update(x_mm=41.0)
    assert queries.plate_code(plate) != before


def test_drawing_positions(plate):
    """A 220 mm bed on 420 units: 21/11 a millimetre. Copy 1 stands at 40, 40 from the front left; front is below."""
    drawing = draw_plate(plate, queries.placed_copies(plate))
    scale = 420 / 220
    first = drawing.copies[0]
    assert (first.x, first.y) == (round(6 + 40 * scale, 1), round(6 + 180 * scale, 1))
    wheel = plate.copies.first().request.submission
    assert first.is_circle
    assert first.radius == pytest.approx(wheel.report["footprint"]["width_mm"] / 2 * scale, abs=0.06)
    assert first.who == "tray 1"
    assert (drawing.width, drawing.depth) == (420, 420)
    assert drawing.grid.count("V") == 11


def test_an_arrangement_for_a_smaller_bed_is_centred_on_the_printers(world, plate, signed_in):
    Plate.objects.filter(pk=plate.pk).update(bed_width_mm=180, bed_depth_mm=180)
    plate = Plate.objects.select_related("printer__kind").get(pk=plate.pk)
    assert queries.bed_shift(plate) == (20, 20)
    drawing = draw_plate(plate, queries.placed_copies(plate))
    assert drawing.copies[0].x == round(6 + 60 * 420 / 220, 1)
    assert queries.placed_parts_of(plate)[0]["x_mm"] == 60


SQUARE, SMALL = Bed.rectangle(220, 220, 200), Bed.rectangle(180, 160, 150)
DISC, BIG_DISC = Bed.circle(200, 190), Bed.circle(400, 300)


@pytest.mark.parametrize(
    ("beds", "expected"),
    [
        ([SQUARE], SQUARE),
        ([SQUARE, SMALL], SMALL),
        ([DISC, BIG_DISC], Bed.circle(200, 190)),
        ([SQUARE, DISC], Bed.circle(200, 190)),
        ([SMALL, BIG_DISC], SMALL),  # its diagonal of 241 mm lies within the disc
        ([SMALL, DISC], Bed.circle(160, 150)),  # neither holds the other: the disc that touches the nearer sides
        ([], None),
    ],
)
def test_the_bed_printers_have_in_common(beds, expected):
    assert common_bed(beds) == expected


def copy(copy_id: int, footprint, height_mm: float = 8.0, **changes) -> WantedCopy:
    source = Source(f"s{copy_id}", "", "w.stl", "0", "mm", footprint, height_mm, 10.0, 1800.0)
    values = {"material": "PLA", "colour": "white", "settings": SETTINGS, "rank": (False, copy_id, 1), "kit_id": "1:1"}
    return WantedCopy(copy_id, source, **{**values, **changes})


@pytest.mark.parametrize(
    ("footprint", "place", "bed", "words"),
    [
        (Circle(30), Place(1, 35, 35, 0), SQUARE, None),  # 5 mm from both edges: just on
        (Circle(30), Place(1, 34.9, 35, 0), SQUARE, "no bed"),
        (Circle(30), Place(1, 100, 35, 0), DISC, None),
        (Circle(30), Place(1, 40, 35, 0), DISC, "no bed"),
        (Rectangle(200, 100), Place(1, 110, 110, 0), SQUARE, None),
        (Rectangle(211, 100), Place(1, 110, 110, 0), SQUARE, "cannot hold a 211 mm part"),
        (Rectangle(211, 100), Place(1, 110, 110, 90), SQUARE, "cannot hold a 211 mm part"),
        (Rectangle(205, 20), Place(1, 110, 110, 45), SQUARE, None),
        (Rectangle(160, 100), Place(1, 100, 100, 0), DISC, None),  # half diagonal 94.3, within 95
        (Rectangle(164, 100), Place(1, 100, 100, 0), DISC, "cannot hold a 164 mm part"),  # 96.0
    ],
)
def test_what_stands_on_a_bed(footprint, place, bed, words):
    laid = Laid((place,), None, bed, "PLA", "white", SETTINGS)
    why = why_not_on(laid, Kind(1, "kind", bed, 0.4, {}), {1: copy(1, footprint)}, 0.4)
    assert (why is None) == (words is None)
    assert words is None or words in why


def test_height_and_nozzle_bar_a_printer():
    laid = Laid((Place(1, 110, 110, 0),), None, SQUARE, "PLA", "white", SETTINGS)
    kind = Kind(1, "kind", SQUARE, 0.4, {})
    assert why_not_on(laid, kind, {1: copy(1, Circle(30), 201)}, 0.4) == "cannot print 201 mm tall parts"
    assert why_not_on(laid, kind, {1: copy(1, Circle(30))}, 0.6) == "has a 0.4 mm nozzle, not 0.6 mm"


def test_moving_to_another_bed_keeps_the_middle():
    assert moved([Place(1, 110, 100, 30)], SQUARE, DISC) == (Place(1, 100, 90, 30),)


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.name)
def test_every_way_places_every_copy_once_within_its_size(world, way):
    from django.utils import timezone

    from printing.planner.snapshot import take_snapshot

    with_meshes(world)
    ordered_mesh(world)
    ordered_mesh(world, world.second_team, "students/otters-wheel-3.stl")
    snapshot = take_snapshot(world.room.pk, timezone.now())
    laid_out = arrange(snapshot, snapshot.copies.values(), way)
    placed = [place.copy_id for laid in laid_out.plates for place in laid.places]
    assert sorted(placed) == sorted(snapshot.copies)
    assert not laid_out.misfits
    for laid in laid_out.plates:
        assert len(laid.places) <= (way.per_plate_max or 99)
        nozzle = PrintSettings(**json.loads(laid.settings)).nozzle_mm
        fitting = [kind for kind in snapshot.kinds if why_not_on(laid, kind, snapshot.copies, nozzle) is None]
        assert fitting, "every plate can be printed somewhere"
        if not way.shared_out:
            assert len(fitting) == len(snapshot.kinds)


def test_rows_go_to_the_plates_most_like_them():
    def laid(copies: set[int], plate_id: int | None = None, held: bool = False) -> Laid:
        return Laid(
            tuple(Place(pk, 50, 50, 0) for pk in copies), None, SQUARE, "PLA", "white", SETTINGS, plate_id, held
        )

    class Room:
        plates = (
            PlateNow(11, 1, laid({1, 2, 3}, 11), None, None),
            PlateNow(12, 2, laid({4, 5}, 12), None, None),
            PlateNow(13, 3, laid({6}, 13, held=True), None, None),
        )

    wanted = [laid({4, 5, 7}), laid({1, 9}), laid({6}, 13, held=True), laid({8})]
    assert match_rows(Room, wanted) == [12, 11, 13, None]  # type: ignore[arg-type]


def worth(unplaced=0, tardy=100, late=2, effort=1000.0) -> Worth:
    return Worth(unplaced, tardy, late, effort, 500, 100)


@pytest.mark.parametrize(
    ("new", "expected"),
    [
        (worth(), False),
        (worth(tardy=91), False),  # nine late minutes of a hundred do not pay for moving everything
        (worth(tardy=89), True),
        (worth(late=1), True),
        (worth(late=1, tardy=101), False),  # one team saved at the cost of others
        (worth(effort=899.0), True),
        (worth(effort=901.0), False),
        (worth(effort=10.0, tardy=101), False),
        (worth(unplaced=1, tardy=0, effort=1.0), False),
    ],
)
def test_when_a_new_arrangement_pays(new, expected):
    assert pays(new, worth()) is expected
    assert pays(worth(unplaced=0), worth(unplaced=1, tardy=0)) is True


@pytest.mark.parametrize(
    ("report", "expected"),
    [
        ({"footprint": {"kind": "circle", "width_mm": 60.0, "depth_mm": 60.0}}, Circle(30)),
        ({"footprint": {"kind": "circle", "radius_mm": 31.0}}, Circle(31)),
        ({"footprint": {"kind": "rectangle", "width_mm": 9, "depth_mm": 9}}, Rectangle(150, 70)),
        ({}, Rectangle(150, 70)),
        ({"footprint": {"kind": "hull", "corners_mm": [[0, 0], [1, 0]]}}, None),
        ({"footprint": {"kind": "circle"}}, None),
    ],
)
def test_outlines_as_the_check_reports_them(report, expected):
    assert footprint_of(report, 150.0, 70.0) == expected


def test_a_stream_can_be_read_whole(world, plate, signed_in):
    response = signed_in(world.administrator).get(reverse("printing:plate-file", args=[plate.pk, "3mf"]))
    assert io.BytesIO(b"".join(response.streaming_content)).read(2) == b"PK"
