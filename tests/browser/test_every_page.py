"""Every page of the demo, for every role: it is light and asks the database little. ``walk.py`` opens them.

A page may weigh 150 kB, nothing compressed, all its style sheets, modules and pictures counted, but not its mesh, and
ask 8 times. Whoever needs more stands below with a limit and the reason; a limit that is no longer needed fails too.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import ROOT

pytestmark = [pytest.mark.browser, pytest.mark.slow]
BYTES_MOST, QUERIES_MOST = 150_000, 8
IDLE = 0.95  # an exception is kept while a page is this near to the usual limit: pictures and the day's plan differ
PAGES_LEAST, ADDRESSES_LEAST = 300, 65

STATES_OF_STEPS = {"now", "next"}  # other parts, elsewhere, have rules for these words
LAYER = "the path of a whole layer is drawn, as SVG"
HEAVIER = {
    "lessons:plan-detail": (180_000, "a whole lesson with its cautions, steps, sources and rubric"),
    "printing:plate-layers": (230_000, LAYER),
    "submissions:submission-layers": (185_000, LAYER),
    "styleguide": (250_000, "shows every component in every state, by day and by night"),
    "lessons:experiment-edit": (152_000, "every field of an experiment, with its help beside it"),
    "printing:plate-arrange": (185_000, "the outlines of all copies are drawn to be moved"),
    "printing:spool-list": (160_000, "three forms for each spool, so that each works without script"),
    "printing:room-plan": (185_000, "the timetable of the room is drawn, with its table beneath"),
    "submissions:review-desk": (162_000, "the pile with its pictures, the part and all that is needed to decide"),
}
# as heavy as the plan of the hour has filled a plate or a day: on some days none needs its exception
OF_THE_PLAN = {"printing:plate-layers", "printing:plate-arrange", "printing:room-plan"}


def most(pages: list[dict[str, Any]], what: str) -> dict[str, dict[str, Any]]:
    """For each address the page with the most of it."""
    found: dict[str, dict[str, Any]] = {}
    for page in pages:
        if page["name"] not in found or page[what] > found[page["name"]][what]:
            found[page["name"]] = page
    return found


def test_the_walk_meets_every_role_and_most_addresses(pages):
    roles = {"nobody", "student", "teacher", "technician", "administrator", "district"}
    assert {page["role"] for page in pages} == roles
    assert len(pages) >= PAGES_LEAST
    assert len({page["name"] for page in pages}) >= ADDRESSES_LEAST


@pytest.mark.parametrize(
    ("what", "usual", "exceptions"),
    [("bytes", BYTES_MOST, HEAVIER), ("queries", QUERIES_MOST, {})],
    ids=["weight", "queries"],
)
def test_pages_stay_within_their_limits(pages, what: str, usual: int, exceptions: dict[str, tuple[int, str]]):
    worst = most(pages, what)
    over = {
        name: (page[what], page["role"], page["path"], page["asked"] if what == "queries" else page["html_bytes"])
        for name, page in worst.items()
        if page[what] > exceptions.get(name, (usual, ""))[0]
    }
    assert over == {}
    needed = exceptions.keys() - OF_THE_PLAN
    idle = {name: worst[name][what] for name in needed if worst[name][what] <= IDLE * usual}
    assert idle == {}, "these need their exception no longer"


def test_every_page_names_the_style_sheets_of_what_it_shows(pages):
    """A part whose rules stand in a sheet the page does not fetch is shown bare."""
    bare = {(page["name"], one) for page in pages for one in page["unstyled"] if one not in STATES_OF_STEPS}
    assert bare == set()


def test_the_3d_view_itself_is_small():
    """Its modules come with the mesh, when somebody sees the stage."""
    viewer = ROOT / "makerlab" / "static" / "makerlab" / "viewer"
    assert sum(path.stat().st_size for path in Path(viewer).glob("*.js")) <= 46_000
