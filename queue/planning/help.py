"""What would help most when a class may not have its parts in time: every remedy is planned and played, not guessed.

Each remedy is a problem of its own (``planning.variants``), planned from the plan in force with the same effort as the
plan made anew without any remedy, and played with the same luck.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum
from time import monotonic
from typing import TypeVar

from planning.calendar import StaffedDay
from planning.forecast import play
from planning.harm import Outlook, outlook_of
from planning.material import hours
from planning.schedule import solve
from planning.types import Plan, Problem, Risk, Stop
from planning.variants import (
    Lighter,
    with_deadline_later,
    with_evening,
    with_lighter,
    with_printer_like,
    with_spares,
)
from planning.verify import evaluate, violations

Key = TypeVar("Key")

SCREEN_SAMPLES = 200
EVENINGS_TRIED = 5
PRINTERS_TRIED = 3


class Remedy(StrEnum):
    """What could be done; ``PLAN_ANEW`` is no more than searching for a better plan."""

    PLAN_ANEW = "plan_anew"
    SPARES = "spares"
    EVENING = "evening"
    PRINTER = "printer"
    LATER = "later"
    LIGHTER = "lighter"


@dataclass(frozen=True, slots=True)
class Remedies:
    """What may be tried. ``evenings``: dates on which staff could stay ``evening_min`` longer (None: any before the
    deadline). ``printer_ids``: printers of which one more could be had (None: any). ``later_days``: by how many staffed
    days the meeting could be put off. ``no_room_for_spare``: plates whose bed is full. ``lighter``: by plate id what
    less infill makes of it; empty: not tried. A meeting is put off no further than gives a chance of ``enough``."""

    evenings: tuple[date, ...] | None = None
    evening_min: int = 180
    evening_staff: int = 1
    printer_ids: tuple[str, ...] | None = None
    later_days: tuple[int, ...] = (1, 2, 3)
    no_room_for_spare: frozenset[str] = frozenset()
    lighter: Mapping[str, Lighter] = field(default_factory=dict)
    enough: float = 0.9


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to look: ``stop`` for the plan of each remedy, ``samples`` to play it, ``seconds`` for all together
    (None: no limit; then, with ``stop.iterations`` alone, the answer is repeatable). A remedy begun is finished."""

    stop: Stop = field(default_factory=lambda: Stop(seconds=0.3))
    samples: int = 1000
    seconds: float | None = 20.0
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Effect:
    """What a remedy does: ``outlook`` for the kits asked about, ``others`` for all other kits with a deadline.

    ``staff_hours`` are to be expected, failures included; ``grams`` and ``swaps`` as planned; ``unplaced`` counts
    plates without a place. What was changed: ``day`` and ``minutes`` of an evening, ``printer_id`` for which printer
    there is one more, ``days_later`` of a meeting put off. ``problem`` and ``plan`` can be looked at and applied.
    """

    remedy: Remedy
    sentence: str
    outlook: Outlook
    others: Outlook
    staff_hours: float
    grams: float
    swaps: int
    unplaced: int
    problem: Problem
    plan: Plan
    day: date | None = None
    minutes: int | None = None
    printer_id: str | None = None
    days_later: int | None = None

    def rank(self) -> tuple[float, float, float]:
        """Better is greater."""
        return _rank(self.outlook)


@dataclass(frozen=True, slots=True)
class Help:
    """``now``: the plan as it stands. ``effects``: best first, the plan made anew among them. ``not_tried``: time was
    up. ``seconds`` it took."""

    now: Effect
    effects: tuple[Effect, ...]
    not_tried: tuple[Remedy, ...]
    seconds: float

    @property
    def best(self) -> Effect | None:
        """The remedy that helps most; None when none raises the outlook."""
        helping = [effect for effect in self.effects if effect.rank() > self.now.rank()]
        return helping[0] if helping else None


