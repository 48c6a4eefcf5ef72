"""Each caution stands on the page where it bites, with its source and what comes before it. Points and sources after
NIOSH Pub. 2024-103 and poster 2020-115, UL in IAEI Magazine, 16 CFR 1501.4, CLEAPSS; wording ours."""

from __future__ import annotations

import html
import re

import pytest
from django.urls import reverse

from lessons.plans.cautions import all_cautions
from tests.conftest import ROOT
from tests.printing.helpers import make_plate, ordered, started
from tests.world import World

pytestmark = pytest.mark.django_db
FIRST = "Your school's policy, the maker's instructions and local code come first."


@pytest.fixture
def busy(world: World) -> World:
    """One plate printing."""
    world.run = started(world, make_plate(world, ordered(world)))
    return world


def text_of(client, name: str, *args: object) -> str:
    """The page as it is read: without tags, spaces as one."""
    answer = client.get(reverse(name, args=args))
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())))


def holds(page: str, *words: str) -> None:
    for word in (*words, FIRST):
        assert word in page, word


def test_before_a_start(world: World, signed_in):
    plate = make_plate(world)
    holds(
        text_of(signed_in(world.technician), "printing:plate-detail", plate.pk),
        "Hands, hair and cords out of the moving frame.", "Fan or enclosure on, seats away from running printers.",
        "Use only the spool on the label.", "A named adult is on duty while it prints.", "asthma",
        "Illinois State University", "IAEI Magazine", "NIOSH poster 2020-115", "Rochester", "CLEAPSS",
    )  # fmt: skip


def test_before_removal_and_after_a_failure(busy, signed_in):
    page = text_of(signed_in(busy.technician), "printing:run-detail", busy.run.pk)
    holds(
        page,
        "Nozzle and bed burn: wait until the printer shows they are cool.", "Push the scraper away from your hand",
        "hold the plate, not the part", "For PLA the bed is commonly set to 20 to 60 °C.", "the bed should be cool at",
        "Glasses on when you snap off supports.", "AIHA", "common practice, no source",
    )  # fmt: skip
    holds(page, "Stay away until the air has cleared and the printer has cooled.", "NIOSH poster 2020-115")
    assert page.count(FIRST) >= 2, "each of the two has the line"


@pytest.mark.parametrize(("page", "verb", "words"), [("plate", "start", "Before you start."), ("run", "clear", "cool")])
def test_they_stand_before_the_button_not_after_it(world: World, signed_in, page: str, verb: str, words: str):
    plate = make_plate(world, ordered(world))
    of = plate if page == "plate" else started(world, plate)
    text = signed_in(world.technician).get(reverse(f"printing:{page}-detail", args=[of.pk])).content.decode()
    form = text.index(f'action="{reverse(f"printing:{page}-{verb}", args=[of.pk])}"')
    cautions = text.rindex('<div class="banner care">', 0, form)
    assert words in text[cautions:form]
    assert FIRST.replace("'", "&#x27;") in text[cautions:form] or FIRST in text[cautions:form]


def test_every_page_with_a_start_or_a_clearing_has_its_cautions():
    """A new page that starts or clears needs them, too."""
    pages = [path.read_text("utf-8") for path in ROOT.glob("*/**/templates/**/*.html")]
    wanted = {"printing:plate-start": 'moment="start"', "printing:run-clear": 'moment="clear"'}
    for name, moment in wanted.items():
        having = [page for page in pages if f"action=\"{{% url '{name}'" in page]
        assert having, name
        assert all(moment in page for page in having), name


def test_at_the_bench(busy, signed_in):
    holds(text_of(signed_in(busy.technician), "printing:bench"), "Nozzle and bed burn", "NIOSH poster 2020-115")


def test_materials_by_what_one_breathes_in(world: World, signed_in):
    page = text_of(signed_in(world.technician), "printing:spool-list")
    holds(
        page, "Least from PLA, then about PETG, then TPU, most from ABS and ASA; it varies much by brand",
        "in an enclosure or by an exhaust", "NIOSH 2024-103", "doi 10.1007/s11356-024-33257-2", "from few studies",
        "six air changes an hour", "ANSI/CAN/UL 2904 is about emissions, not about fire or electricity",
    )  # fmt: skip


def test_with_nobody_there_it_is_off_and_wants_the_written_policy(world: World, signed_in):
    assert not world.room.unattended_allowed
    assert not any(printer.may_run_unattended for printer in world.printers)
    page = text_of(signed_in(world.administrator), "printing:room-edit", world.room.pk)
    holds(page, "Off unless your school permits it in writing.", "not recommended to leave a printer alone", "IAEI")


def test_small_parts_are_a_caution_of_every_plan():
    """On which pages: tests/lessons/lab/test_cautions.py."""
    (row,) = [row for row in all_cautions({}, has_kit=False) if "film canister" in row["text"]]
    assert row["source"] == "16 CFR 1501.4 (small parts)"
