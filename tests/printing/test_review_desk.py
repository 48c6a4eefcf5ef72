"""The pile narrowed by filters, approvals taken back, the kit part beside, and thirty parts decided in one sitting."""

from __future__ import annotations

import re
import time
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape

from lessons.models import Team
from printing.models import Plate, PrintCopy, PrintRequest
from submissions.models import Review, Submission
from submissions.states import State
from tests.printing.helpers import make_plate, started
from tests.submissions.make import ADVICE, MUST_FIX, make_submission, report, text_of
from tests.world import make_class

pytestmark = pytest.mark.django_db
DECIDE_S = 4 * 60  # thirty parts in under four minutes
KEY_S = 0.28  # to press a key one knows: keystroke-level model, Card, Moran and Newell 1980, average typist
LOOK_S = 5.0  # for one part to be looked at before a key is pressed; our own choice, no source


@pytest.fixture
def teacher(world, signed_in):
    return signed_in(world.teacher)


def waiting(world, **values) -> Submission:
    return make_submission(world, **{"state": State.HANDED_IN, **values})


def desk(pk: int, verb: str = "desk") -> str:
    return reverse(f"submissions:review-{verb}", args=[pk])


@pytest.fixture
def three(world) -> dict[str, Submission]:
    """One that passes, one with advice, one to be fixed, of three teams."""
    other = Team.objects.create(school_class=world.school_class, number=9, name="Newts", tray=9)
    return {
        "ok": waiting(world),
        "advice": waiting(world, team=world.second_team, verdict="advice"),
        "must_fix": waiting(world, team=other, verdict="must_fix"),
    }


def test_the_pile_is_narrowed_to_a_finding_and_stays_so(world, teacher, three):
    address = f"/review/?finding={MUST_FIX['code']}"
    at = teacher.get(address)
    assert at.url == f"{desk(three['must_fix'].pk)}?finding={MUST_FIX['code']}"
    text = text_of(teacher.get(at.url))
    assert "1 of 1" in re.sub(r"<[^>]+>", "", text)
    assert desk(three["ok"].pk) not in text
    assert f"{MUST_FIX['title']} (1)" in text
    both = text_of(teacher.get(f"/review/?finding={ADVICE['code']}", follow=True))
    assert desk(three["advice"].pk) in both
    assert desk(three["must_fix"].pk) in both
    onward = teacher.post(f"{desk(three['advice'].pk, 'approve')}?finding={ADVICE['code']}")
    assert onward.url == f"{desk(three['must_fix'].pk)}?finding={ADVICE['code']}"


def test_the_pile_is_narrowed_to_a_class_and_a_part(world, signed_in, three):
    far = make_class(world.school, "8Z", world.teacher)
    client = signed_in(world.teacher)
    assert client.get(f"/review/?class={far.pk}").status_code == 200  # nothing of that class waits; it says so calmly
    assert "Show all" in text_of(client.get(f"/review/?class={far.pk}"))
    assert client.get(f"/review/?class={world.school_class.pk}&part={world.wheel.code}").status_code == 302
    assert client.get("/review/?class=x&part=<b>&finding=;").status_code == 200


def test_all_that_pass_among_the_shown_are_approved_and_all_taken_back(world, teacher, three):
    address = reverse("submissions:review-approve-passing")
    teacher.post(address, {"seen": [part.pk for part in three.values()]})
    three["ok"].refresh_from_db()
    assert three["ok"].state == State.APPROVED
    assert PrintRequest.objects.filter(submission=three["ok"]).exists()
    desk_text = text_of(teacher.get("/review/", follow=True))
    assert "Take back the approval" in desk_text
    back = teacher.post(reverse("submissions:review-undo"))
    assert back.url == desk(three["ok"].pk)
    three["ok"].refresh_from_db()
    assert three["ok"].state == State.HANDED_IN
    assert not PrintRequest.objects.exists()
    assert not Review.objects.filter(submission=three["ok"]).exists()
    assert "Take back" not in text_of(teacher.get("/review/", follow=True))  # once
    teacher.post(desk(three["ok"].pk, "approve"))  # and it can be approved again, with all that is ordered by it
    assert PrintRequest.objects.filter(submission=three["ok"], copies__state="waiting").exists()


def test_what_another_approved_part_wants_stays_ordered(world, teacher, three):
    teacher.post(desk(three["advice"].pk, "approve"))
    before = set(PrintRequest.objects.values_list("pk", flat=True))
    teacher.post(desk(three["ok"].pk, "approve"))
    assert set(PrintRequest.objects.values_list("pk", flat=True)) > before
    teacher.post(reverse("submissions:review-undo"))
    assert set(PrintRequest.objects.values_list("pk", flat=True)) == before


