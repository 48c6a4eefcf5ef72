"""A pile of thirty parts, decided at the review desk in a real browser by keys alone: keys pressed, and the seconds the
teacher waits for the site. What is left of four minutes is for looking.

    pytest -m bench tests/bench/pages/test_thirty_parts.py -s
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Request, expect

from tests.browser.conftest import ROOT, Demo, open_desk, start_demo

pytestmark = pytest.mark.bench
PARTS, KEYS_MOST, MINUTES = 30, 60, 4
WAIT_MS = 60_000
# The checked files of the teacher's own classes, handed in again as further versions until so many wait.
FILL = """
import sys, django
django.setup()
from itertools import cycle
from django.db.models import Max
from django.utils import timezone
from makerlab.accounts.queries import demo_person
from submissions.models import Submission
from submissions.queries import review_pile
teacher = demo_person("teacher")
ours = Submission.objects.editable_by(teacher).filter(check_state="checked").exclude(verdict="rejected")
known = list(ours.order_by("pk"))
for one in cycle(known):
    if review_pile(teacher).count() >= int(sys.argv[1]):
        break
    same = Submission.objects.filter(assignment=one.assignment_id, kit_part=one.kit_part_id, team=one.team_id)
    one.version = same.aggregate(newest=Max("version"))["newest"] + 1
    one.pk, one.state, one.handed_in_at, one._state.adding = None, "handed_in", timezone.now(), True
    one.hand_in_note = "The team asks for it." if one.verdict == "must_fix" else ""
    one.save()
print(review_pile(teacher).count())
"""


@pytest.fixture
def full_demo(tmp_path: Path, chromium: str) -> Iterator[Demo]:
    demo = start_demo(tmp_path)
    environment = {
        **os.environ, "MAKERLAB_VAR": str(demo.folder), "DJANGO_SETTINGS_MODULE": "makerlab.settings",
        "MAKERLAB_DEMO": "1", "PYTHONPATH": f"{ROOT}:{ROOT / 'queue'}",
    }  # fmt: skip
    try:
        run = [sys.executable, "-c", FILL, str(PARTS)]
        filled = subprocess.run(run, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True, check=True)
        assert int(filled.stdout) >= PARTS
        yield demo
    finally:
        demo.process.terminate()
        demo.process.wait(60)
        demo.reader.join(5)
        if demo.process.stdout is not None:
            demo.process.stdout.close()


def decide(page: Page) -> int:
    """Approve the part in view, or send it back with the first ready sentence where something must be fixed. Keys
    pressed."""
    if page.locator(".banner.bad").count() == 0:
        page.keyboard.press("a")
        return 1
    page.keyboard.press("r")
    expect(page.locator("form[data-return] textarea")).to_be_focused(timeout=WAIT_MS)
    page.keyboard.press("1")
    page.keyboard.press("Control+Enter")
    return 3


def test_thirty_parts(full_demo: Demo, browser: Browser) -> None:
    desk = open_desk(browser, full_demo, "teacher")
    page, waited_ms, asked = desk.page, 0.0, 0

    def note(request: Request) -> None:
        nonlocal waited_ms, asked
        timing = request.timing
        waited_ms += max(0.0, timing["responseEnd"] - timing["requestStart"])
        asked += 1

    page.goto("/review/")
    page.on("requestfinished", note)
    began, keys, decided = time.perf_counter(), 0, 0
    pile = page.locator(".pile a")
    left = pile.count()
    while decided < PARTS:
        keys += decide(page)
        decided += 1
        expect(pile).to_have_count(left - 1, timeout=WAIT_MS)
        left -= 1
    took_s = time.perf_counter() - began
    print(
        f"\n{decided} parts: {keys} keys, {took_s:.1f} s in all at a machine's speed, {waited_ms / 1000:.1f} s of them "
        f"until answers were there ({asked} requests): {60 * MINUTES - took_s:.0f} s of {MINUTES} minutes to look"
    )
    assert keys <= KEYS_MOST
    assert desk.complaints == []
    page.context.close()
