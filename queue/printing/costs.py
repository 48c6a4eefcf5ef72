"""What filament has cost: by part, team and class, good copies and lost ones apart.

A run's grams are shared among its copies as their own estimates are, support and raft included; its price is that of
the spool it was taken from. Grams without a price on record are counted and told, never priced.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db.models import Avg
from django.utils.translation import gettext as _

from lessons.models import Assignment
from planning.spools import cost, rounded, rounded_shares
from printing.models import PrintCopy, RunCopy, Spool
from printing.states import CopyState
from submissions.models import Submission

SUBMISSION, KIT_PART = "copy__request__submission", "copy__request__kit_part"
KIND, COLOUR = f"{KIT_PART}__material", f"{KIT_PART}__colour"
OWN = tuple(
    f"{source}__{name}"
    for source in (SUBMISSION, KIT_PART)
    for name in ("mass_g", "copies_in_file", "report__support_g", "report__raft_brim_g")
)
FIELDS = (
    "run_id", "good", "run__used_g", "run__estimate_g", "run__price_per_kg", "copy__request__assignment_id",
    "copy__request__team_id", "copy__request__team__number", "copy__request__team__name", KIT_PART, f"{KIT_PART}__name",
    SUBMISSION, *OWN,
)  # fmt: skip


@dataclass
class Sum:
    """Grams, what the priced ones of them cost, copies, and grams without a price."""

    grams: float = 0.0
    cost: Decimal = Decimal(0)
    copies: int = 0
    unpriced_g: float = 0.0

    def add(self, grams: float, price: Decimal | None) -> None:
        self.grams += grams
        self.copies += 1
        if price is None:
            self.unpriced_g += grams
        else:
            self.cost += cost(grams, price)


@dataclass
class Line:
    """A row of a table: what became good, and what was lost."""

    name: str
    good: Sum = field(default_factory=Sum)
    lost: Sum = field(default_factory=Sum)
    good_cost: Decimal = Decimal(0)  # in hundredths, so that the rows add up to the whole
    lost_cost: Decimal = Decimal(0)

    def add(self, good: bool, grams: float, price: Decimal | None) -> None:
        (self.good if good else self.lost).add(grams, price)


@dataclass(frozen=True)
class ToCome:
    """Copies that are not printed yet: grams and cost by the estimates, at today's prices. ``cost`` None: no price."""

    copies: int
    grams: float
    cost: Decimal | None


@dataclass(frozen=True)
class Costs:
    """One assignment: the whole, by team (spares last) and by part."""

    assignment: Assignment
    whole: Line
    teams: Sequence[Line]
    parts: Sequence[Line]
    to_come: ToCome

    @property
    def unpriced_g(self) -> float:
        return self.whole.good.unpriced_g + self.whole.lost.unpriced_g


def costs_of(assignment: Assignment) -> Costs:
    """What the assignment's copies have cost so far, and what is still to come."""
    whole = Line(_("all"))
    teams: dict[tuple[bool, int], Line] = {}
    parts: dict[int, Line] = {}
    for row, grams in shared(rows_of([assignment.pk])):
        if row["copy__request__assignment_id"] != assignment.pk:
            continue
        number = row["copy__request__team__number"]
        name = f"{number} {row['copy__request__team__name']}" if number is not None else _("spares")
        team = teams.setdefault((number is None, number or 0), Line(name))
        part = parts.setdefault(row[KIT_PART], Line(row[f"{KIT_PART}__name"]))
        for line in (whole, team, part):
            line.add(row["good"], grams, row["run__price_per_kg"])
    by_team = [teams[key] for key in sorted(teams)]
    by_part = sorted(parts.values(), key=lambda line: -line.good.grams - line.lost.grams)
    for lines in ([whole], by_team, by_part):
        _round(lines)
    return Costs(assignment, whole, by_team, by_part, to_come(assignment))


def totals(assignments: Sequence[Assignment]) -> list[tuple[Assignment, Line]]:
    """The whole of each assignment, in the order given."""
    lines = {assignment.pk: Line(str(assignment)) for assignment in assignments}
    for row, grams in shared(rows_of(list(lines))):
        line = lines.get(row["copy__request__assignment_id"])
        if line is not None:
            line.add(row["good"], grams, row["run__price_per_kg"])
    for line in lines.values():
        _round([line])
    return [(assignment, lines[assignment.pk]) for assignment in assignments]