def test_what_is_at_a_printer_is_not_taken_back(world, teacher, three):
    teacher.post(desk(three["ok"].pk, "approve"))
    request = PrintRequest.objects.get(submission=three["ok"])
    started(world, make_plate(world, request, number=1))
    said = text_of(teacher.post(reverse("submissions:review-undo"), follow=True))
    assert "at the printers already" in said
    three["ok"].refresh_from_db()
    assert three["ok"].state == State.APPROVED
    assert PrintCopy.objects.filter(request=request, state="printing").exists()
    assert Plate.objects.get(number=1).state == "printing"


def test_ten_minutes_later_it_is_too_late(world, teacher, three):
    teacher.post(desk(three["ok"].pk, "approve"))
    Review.objects.filter(submission=three["ok"]).update(at=timezone.now() - timedelta(minutes=11))
    said = text_of(teacher.post(reverse("submissions:review-undo"), follow=True))
    assert "more than ten minutes ago" in said
    three["ok"].refresh_from_db()
    assert three["ok"].state == State.APPROVED


def test_only_who_approved_takes_it_back(world, teacher, signed_in, three):
    teacher.post(desk(three["ok"].pk, "approve"))
    signed_in(world.administrator).post(reverse("submissions:review-undo"))  # whose own session holds nothing
    three["ok"].refresh_from_db()
    assert three["ok"].state == State.APPROVED
    assert signed_in(world.student).post(reverse("submissions:review-undo")).status_code == 404


def test_the_part_stands_beside_the_kits_own(world, teacher):
    kit = {**report("ok"), "mass_g": 12.0}
    type(world.wheel).objects.filter(pk=world.wheel.pk).update(report=kit, mass_g=12.0, check_state="checked")
    part = waiting(world, mass_g=9.0)
    text = text_of(teacher.get(desk(part.pk)))
    assert "Compare with the starting part" in text
    assert "3.0 g lighter" in text


def test_thirty_parts_in_under_four_minutes(world, teacher):
    """The keys of the desk pressed one after the other: all that pass at once, advice approved one by one, what must
    be fixed sent back with its ready sentence. Seconds of the server are measured; hands and eyes are reckoned."""
    verdicts = ["ok"] * 16 + ["advice"] * 8 + ["must_fix"] * 6
    for place, verdict in enumerate(verdicts):
        team = Team.objects.create(school_class=world.school_class, number=20 + place, name=f"Team {place}", tray=place)
        waiting(world, team=team, verdict=verdict, sha256=f"{place:064d}")
    keys, looks, began = 0, 0, time.perf_counter()
    page = teacher.get("/review/", follow=True)

    def press(key: str, fields: dict[str, object]) -> None:
        """What the form behind a key sends; the page must offer that key."""
        nonlocal page
        html = page.content.decode()
        form = re.search(rf'<form[^>]*action="([^"]+)"[^>]*data-key="{key}"', html)
        assert form, key
        page = teacher.post(form[1], fields, follow=True)

    passing = [int(pk) for pk in re.findall(r'name="seen" value="(\d+)"', page.content.decode())]
    assert len(passing) == 16
    press("p", {"seen": passing})
    keys, looks = keys + 1, looks + 1 + len(passing)  # each of them is still seen in the pile
    while Submission.objects.filter(state=State.HANDED_IN).exists():
        looks += 1
        submission = page.context["submission"]
        if submission.verdict == "advice":
            press("a", {})
            keys += 1
            continue
        html = page.content.decode()
        assert 'data-key="r"' in html
        form = re.search(r'<form[^>]*action="([^"]+)"[^>]*data-return', html)
        assert form, "R opens no form"
        seen = re.search(r'name="seen" value="(\w+)"', html[form.start() :])
        sentence = page.context["form"].ready[0]  # what the key 1 puts in the note
        assert MUST_FIX["title"] in sentence
        assert escape(sentence) in html
        page = teacher.post(form[1], {"note": sentence, "seen": seen[1] if seen else ""}, follow=True)
        keys += 4  # R, 1, Ctrl and Enter
    server_s = time.perf_counter() - began
    states = list(Submission.objects.values_list("state", flat=True))
    assert (states.count(State.APPROVED), states.count(State.RETURNED)) == (24, 6)
    assert MUST_FIX["title"] in Review.objects.filter(decision="returned").first().note
    assert keys <= 40
    sitting_s = server_s + keys * KEY_S + looks * LOOK_S
    print(f"30 parts: {keys} keys, {server_s:.1f} s of the server, {sitting_s:.0f} s with hands and eyes")
    assert sitting_s < DECIDE_S
