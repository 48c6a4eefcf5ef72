"""Filament has one name on every page, in the reader's language and order."""

from __future__ import annotations

import pytest
from django.utils import translation

from makerlab.components.filament import COLOURS, filament, filament_of
from printing.models import Plate, Spool


@pytest.mark.parametrize(
    ("language", "colour", "expected"),
    [
        ("en", "white", "white PLA"),
        ("en", "White ", "white PLA"),
        ("es", "white", "PLA blanco"),
        ("es", "Grey", "PLA gris"),
        ("es", "moss & mud", "PLA moss & mud"),
    ],
)
def test_one_name(language: str, colour: str, expected: str):
    with translation.override(language):
        assert filament(colour, "PLA") == expected
        spool, plate = Spool(colour=colour, material="PLA"), Plate(colour=colour, material="PLA")
        assert str(spool) == filament_of(plate) == filament_of({"colour": colour, "material": "PLA"}) == expected


def test_every_colour_we_know_has_a_spanish_name():
    with translation.override("es"):
        same = {colour for colour, words in COLOURS.items() if str(words) == colour}
    assert same == {"natural"}
