"""Looking inside a plate: every copy where it stands, by slider, link or plain page, counted as the estimate counts."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from lessons.actions.print_settings import set_print_settings
from makerlab.work.models import Job
from printing.models import Plate
from printing.plate_layers import layer_of_plate
from tests.printing.helpers import make_plate, ordered, ordered_mesh, plan_now, with_meshes
from tests.submissions.make import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plate(world) -> Plate:
    """A planned plate of four real wheels."""
    with_meshes(world)
    ordered_mesh(world)
    plan_now()
    return Plate.objects.filter(copies__request__kit_part=world.wheel).distinct().get()


@pytest.fixture
def technician(world, signed_in):
    return signed_in(world.technician)


def address(plate, layer=None):
    return reverse("printing:plate-layers", args=[plate.pk]) + ("" if layer is None else f"?layer={layer}")


def test_a_layer_of_the_plate_with_all_its_copies(plate, technician):
    text = text_of(technician.get(address(plate, 12)))
    assert "Layer 12 of" in text
    assert re.findall(r'class="tag"[^>]*>(\d)<', text) == ["1", "2", "3", "4"]
    assert "outer wall" in text
    assert "not the printer&#x27;s own" in text or "not the printer's own" in text
    assert f'href="{address(plate, 1)}"' in text  # the first layer is one click away
    assert 'type="range"' in text
    assert "arrow keys" in text


def test_the_slider_gets_a_fragment(plate, technician):
    text = text_of(technician.get(address(plate, 3), headers={"HX-Request": "true"}))
    assert "<html" not in text
    assert 'id="layer-picture"' in text


def test_layers_add_up_to_the_grams_of_the_plate(plate):
    first = layer_of_plate(plate, 0)
    grams = sum(layer_of_plate(plate, layer)["mass_g"] for layer in range(first["layers"]))
    assert grams == pytest.approx(plate.mass_g, rel=2e-3)  # support is counted by volume where it is not drawn


def test_the_plates_own_settings_are_drawn(plate, world):
    hollow = layer_of_plate(plate, 12)
    Plate.objects.filter(pk=plate.pk).update(settings={**plate.settings, "infill_share": 1.0})
    plate.refresh_from_db()
    assert layer_of_plate(plate, 12)["mass_g"] > 1.1 * hollow["mass_g"]


@pytest.mark.parametrize("asked", ["0", "-1", "x", "99999", "9" * 50, "²", ""])
def test_odd_numbers_give_some_layer(plate, technician, asked):
    answer = technician.get(reverse("printing:plate-layers", args=[plate.pk]), {"layer": asked})
    assert answer.status_code == 200
    assert "Layer" in text_of(answer)


def test_a_missing_file_is_told(world, technician):
    plate = make_plate(world, ordered(world))  # figures only, nothing stored
    text = text_of(technician.get(address(plate)))
    assert "cannot be drawn now" in text or "not measured" in text


def test_looking_changes_nothing_and_students_do_not_find_it(plate, signed_in, world):
    before = Job.objects.count()
    assert signed_in(world.teacher).get(address(plate)).status_code == 200
    assert Job.objects.count() == before
    assert signed_in(world.student).get(address(plate)).status_code == 404
    assert signed_in(world.other_technician).get(address(plate)).status_code == 404


def test_the_plates_page_says_how_it_is_printed(plate, technician, world):
    page = reverse("printing:plate-detail", args=[plate.pk])
    text = text_of(technician.get(page))
    assert "How it is printed" in text
    assert "Look inside" in text
    assert address(plate) in text
    assert "printed otherwise by now" not in text
    Plate.objects.filter(pk=plate.pk).update(held=True)
    set_print_settings(world.teacher, world.wheel, world.assignment, {"infill_share": 1.0})
    assert "printed otherwise by now" in text_of(technician.get(page))
