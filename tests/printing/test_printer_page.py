"""A printer's page, the spools' answers and what the bench says of them."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django.urls import reverse

from planning.spools import Lasts
from printing import actions
from printing.learning import learn
from printing.models import EmptySpool, Spool
from printing.outlook import will_it_last
from printing.states import NotAllowedNow
from tests.printing.helpers import ALL_CHECKED, make_plate
from tests.printing.test_learning import add_run

pytestmark = pytest.mark.django_db


def page(world, signed_in, who="technician", **query) -> str:
    url = reverse("printing:printer-detail", args=[world.printers[0].pk])
    return " ".join(signed_in(getattr(world, who)).get(url, query).content.decode().split())


def test_without_runs_it_says_that_nobody_knows(world, signed_in):
    text = page(world, signed_in)
    assert "No run is on record whose end somebody saw" in text
    assert "Nothing was weighed yet" in text
    assert "time-plot" not in text


def test_the_plot_has_every_run_and_a_table_beside_it(world, signed_in):
    runs = [add_run(world, 130 + k, weighed_g=41.0 + k) for k in range(8)]
    aside = add_run(world, 900)
    text = page(world, signed_in)
    plot = text[text.index('aria-labelledby="time-plot-title') : text.index("grams-plot")]
    assert "estimate, h" in plot
    assert "actual, h" in plot
    assert plot.count("estimated 2") == len(runs) + 1  # the words of each point
    assert "as estimated" in plot
    assert "nine of ten runs" in plot
    assert text.count("set aside</span>") == 1
    for run in (*runs, aside):
        assert f'href="{reverse("printing:run-detail", args=[run.pk])}"' in text
    assert "weighed, g" in text
    assert "It goes on as it did" in text


def test_a_drift_is_told_with_its_run(world, signed_in):
    for _ in range(20):
        add_run(world, 125)
    for _ in range(8):
        add_run(world, 160)
    text = page(world, signed_in)
    assert "It has changed" in text
    assert re.search(r"about (2[0-9]|3[0-9]) % longer", text)


def test_another_printer_of_the_kind_says_where_it_learned(world, signed_in):
    for _ in range(5):
        add_run(world, 150, printer=1)
    assert "It has no such run of its own" in page(world, signed_in)


def test_failures_by_reason_and_hours_since(world, signed_in):
    plate = make_plate(world)
    run = actions.start_plate(plate, world.printers[0], world.technician, ALL_CHECKED)
    actions.mark_failed(run, world.technician, "jam")
    text = page(world, signed_in)
    assert "Jam or too little plastic" in text
    assert "printed since the last one" in text


def test_materials_stand_apart(world, signed_in):
    add_run(world, 130)
    add_run(world, 200, material="PETG")
    text = page(world, signed_in, material="PETG")
    assert "3 h 20" in text
    assert 'aria-current="page">PETG' in text
    assert "time-plot" in page(world, signed_in, material="nonsense")  # the usual one


# ---- spools


@pytest.mark.parametrize(
    ("left_g", "weighed", "lasts"),
    [
        (300, True, Lasts.YES),
        (52, True, Lasts.PROBABLY),
        (40, True, Lasts.NO),
        (95, False, Lasts.PROBABLY),
        (95, True, Lasts.YES),
    ],
)
def test_will_it_last_by_what_is_known_of_the_spool(world, left_g, weighed, lasts):
    """44 g and 5 g that stay in the feeder; a spool that nobody weighed is known to a tenth of what was printed."""
    plate, spool = make_plate(world), Spool.objects.get(printer=world.printers[0])
    spool.grams_left, spool.weighed_at = left_g, plate.created_at if weighed else None
    assert will_it_last(plate, world.printers[0], spool, learn(world.room.pk)).lasts is lasts


def test_plates_before_it_are_reckoned_with(world):
    plate, spool = make_plate(world), Spool.objects.get(printer=world.printers[0])
    spool.grams_left, spool.weighed_at = 120, plate.created_at
    found = [
        will_it_last(plate, world.printers[0], spool, learn(world.room.pk), taken).lasts for taken in (0.0, 44.0, 88.0)
    ]
    assert found == [Lasts.YES, Lasts.YES, Lasts.NO]


def test_a_short_spool_is_the_technicians_decision(world, signed_in):
    plate = make_plate(world)
    Spool.objects.filter(printer=world.printers[0]).update(grams_left=30)
    url = reverse("printing:plate-start", args=[plate.pk])
    ticked = dict.fromkeys(("right_spool", "bed_clear", "file_loaded", "staying"), "on")
    client = signed_in(world.technician)
    refused = client.post(url, {"printer": world.printers[0].pk, **ticked})
    assert refused.status_code == 422
    assert b"stand by to change it" in refused.content
    assert b"does not last" in refused.content
    started = client.post(url, {"printer": world.printers[0].pk, **ticked, "short_spool": "on"})
    assert started.status_code == 302
    plate.refresh_from_db()
    assert plate.state == "printing"


def test_the_bench_says_whether_it_lasts(world, signed_in):
    plate = make_plate(world)
    plate.setup_at = plate.created_at
    plate.save()
    text = signed_in(world.technician).get(reverse("printing:bench")).content.decode()
    assert "The loaded spool holds 600\u00a0g: lasts, about 551\u00a0g to spare." in text


def test_an_empty_spool_is_weighed_once_for_all_of_its_kind(world, signed_in):
    Spool.objects.update(maker="Big reel", tare_g=None)
    client = signed_in(world.technician)
    client.post(
        reverse("printing:spool-weigh-empty"),
        {"empty-maker": " big  reel ", "empty-grams_full": "750", "empty-tare_g": "187"},
    )
    assert set(Spool.objects.values_list("tare_g", flat=True)) == {187.0}
    assert EmptySpool.objects.get().maker == "big reel"
    client.post(
        reverse("printing:spool-create"),
        {"new-material": "PLA", "new-colour": "red", "new-grams_full": "750", "new-maker": "Big reel"},
    )
    assert Spool.objects.get(colour="red").tare_g == 187


def test_without_a_tare_nothing_is_made_up(world):
    spool = Spool.objects.get(printer=world.printers[0])
    Spool.objects.filter(pk=spool.pk).update(tare_g=None)
    with pytest.raises(NotAllowedNow, match="Nobody knows yet what the empty spool weighs"):
        actions.weigh_spool(spool, 500, world.technician)


def test_a_spool_is_described(world, signed_in):
    spool = Spool.objects.get(printer=world.printers[0])
    url = reverse("printing:spool-describe", args=[spool.pk])
    client, named = signed_in(world.technician), {f"d{spool.pk}-maker": "Reel", f"d{spool.pk}-tare_g": "201"}
    assert client.post(url, named | {f"d{spool.pk}-price_per_kg": "-1"}).status_code == 422
    client.post(url, named | {f"d{spool.pk}-price_per_kg": "19.90"})
    spool.refresh_from_db()
    assert (spool.maker, spool.tare_g, spool.price_per_kg) == ("Reel", 201, Decimal("19.90"))
    assert signed_in(world.teacher).post(url, named).status_code == 404
