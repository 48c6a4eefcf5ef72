"""The style guide shows every shared part: each template in parts/, each inclusion tag and each mark."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from makerlab.styleguide import printer_cards
from makerlab.templatetags.parts import register
from tests.browser.conftest import ROOT

pytestmark = pytest.mark.django_db
PARTS = ROOT / "makerlab" / "templates" / "parts"
SOURCES = [ROOT / name for name in ("makerlab", "lessons", "queue/submissions", "queue/printing")]
# Sections of a page that act on the rows they show: an example of one would do something real.
ACT_ON_ROWS = {
    "printing/plate_pin.html", "printing/plate_by_hand.html", "printing/plate_sizes.html",
    "printing/plan_changes.html", "printing/extra_hours.html", "printing/plate_inside.html",
    "printing/plate_settings.html", "printing/plate_prepared.html", "printing/room_switch.html",
}  # fmt: skip


def inclusion_tags() -> set[str]:
    files = [path for folder in SOURCES for path in folder.rglob("templatetags/*.py")]
    return {name for path in files for name in re.findall(r'inclusion_tag\(\s*"([^"]+)"', path.read_text())}


@pytest.fixture
def shown(world, signed_in):
    response = signed_in(world.teacher).get("/styleguide/")
    assert response.status_code == 200
    return response


def test_every_part_and_inclusion_tag_is_shown(shown):
    drawn = {template.name for template in shown.templates}
    parts = {f"parts/{path.name}" for path in Path(PARTS).glob("*.html")}
    assert len(parts) > 10
    assert parts - drawn == set()
    assert inclusion_tags() - drawn == ACT_ON_ROWS, "an inclusion tag is not shown, or an exception is idle"


def test_every_simple_tag_of_the_parts_is_used(shown):
    """By name, in the style guide's own templates or in a part they show."""
    guide = "".join(path.read_text() for path in (PARTS.parent / "styleguide").glob("*.html"))
    drawn = guide + "".join(path.read_text() for path in PARTS.glob("*.html"))
    unused = {name for name in register.tags if not re.search(rf"{{% {name}\b", drawn)}
    assert unused == set()


def test_nothing_can_be_done_from_the_style_guide(shown):
    """Its examples post nowhere but to the page itself; what stands about them, signing out and the language, may."""
    body = shown.content.decode().split("<main", 1)[1].split("</main>")[0]
    assert {action for action in re.findall(r'<form[^>]*action="([^"]*)"', body) if action} == set()
    assert all(not card.outage for card in printer_cards(1))
