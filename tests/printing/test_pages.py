"""Every page for every role, and what its buttons do."""

from __future__ import annotations

import time

import pytest
from django.urls import reverse
from django.utils import timezone

from printing import actions
from printing.models import Outage, Plate, PrintRequest, Room, Run, Spool
from printing.states import FailureReason
from tests.printing.helpers import approved_wheel, make_plate, ordered, started, states

HTMX = {"HTTP_HX_REQUEST": "true"}


@pytest.fixture
def busy(world):
    """One plate printing, one planned, one spool low, one printer out."""
    world.request = ordered(world)
    world.run = started(world, make_plate(world, world.request))
    world.second = ordered(world, world.second_team)
    world.plate = make_plate(world, world.second, number=2, printer=world.printers[1], setup_at=timezone.now())
    Outage.objects.create(printer=world.printers[2], since=timezone.now(), reason="blocked nozzle")
    return world


def pages(world) -> dict[str, str]:
    return {
        "today": reverse("printing:today"),
        "queue": reverse("printing:request-list"),
        "room": reverse("printing:room-plan"),
        "bench": reverse("printing:bench"),
        "spools": reverse("printing:spool-list"),
        "plate": reverse("printing:plate-detail", args=[world.plate.pk]),
        "run": reverse("printing:run-detail", args=[world.run.pk]),
    }


STAFF = ("teacher", "far_teacher", "technician", "administrator")
OTHERS = ("student", "far_student", "other_student")


@pytest.mark.parametrize("who", STAFF)
def test_staff_see_the_pages_of_their_room(busy, signed_in, who):
    client = signed_in(busy.people()[who])
    for name, url in pages(busy).items():
        expected = 302 if name == "today" and who == "technician" else 200
        assert client.get(url).status_code == expected, name


@pytest.mark.parametrize("who", OTHERS)
def test_students_see_none_of_them(busy, signed_in, who):
    client = signed_in(busy.people()[who])
    for name, url in pages(busy).items():
        assert client.get(url).status_code == (302 if name == "today" else 404), name


@pytest.mark.parametrize("who", ["other_teacher", "other_technician"])
def test_another_school_sees_nothing_of_ours(busy, signed_in, who):
    client = signed_in(busy.people()[who])
    urls = pages(busy)
    for name in ("plate", "run"):
        assert client.get(urls[name]).status_code == 404
    for name in ("bench", "room", "queue", "spools"):
        page = client.get(urls[name])
        assert page.status_code == 200
        for word in (b"Wren", b"Crew 1", b"Coasting cart"):
            assert word not in page.content


def test_without_anything_the_pages_teach(world, signed_in):
    client = signed_in(world.administrator)
    assert b"Nothing to do" in client.get(reverse("printing:bench")).content
    assert b"Nothing waits" in client.get(reverse("printing:request-list")).content
    assert b"Nothing to print" in client.get(reverse("printing:room-plan")).content
    Room.objects.all().delete()
    for name in ("bench", "request-list", "room-plan", "spool-list"):
        assert b"No room yet" in client.get(reverse(f"printing:{name}")).content


def posts(world) -> dict[str, tuple[str, dict[str, object]]]:
    spool = Spool.objects.get(printer=world.printers[2])
    free = Spool.objects.create(room=world.room, colour="white", grams_left=750)
    return {
        "request-move": (
            reverse("printing:request-move", args=[world.second.pk]),
            {"direction": "up", "version": Room.objects.get().queue_version},
        ),
        "plate-hold": (reverse("printing:plate-hold", args=[world.plate.pk]), {"kind": "stl"}),
        "plate-start": (
            reverse("printing:plate-start", args=[world.plate.pk]),
            {
                "printer": world.printers[1].pk,
                "right_spool": "on",
                "bed_clear": "on",
                "file_loaded": "on",
                "staying": "on",
            },
        ),
        "run-clear": (reverse("printing:run-clear", args=[world.run.pk]), {"how": "good", "cool": "on"}),
        "printer-take-out": (reverse("printing:printer-take-out", args=[world.printers[1].pk]), {"reason": "belt"}),
        "printer-bring-back": (reverse("printing:printer-bring-back", args=[world.printers[2].pk]), {}),
        "spool-create": (
            reverse("printing:spool-create"),
            {"new-material": "PLA", "new-colour": "red", "new-grams_full": "750", "new-tare_g": "220"},
        ),
        "spool-load": (reverse("printing:spool-load", args=[free.pk]), {f"l{free.pk}-printer": world.printers[1].pk}),
        "spool-weigh": (reverse("printing:spool-weigh", args=[spool.pk]), {f"w{spool.pk}-gross_g": "700"}),
        "request-cancel": (reverse("printing:request-cancel", args=[world.second.pk]), {}),
    }


