"""Which arrangement, and which plan of it: several plate sizes are laid out, planned and compared."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from planning.calendar import Calendar
from planning.clashes import clashing_pins
from planning.schedule import solve
from planning.types import Pin, Risk, Stop
from planning.verify import evaluate, minutes_late, violations
from printing.planner.chances import Chances, chances_of, learned_plates, risks_of
from printing.planner.estimates import Estimates
from printing.planner.options import KEPT, SEED, Layouts, Option, kept_layout, layouts, option_of, pays, worth_of
from printing.planner.order import IN_ORDER, as_good, follow
from printing.planner.problem import calendar_of
from printing.planner.stay import Stay, in_order, stay_or_change
from printing.planner.values import Snapshot
from printing.planner.ways import WAYS, Way
from telling import Told

TRY, SEARCH, ORDER = Stop(seconds=0.25), Stop(seconds=1.2), Stop(seconds=0.8)
QUICK = Stop(seconds=0.15)
PEEK_SAMPLES = 500
CLASHES_S = 2.0

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Tried:
    """A row of the table of plate sizes. ``rough``: from the sum of the parts' own times, not the plates'. ``chance``:
    that every team has everything in time; ``group`` the same by assignment; neither is worked out for rough rows."""

    code: str
    plates: int
    largest: int
    staff_min: int
    tardiness_min: int
    late_kits: int
    done_minute: int
    unplaced: int
    swaps: int
    mass_g: float
    rough: bool
    chance: float | None
    group: Mapping[str, float]


@dataclass(frozen=True)
class Choice:
    """The chosen option, every way that was tried, and the figures behind.

    ``recommended``: the way that would have been chosen had staff not chosen another; ``laid_as``: the way the chosen
    arrangement was made; ``is_first_answer``: the arrangement in force, planned at once; the better plan follows.
    """

    option: Option
    tried: tuple[Tried, ...]
    calendar: Calendar
    chances: Chances
    risks: Mapping[str, Risk]
    learned_plates: int
    recommended: str = KEPT
    laid_as: str = ""
    stay: Stay | None = None
    is_first_answer: bool = False
    follows_order: bool = False  # the queue was changed by hand, and starts have changed by it
    clashes: tuple[Told, ...] = ()  # what staff have fixed and cannot all hold; looked for with the better plan


class UnsoundPlan(Exception):
    """The independent check found a rule broken: the plan is not published."""


def choose(snapshot: Snapshot, estimates: Estimates, progress: Progress, risk: Risk | None = None) -> Choice:
    """Lay out in every way, plan each roughly, plan the best of each plate size exactly, and search on in the best.

    Those planned exactly are played with failures, so that the page can tell how sure each is: with ``risk`` for all
    plates, or, without one, as the printers' runs on record say. A plate size the staff chose is taken as it is.
    """
    calendar = calendar_of(snapshot)
    ways = layouts(snapshot)
    rough = [
        option_of(snapshot, calendar, code, laid_out, estimates.rough(laid_out.plates), Stop(iterations=0))
        for code, laid_out in ways.by_code.items()
    ]
    progress(0.2)
    finalists = _finalists(rough, ways.code_of(snapshot.plate_size))
    exact = []
    for at, code in enumerate(finalists):
        share = 0.6 / len(finalists)
        base = 0.2 + at * share
        laid_out = ways.by_code[code]
        figures = estimates.exact(laid_out.plates, lambda done, base=base, share=share: progress(base + done * share))  # type: ignore[misc]
        exact.append(option_of(snapshot, calendar, code, laid_out, figures, TRY))
    recommended, stay = _best(exact)
    chosen = _chosen(snapshot, exact, ways) or recommended
    progress(0.85)
    final = _searched(snapshot, chosen)
    if final.code == KEPT:
        final, not_taken = stay_or_change(snapshot, final)
        stay = not_taken or (stay if chosen is recommended else None)
    else:
        stay = None
    _check(final)
    risks = _risks(snapshot, risk)
    chances = chances_of(final.posed.problem, final.plan, risks(final))
    others = [option for option in exact if option.code != final.code]
    rows = [_tried(o, chances_of(o.posed.problem, o.plan, risks(o), PEEK_SAMPLES)) for o in others]
    rows += [_tried(final, chances)]
    rows += [_tried(option, None) for option in rough if option.code not in finalists]
    return Choice(
        option=final,
        tried=tuple(rows),
        calendar=calendar,
        chances=chances,
        risks=risks(final),
        learned_plates=learned_plates(snapshot, final.posed, final.plan),
        recommended=recommended.code,
        laid_as=_laid_as(snapshot, final, ways),
        stay=stay,
        clashes=_clashes(snapshot, final),
    )


def _clashes(snapshot: Snapshot, option: Option) -> tuple[Told, ...]:
    """Where a fixed plate found no place: the smallest sets of what is fixed that cannot all hold."""
    problem, plan = option.posed.problem, option.plan
    lost = {note.plate_id for note in plan.unplaced}
    if not any(job.id in lost and job.pin != Pin() for job in problem.plates):
        return ()
    numbers = {plate.id: plate.number for plate in snapshot.plates}
    laid = enumerate(option.posed.plates)
    names = {str(at): f"P{numbers[each.plate_id]}" for at, each in laid if each.plate_id in numbers}
    return tuple(clash.sentence for clash in clashing_pins(problem, names, CLASHES_S))


def as_it_is(snapshot: Snapshot, estimates: Estimates) -> tuple[Option, Stay | None] | None:
    """The arrangement in force with new copies added, planned at once from what was last shown; None without one."""
    laid_out = kept_layout(snapshot)
    if laid_out is None:
        return None
    figures = estimates.exact(laid_out.plates)
    option = option_of(snapshot, calendar_of(snapshot), KEPT, laid_out, figures, QUICK)
    option, stay = stay_or_change(snapshot, option)
    _check(option)
    return option, stay


def first_answer(
    snapshot: Snapshot, estimates: Estimates, risk: Risk | None = None, moved_up: Collection[str] = ()
) -> Choice | None:
    """``as_it_is`` with its chances, to be published at once. ``moved_up``: kits that somebody has just put before
    others in the queue."""
    found = as_it_is(snapshot, estimates)
    if found is None:
        return None
    option, stay = found
    followed = follow(snapshot, option, moved_up)
    if followed is not None:
        option, stay = followed, None
    risks = _risks(snapshot, risk)(option)
    return Choice(
        option=option,
        tried=(),
        calendar=option.posed.problem.calendar,
        chances=chances_of(option.posed.problem, option.plan, risks),
        risks=risks,
        learned_plates=learned_plates(snapshot, option.posed, option.plan),
        laid_as=snapshot.laid_as,
        stay=stay,
        is_first_answer=True,
        follows_order=followed is not None,
    )


def _check(option: Option) -> None:
    if broken := violations(option.posed.problem, option.plan):
        raise UnsoundPlan("; ".join(broken[:5]))


def _risks(snapshot: Snapshot, risk: Risk | None) -> Callable[[Option], dict[str, Risk]]:
    def of(option: Option) -> dict[str, Risk]:
        if risk is None:
            return risks_of(snapshot, option.posed, option.plan)
        return {run.plate_id: risk for run in option.plan.runs}

    return of


def _finalists(options: Sequence[Option], wanted: str) -> list[str]:
    """The arrangement in force, the best way of each plate size, and the way the staff chose."""
    codes = {option.code for option in options}
    best: dict[int | None, Option] = {}
    sizes = {way.code: way.per_plate_max for way in WAYS}
    for option in sorted((option for option in options if option.code != KEPT), key=lambda option: option.worth):
        best.setdefault(sizes[option.code], option)
    found = [KEPT] if KEPT in codes else []
    found += [option.code for option in sorted(best.values(), key=lambda option: option.worth)]
    return found + ([wanted] if wanted in codes and wanted not in found else [])


def _best(options: Sequence[Option]) -> tuple[Option, Stay | None]:
    """The best by worth; the arrangement in force when the gain does not pay for laying everything out anew, and then
    what was not taken."""
    best = min(options, key=lambda option: option.worth)
    kept = next((option for option in options if option.code == KEPT), None)
    if kept is None or best is kept or pays(best.worth, kept.worth):
        return best, None
    late_min = kept.worth.weighted_tardiness - best.worth.weighted_tardiness
    saved_min = round(kept.worth.effort_min - best.worth.effort_min)
    return kept, Stay(0, late_min, saved_min) if late_min > 0 or saved_min > 0 else None


def _chosen(snapshot: Snapshot, options: Sequence[Option], ways: Layouts) -> Option | None:
    """What the staff chose: laid out anew in that way, or as it stands when it was made that way and still does."""
    if not snapshot.plate_size:
        return None
    code = ways.code_of(snapshot.plate_size)
    wanted = [option for option in options if option.code == code]
    if snapshot.laid_as == snapshot.plate_size:
        wanted += [option for option in options if option.code == KEPT and code != KEPT]
    return _best(wanted)[0] if wanted else None


def _laid_as(snapshot: Snapshot, option: Option, ways: Layouts) -> str:
    """The way the arrangement was made; what the staff chose, where it gives the same."""
    if snapshot.plate_size and ways.code_of(snapshot.plate_size) == option.code:
        return snapshot.plate_size
    return snapshot.laid_as if option.code == KEPT else option.code


def _searched(snapshot: Snapshot, option: Option) -> Option:
    """Search on from the plan found. Where nobody is later for it, the order of the queue decides."""
    problem = option.posed.problem
    plan = solve(problem, SEARCH, SEED, start_from=option.plan)
    if not option.posed.left_out and problem.plates:
        wished = solve(in_order(snapshot, problem), ORDER, SEED, start_from=plan)
        ordered = replace(wished, objective=evaluate(problem, wished), method=IN_ORDER)
        if as_good(ordered, plan) and not violations(problem, ordered):
            plan = ordered
    return replace(option, plan=plan, worth=worth_of(option.posed, plan, option.misfits))


def _tried(option: Option, chances: Chances | None) -> Tried:
    """A row of the table; without ``chances`` a rough one."""
    late = minutes_late(option.posed.problem, option.plan)
    return Tried(
        code=option.code,
        plates=len(option.posed.plates),
        largest=max((len(laid.places) for laid in option.posed.plates), default=0),
        staff_min=option.worth.staff_min,
        tardiness_min=sum(late.values()),
        late_kits=sum(minutes > 0 for minutes in late.values()),
        done_minute=option.worth.last_minute,
        unplaced=option.worth.unplaced,
        swaps=option.plan.objective.swaps,
        mass_g=sum(figures.mass_g for figures in option.posed.figures),
        rough=chances is None,
        chance=chances.everything if chances else None,
        group=chances.group if chances else {},
    )


__all__ = ["KEPT", "Choice", "Option", "Tried", "UnsoundPlan", "Way", "as_it_is", "choose", "first_answer", "worth_of"]
