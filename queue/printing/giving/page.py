"""What the page of giving a lesson shows beside the answer: what each choice would move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from lessons.models import KitPart
from printing.giving.forms import GiveForm
from printing.giving.reckon import reckon
from printing.giving.values import Reckoning
from printing.models import Room
from printing.planner.layout import WAYS
from printing.sizes_page import way_words

OFFERED = tuple(way for way in WAYS if not way.shared_out)


@dataclass(frozen=True, slots=True)
class ChoiceRow:
    """One choice and what the room's plan would be with it. ``chance``: the least sure of the classes."""

    name: str
    answer: Reckoning

    @property
    def chance(self) -> float:
        return min(row.chance for row in self.answer.classes)


def choices(room: Room, parts: Sequence[KitPart], form: GiveForm, now: datetime) -> list[ChoiceRow]:
    """Other team sizes, and the ways of filling plates, each really planned and played."""
    size = form.cleaned_data["team_size"]
    rows = [
        ChoiceRow(_("teams of %(size)d") % {"size": other}, reckon(room, parts, form.gifts(other), now, quick=True))
        for other in (size - 1, size, size + 1)
        if other >= 1
    ]
    rows += [ChoiceRow(way_words(way.code), reckon(room, parts, form.gifts(), now, way, quick=True)) for way in OFFERED]
    return rows