def what_would_help(
    problem: Problem,
    plan: Plan,
    risk: Risk | Mapping[str, Risk],
    kit_ids: Collection[str] | None = None,
    remedies: Remedies | None = None,
    effort: Effort | None = None,
) -> Help:
    """What each remedy does for the kits named, those of one meeting say (None: all with a deadline).

    ``plan`` is the plan in force, of this problem.
    """
    return _Trial(problem, plan, risk, kit_ids, remedies or Remedies(), effort or Effort()).run()


def _rank(outlook: Outlook) -> tuple[float, float, float]:
    return (outlook.chance_all, outlook.expected_kits, -outlook.weighted_tardiness)


class _Trial:
    """One question: what is shared by all remedies tried for it."""

    def __init__(
        self,
        problem: Problem,
        plan: Plan,
        risk: Risk | Mapping[str, Risk],
        kit_ids: Collection[str] | None,
        remedies: Remedies,
        effort: Effort,
    ) -> None:
        self.problem, self.plan, self.risk = problem, plan, risk
        due = {kit.id for kit in problem.kits if kit.deadline_minute is not None}
        self.wanted = due if kit_ids is None else due.intersection(kit_ids)
        self.others = due - self.wanted
        self.remedies, self.effort = remedies, effort

    def run(self) -> Help:
        began = monotonic()
        now = self.played(Remedy.PLAN_ANEW, "As planned.", self.problem, self.plan)
        kinds: list[tuple[Remedy, Callable[[], Iterable[Effect]]]] = [
            (Remedy.PLAN_ANEW, self.plan_anew),
            (Remedy.EVENING, self.evening),
            (Remedy.SPARES, self.spares),
            (Remedy.PRINTER, self.printer),
            (Remedy.LATER, self.later),
            (Remedy.LIGHTER, self.lighter),
        ]
        effects: list[Effect] = []
        not_tried = []
        for remedy, try_it in kinds:
            if self.effort.seconds is not None and monotonic() - began > self.effort.seconds:
                not_tried.append(remedy)
            else:
                effects += try_it()
        effects.sort(key=lambda effect: effect.rank(), reverse=True)
        return Help(now, tuple(effects), tuple(not_tried), monotonic() - began)

    # --- the remedies -------------------------------------------------------------------------------------------------

    def plan_anew(self) -> Iterator[Effect]:
        yield self.tried(Remedy.PLAN_ANEW, "Plan anew, with nothing changed.", self.problem)

    def spares(self) -> Iterator[Effect]:
        problem = with_spares(self.problem, self.remedies.no_room_for_spare)
        count = sum(new != old for new, old in zip(problem.plates, self.problem.plates, strict=True))
        if count:
            yield self.tried(Remedy.SPARES, f"One more spare on {_plates(count)}.", problem)

    def evening(self) -> Iterator[Effect]:
        minutes, staff = self.remedies.evening_min, self.remedies.evening_staff
        problems = {day: with_evening(self.problem, day, minutes, staff) for day in self._evenings()}
        day = self.best_of(problems)
        if day is not None:
            people = "somebody" if staff == 1 else f"{staff} people"
            sentence = f"On {day.day:%A %d %B} {people} stays {hours(minutes)} longer."
            if staff != 1:
                sentence = sentence.replace("stays", "stay")
            yield self.tried(Remedy.EVENING, sentence, problems[day], day=day.day, minutes=minutes)

    def _evenings(self) -> list[StaffedDay]:
        """The last few staffed days on which staying on could serve a kit in time."""
        last = max((kit.deadline_minute or 0 for kit in self.problem.kits if kit.id in self.wanted), default=0)
        allowed = self.remedies.evenings
        days = [
            day
            for day in self.problem.calendar.days
            if self.problem.now < day.end < min(last, self.problem.calendar.end)
            and (allowed is None or day.day in allowed)
        ]
        return days[-EVENINGS_TRIED:]

    def printer(self) -> Iterator[Effect]:
        problems = {printer_id: with_printer_like(self.problem, printer_id) for printer_id in self._printers()}
        chosen = self.best_of(problems)
        if chosen is not None:
            name = next(printer.name for printer in self.problem.printers if printer.id == chosen)
            yield self.tried(Remedy.PRINTER, f"One more printer like {name}.", problems[chosen], printer_id=chosen)

    def _printers(self) -> list[str]:
        """One printer of each kind, those that can take most plates of the kits asked about first."""
        allowed = self.remedies.printer_ids
        plates = [plate for plate in self.problem.plates if self.wanted.intersection(plate.kit_ids)]
        kinds: dict[tuple[object, ...], tuple[int, int, str]] = {}
        for printer in sorted(self.problem.printers, key=lambda printer: printer.id):
            if allowed is not None and printer.id not in allowed:
                continue
            minutes = tuple(plate.duration_min.get(printer.id) for plate in plates)
            able = [value for value in minutes if value is not None]
            kinds.setdefault((printer.may_run_unattended, minutes), (-len(able), sum(able), printer.id))
        return [printer_id for able, _minutes, printer_id in sorted(kinds.values()) if able][:PRINTERS_TRIED]

    def later(self) -> Iterator[Effect]:
        for days in self.remedies.later_days:
            problem = with_deadline_later(self.problem, self.wanted, days)
            if problem == self.problem:
                return
            sentence = f"The meeting is {'a school day' if days == 1 else f'{days} school days'} later."
            effect = self.tried(Remedy.LATER, sentence, problem, days_later=days)
            yield effect
            if effect.outlook.chance_all >= self.remedies.enough:
                return

    def lighter(self) -> Iterator[Effect]:
        if self.remedies.lighter:
            count = sum(plate.id in self.remedies.lighter for plate in self.problem.plates)
            problem = with_lighter(self.problem, self.remedies.lighter)
            yield self.tried(Remedy.LIGHTER, f"Less infill on {_plates(count)}.", problem)

    # --- planning and playing -----------------------------------------------------------------------------------------

    def best_of(self, problems: Mapping[Key, Problem]) -> Key | None:
        """The most promising of several, by a brief look."""
        if len(problems) < 2:
            return next(iter(problems), None)
        brief = Stop(iterations=0)
        seen = {}
        for key, problem in problems.items():
            plan = solve(problem, brief, self.effort.seed, start_from=self.plan)
            courses = play(problem, plan, self.risk, SCREEN_SAMPLES, self.effort.seed)
            seen[key] = _rank(outlook_of(problem, courses, self.wanted))
        return max(seen, key=lambda key: seen[key])

    def tried(self, remedy: Remedy, sentence: str, problem: Problem, **what: object) -> Effect:
        """The better, by its outlook, of a plan made for it and, where it still holds, of the plan in force."""
        plan = solve(problem, self.effort.stop, self.effort.seed, start_from=self.plan)
        effect = self.played(remedy, sentence, problem, plan, **what)
        kept = replace(self.plan, objective=evaluate(problem, self.plan))
        if violations(problem, kept):
            return effect
        as_it_is = self.played(remedy, sentence, problem, kept, **what)
        return max(effect, as_it_is, key=lambda each: each.rank())

    def played(self, remedy: Remedy, sentence: str, problem: Problem, plan: Plan, **what: object) -> Effect:
        courses = play(problem, plan, self.risk, self.effort.samples, self.effort.seed)
        return Effect(
            remedy=remedy,
            sentence=sentence,
            outlook=outlook_of(problem, courses, self.wanted),
            others=outlook_of(problem, courses, self.others),
            staff_hours=float(courses.staff_min.mean()) / 60,
            grams=sum(plate.grams for plate in problem.plates),
            swaps=plan.objective.swaps,
            unplaced=len(plan.unplaced),
            problem=problem,
            plan=plan,
            **what,  # type: ignore[arg-type]
        )


def _plates(count: int) -> str:
    return "one plate" if count == 1 else f"{count} plates"
