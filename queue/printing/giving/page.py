"""What the page of giving a lesson shows beside the answer: what each choice would move."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from django.utils.translation import gettext as _

from lessons.models import KitPart
from lessons.print_settings import in_force
from lessons.trying import answer_with, ask
from printing.giving.forms import GiveForm
from printing.giving.reckon import Ground, Printed, reckon
from printing.giving.values import Reckoning
from printing.planner.ways import WAYS
from printing.sizes_page import way_words

OFFERED = tuple(way for way in WAYS if not way.shared_out)
INFILLS = (0.1, 0.2, 0.4)  # light, usual and stiff (common practice, no source)


OnGround = Callable[[], Ground]  # the room as it is, planned when it is first asked for


@dataclass(frozen=True, slots=True)
class ChoiceRow:
    """One choice and what the room's plan would be with it. ``chance``: the least sure of the classes."""

    name: str
    answer: Reckoning

    @property
    def chance(self) -> float:
        return min(row.chance for row in self.answer.classes)


def choices(on: OnGround, parts: Sequence[KitPart], form: GiveForm) -> list[ChoiceRow]:
    """Other team sizes, and the ways of filling plates, each really planned and played."""
    size = form.cleaned_data["team_size"]
    rows = [
        ChoiceRow(_("teams of %(size)d") % {"size": other}, reckon(on(), parts, form.gifts(other), quick=True))
        for other in (size - 1, size, size + 1)
        if other >= 1
    ]
    rows += [ChoiceRow(way_words(way.code), reckon(on(), parts, form.gifts(), way, quick=True)) for way in OFFERED]
    return rows


def falls(rows: Sequence[InfillRow]) -> bool:
    """Whether somewhere more filling takes less time, with every copy counted."""
    minutes = [row.answer.printer_min for row in rows if row.answer is not None and not row.answer.unplaced]
    return any(after < before for before, after in pairwise(minutes))


@dataclass(frozen=True, slots=True)
class InfillRow:
    """One filling for every part of the kit, and what the room's plan would be with it. Without ``answer`` it is being
    worked out, or ``unknown`` says why nobody can tell."""

    share: float
    answer: Reckoning | None = None
    unknown: str = ""

    @property
    def is_waiting(self) -> bool:
        return self.answer is None and not self.unknown

    @property
    def chance(self) -> float:
        assert self.answer is not None
        return min(row.chance for row in self.answer.classes)


def infills(on: OnGround, parts: Sequence[KitPart], form: GiveForm) -> list[InfillRow]:
    """Other fillings. Grams and minutes of each part are estimated anew from its layers, in the background, and
    remembered; asking begins the work."""
    needed = [part for part in parts if part.archived_at is None and part.is_printable]
    return [_infill(on, parts, needed, share, form) for share in INFILLS] if needed else []


def _infill(
    on: OnGround, parts: Sequence[KitPart], needed: Sequence[KitPart], share: float, form: GiveForm
) -> InfillRow:
    otherwise, waiting = {}, False
    for part in needed:
        try:
            settings = replace(in_force(part), infill_share=share)
        except (ValueError, TypeError):
            continue  # reckon says so
        answer = answer_with(part, settings)
        if answer.state in {"waiting", "not asked"}:
            ask(part, settings)
            waiting = True
        elif answer.mass_g is None or answer.duration_s is None:
            return InfillRow(share, unknown=f"{part}: {answer.why}")
        else:
            otherwise[part.pk] = Printed(settings, answer.mass_g, answer.duration_s)
    if waiting:
        return InfillRow(share)
    return InfillRow(share, reckon(on(), parts, form.gifts(), quick=True, otherwise=otherwise))