ORDERING = {"request-move", "request-cancel"}
MAY = {
    "teacher": ORDERING,
    "far_teacher": set(),
    "technician": "bench",
    "administrator": "all",
    "student": set(),
    "other_teacher": set(),
    "other_technician": set(),
}


@pytest.mark.parametrize("who", MAY)
def test_who_may_press_which_button(busy, signed_in, who):
    """Role x button: allowed ones redirect, all others are a 404 and change nothing of ours."""
    client = signed_in(busy.people()[who])
    for name, (url, data) in posts(busy).items():
        may = MAY[who] == "all" or (name not in ORDERING if MAY[who] == "bench" else name in MAY[who])
        revision = Room.objects.get(pk=busy.room.pk).revision
        status = client.post(url, data).status_code
        if may:
            assert status == 302, name
        elif name == "spool-create" and who.startswith("other_"):
            assert Spool.objects.filter(room=busy.room, colour="red").count() == 0
        else:
            assert status == 404, name
        if not may:
            assert Room.objects.get(pk=busy.room.pk).revision == revision, name


def test_signed_out_people_are_sent_to_sign_in(busy, client):
    for url in pages(busy).values():
        assert client.get(url).status_code == 302


def seen_in_this_minute(client, url: str) -> str:
    """The token of a board that stands on its page; what a board saw grows old with the minute, so that it is not read
    in the last seconds of one."""
    if (left_s := 60 - time.time() % 60) < 10:
        time.sleep(left_s + 0.1)
    page = client.get(url)
    since: str = page.context["token"]
    assert since in page.content.decode()
    return since


@pytest.mark.parametrize("name", ["bench", "room-plan", "today"])
def test_boards_answer_204_until_something_changes(busy, signed_in, name):
    client = signed_in(busy.administrator)
    url = reverse(f"printing:{name}")
    since = seen_in_this_minute(client, url)
    assert client.get(url, {"since": since}, **HTMX).status_code == 204
    actions.finish_run(busy.run, busy.technician)
    changed = client.get(url, {"since": since}, **HTMX)
    assert changed.status_code == 200
    assert changed.content.strip().startswith(b'<div id="board"')
    assert b"<html" not in changed.content


def test_a_start_needs_its_ticks_and_says_so_in_place(busy, signed_in):
    client = signed_in(busy.technician)
    url = reverse("printing:plate-start", args=[busy.plate.pk])
    page = client.post(url, {"printer": busy.printers[1].pk, "bed_clear": "on"})
    assert page.status_code == 422
    assert b"First make sure of this: the right spool is loaded" in page.content
    assert b'name="bed_clear" checked' in page.content, "what was ticked stays ticked"
    assert b"come first" in page.content, "the cautions stand beside the start"
    busy.plate.refresh_from_db()
    assert busy.plate.state == "planned"