def rows_of(assignment_ids: Sequence[int]) -> list[dict[str, Any]]:
    """All copies of the runs in which a copy of these assignments was printed."""
    runs = RunCopy.objects.filter(copy__request__assignment__in=assignment_ids).values_list("run", flat=True)
    found = list(runs.order_by().distinct())  # asked apart: in one question PostgreSQL reads the copies of all schools
    return list(RunCopy.objects.filter(run__in=found).order_by("run", "copy").values(*FIELDS))


def shared(rows: Iterable[Mapping[str, Any]]) -> list[tuple[Mapping[str, Any], float]]:
    """Each row with its share of its run's grams. Rows of a run stand together."""
    by_run: dict[int, list[Mapping[str, Any]]] = defaultdict(list)
    for row in rows:
        by_run[row["run_id"]].append(row)
    found = []
    for of_run in by_run.values():
        used = of_run[0]["run__used_g"]
        used = of_run[0]["run__estimate_g"] if used is None else used
        weights = [own_g(row) for row in of_run]
        whole = sum(weights)
        for row, weight in zip(of_run, weights, strict=True):
            found.append((row, used * weight / whole if whole else used / len(of_run)))
    return found


def own_g(row: Mapping[str, Any]) -> float:
    """What one copy takes by its own estimate, support and raft included."""
    source = SUBMISSION if row[SUBMISSION] else KIT_PART
    names = ("mass_g", "report__support_g", "report__raft_brim_g")
    return sum(float(row[f"{source}__{name}"] or 0.0) for name in names)


def to_come(assignment: Assignment) -> ToCome:
    """What the copies that wait or print will take."""
    waiting = [CopyState.WAITING, CopyState.PLANNED, CopyState.PRINTING]
    names = [name.removeprefix("copy__") for name in (SUBMISSION, KIND, COLOUR, *OWN)]
    copies = PrintCopy.objects.filter(request__assignment=assignment, state__in=waiting).values(*names)
    prices: dict[tuple[str, str], Decimal | None] = {}
    whole = Sum()
    for each in copies:
        row = {f"copy__{name}": value for name, value in each.items()}
        kind = (row[KIND], row[COLOUR])
        if kind not in prices:
            prices[kind] = price_today(assignment.school_class.school_id, *kind)
        whole.add(own_g(row), prices[kind])
    return ToCome(whole.copies, whole.grams, None if whole.unpriced_g else rounded(whole.cost))


def price_today(school_id: int, material: str, colour: str) -> Decimal | None:
    """What a kilogram costs on the spools there are: of that colour, else of that material; None without a price."""
    spools = Spool.objects.filter(room__school_id=school_id, material=material, price_per_kg__isnull=False)
    for chosen in (spools.filter(colour=colour), spools):
        price = chosen.aggregate(price=Avg("price_per_kg"))["price"]
        if price is not None:
            return Decimal(price).quantize(Decimal("0.01"))
    return None


def prices_today(school_id: int, wanted: set[tuple[str, str]]) -> dict[tuple[str, str], Decimal]:
    """``price_today`` of several materials and colours with one look; those without a price are left out."""
    known: dict[str, dict[str, list[Decimal]]] = defaultdict(lambda: defaultdict(list))
    spools = Spool.objects.filter(room__school_id=school_id, price_per_kg__isnull=False)
    for material, colour, price in spools.values_list("material", "colour", "price_per_kg"):
        if price is not None:
            known[material][colour].append(price)
    found = {}
    for material, colour in wanted:
        of_material = known.get(material, {})
        prices = of_material.get(colour) or [price for each in of_material.values() for price in each]
        if prices:
            found[material, colour] = (sum(prices, Decimal(0)) / len(prices)).quantize(Decimal("0.01"))
    return found


def price_for(submission: Submission) -> Decimal | None:
    """Today's price of a kilogram of what the part is printed in."""
    part = submission.kit_part
    return price_today(submission.team.school_class.school_id, part.material, part.colour)


def _round(lines: Sequence[Line]) -> None:
    good = rounded_shares(dict(enumerate(line.good.cost for line in lines)))
    lost = rounded_shares(dict(enumerate(line.lost.cost for line in lines)))
    for at, line in enumerate(lines):
        line.good_cost, line.lost_cost = good[at], lost[at]