def test_a_start_from_the_page(busy, signed_in):
    client = signed_in(busy.technician)
    url, data = posts(busy)["plate-start"]
    assert client.post(url, data).status_code == 302
    assert Run.objects.filter(plate=busy.plate, outcome="running").count() == 1
    again = client.post(url, data, follow=True)
    assert b"P2 was already started" in again.content
    assert Run.objects.filter(plate=busy.plate).count() == 1


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"how": "good"}, b"Wait until nozzle and bed are cool"),
        ({"how": "partly", "cool": "on", "reason": "warped"}, b"Tick each copy that was lost"),
        ({"how": "partly", "cool": "on", "lost": "first"}, b"Say what went wrong"),
        ({"how": "failed"}, b"Say what went wrong"),
        ({"how": "sideways"}, b"sideways"),
    ],
)
def test_clearing_asks_for_what_is_missing(busy, signed_in, data, words):
    client = signed_in(busy.technician)
    first = busy.run.plate.copies.order_by("place").first()
    data = {key: first.pk if value == "first" else value for key, value in data.items()}
    page = client.post(reverse("printing:run-clear", args=[busy.run.pk]), data)
    assert page.status_code == 422
    assert words in page.content
    busy.run.refresh_from_db()
    assert busy.run.outcome == "running"


def test_partly_from_the_page(busy, signed_in):
    client = signed_in(busy.technician)
    copies = list(busy.run.plate.copies.order_by("place"))
    data = {"how": "partly", "cool": "on", "reason": "came_off", "lost": [copies[1].pk]}
    assert client.post(reverse("printing:run-clear", args=[busy.run.pk]), data).status_code == 302
    assert states(busy.request) == ["in_tray", "waiting", "in_tray", "in_tray"]
    page = client.get(reverse("printing:run-detail", args=[busy.run.pk]))
    assert b"Came off the bed" in page.content


def test_all_ticked_is_the_whole_plate(busy, signed_in):
    client = signed_in(busy.technician)
    lost = list(busy.run.plate.copies.values_list("pk", flat=True))
    data = {"how": "partly", "cool": "on", "reason": "power", "lost": lost}
    assert client.post(reverse("printing:run-clear", args=[busy.run.pk]), data).status_code == 302
    busy.run.refresh_from_db()
    assert busy.run.outcome == "failed"


def test_all_good_with_ticks_is_asked_back(busy, signed_in):
    client = signed_in(busy.technician)
    data = {"how": "good", "cool": "on", "lost": [busy.run.plate.copies.first().pk]}
    page = client.post(reverse("printing:run-clear", args=[busy.run.pk]), data, follow=True)
    assert b"Copies are ticked as lost" in page.content
    assert set(states(busy.request)) == {"printing"}


def test_the_clear_form_offers_every_copy_and_reason(busy, signed_in):
    page = signed_in(busy.technician).get(reverse("printing:run-detail", args=[busy.run.pk])).content.decode()
    for copy in busy.run.plate.copies.all():
        assert f'<input type="checkbox" name="lost" value="{copy.pk}">' in page
    for value, _words in FailureReason.choices:
        assert (f'name="reason" value="{value}"' in page) == (value != "stopped")
    assert "cool" in page


def test_teachers_see_the_bench_without_buttons(busy, signed_in):
    page = signed_in(busy.teacher).get(reverse("printing:run-detail", args=[busy.run.pk])).content
    assert b'name="how"' not in page
    assert (
        b'name="file_loaded"'
        not in signed_in(busy.teacher).get(reverse("printing:plate-detail", args=[busy.plate.pk])).content
    )


def test_moving_by_htmx_returns_the_list_and_says_what_happened(busy, signed_in):
    client = signed_in(busy.teacher)
    page = client.get(reverse("printing:request-list"))
    rows = [row.request.pk for row in page.context["rows"] if row.is_open]
    url = reverse("printing:request-move", args=[rows[1]])
    data = {"direction": "up", "version": page.context["version"]}
    moved = client.post(url, data, **HTMX)
    assert moved.status_code == 200
    text = moved.content.decode()
    assert "moved up." in text
    assert "<html" not in text
    assert text.index(f'id="request-{rows[1]}"') < text.index(f'id="request-{rows[0]}"')
    stale = client.post(url, data, **HTMX).content.decode()
    assert "The queue has changed since you looked" in stale
    assert "moved up." not in stale


def test_a_bad_version_is_no_move(busy, signed_in):
    url = reverse("printing:request-move", args=[busy.second.pk])
    for data in ({"direction": "up", "version": "soon"}, {"direction": "sideways", "version": "1"}, {}):
        assert signed_in(busy.teacher).post(url, data).status_code == 404


def test_each_teacher_sees_only_the_own_classes_in_the_queue(busy, signed_in):
    rows = signed_in(busy.far_teacher).get(reverse("printing:request-list")).context["rows"]
    assert rows == []


def test_weighing_a_wrong_figure_is_said_in_place(busy, signed_in):
    client = signed_in(busy.technician)
    spool = Spool.objects.get(printer=busy.printers[2])
    url = reverse("printing:spool-weigh", args=[spool.pk])
    page = client.post(url, {f"w{spool.pk}-gross_g": "4o2"})
    assert page.status_code == 422
    assert b'value="4o2"' in page.content
    page = client.post(url, {f"w{spool.pk}-gross_g": "100"}, follow=True)
    assert b"less than the empty spool" in page.content
    page = client.post(url, {f"w{spool.pk}-gross_g": "1500"}, follow=True)
    assert b"Read the scale again" in page.content
    client.post(url, {f"w{spool.pk}-gross_g": "620.5"})
    spool.refresh_from_db()
    assert spool.grams_left == pytest.approx(400.5)
    assert spool.weighed_at is not None


def test_today_counts_what_needs_the_teacher(busy, signed_in):
    client = signed_in(busy.teacher)
    page = client.get(reverse("printing:today"))
    titles = [item.title for item in page.context["decisions"]]
    assert "Swift is out of service" in titles
    row = page.context["meetings"][0]
    assert (row.teams, row.approved, row.handed_in, row.in_tray, row.wanted) == (2, 2, 2, 0, 10)
    actions.finish_run(busy.run, busy.technician)
    row = client.get(reverse("printing:today")).context["meetings"][0]
    assert (row.in_tray, row.wanted) == (4, 10)
    counts = client.get(reverse("printing:today")).context["counts"]
    assert (counts.parts, counts.runs, counts.wrong, round(counts.grams)) == (4, 1, 0, 44)


def test_today_tells_of_low_spools_and_overdue_prints(busy, signed_in):
    Spool.objects.filter(printer=busy.printers[1]).update(grams_left=10)
    Run.objects.filter(pk=busy.run.pk).update(expected_end_at=timezone.now() - timezone.timedelta(hours=3))
    titles = [item.title for item in signed_in(busy.teacher).get(reverse("printing:today")).context["decisions"]]
    assert "Heron has too little white PLA for P2" in titles
    assert "P1 on Wren should have been cleared" in titles


def test_today_orders_what_was_approved_before_there_was_a_room(world, signed_in):
    from tests.printing.helpers import approved_wheel

    approved_wheel(world)
    client = signed_in(world.teacher)
    titles = [item.title for item in client.get(reverse("printing:today")).context["decisions"]]
    assert "Approved, but not in the queue" in titles
    assert client.post(reverse("printing:request-missing")).status_code == 302
    assert PrintRequest.objects.count() == 2


def test_one_line_of_queries_a_page(busy, signed_in, django_assert_max_num_queries):
    """The bench is polled by every technician's tablet: its cost must not grow with the copies."""
    client = signed_in(busy.technician)
    url = reverse("printing:bench")
    client.get(url)
    with django_assert_max_num_queries(27):  # two of them read what runs teach, one the other rooms
        client.get(url)
    since = seen_in_this_minute(client, url)
    with django_assert_max_num_queries(6):
        assert client.get(url, {"since": since}, **HTMX).status_code == 204


def test_plate_numbers_are_unique_in_a_room(busy):
    assert sorted(Plate.objects.values_list("number", flat=True)) == [1, 2]


def test_a_student_cannot_order_what_was_approved_before_there_was_a_room(world, signed_in):
    submission = approved_wheel(world)
    signed_in(world.student).post("/queue/order-missing/")
    assert not PrintRequest.objects.filter(submission=submission).exists()
