"""Which arrangement, and which plan of it: several plate sizes are laid out, planned and compared."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from planning.calendar import Calendar
from planning.schedule import solve
from planning.types import Kit, Plan, Problem, Risk, Stop
from planning.verify import evaluate, minutes_late, served_minutes, violations
from printing.planner.beds import why_not_on
from printing.planner.chances import Chances, chances_of, learned_plates, risks_of
from printing.planner.estimates import Estimates, PlateFigures
from printing.planner.layout import WAYS, LaidOut, Way, arrange
from printing.planner.problem import Posed, calendar_of, plan_in_force, pose
from printing.planner.values import Laid, PlateNow, Snapshot, nozzle_of

FINALISTS = 3
TRY_S, SEARCH_S, ORDER_S = 0.25, 1.2, 0.8
SEED = 7
PEEK_SAMPLES = 500
KEPT = "as it is, new copies added"
# a minute of the staff's work weighs as much as three minutes of every team's waiting (our own choice, no source)
STAFF_WEIGHT = 3
# what the arrangement in force must be beaten by before it gives way (our own choice, no source)
WORTH_SHARE = 0.1
IN_ORDER = "the queue's order"

Progress = Callable[[float], None]


@dataclass(frozen=True, order=True)
class Worth:
    """How good a way is; smaller is better, compared in this order. ``effort_min``: minutes until the teams are served,
    on average, and the staff's minutes by their weight: neither a dozen more starts nor one huge plate comes free."""

    unplaced: int
    weighted_tardiness: int
    late_weight: int
    effort_min: float
    last_minute: int
    staff_min: int


@dataclass(frozen=True)
class Option:
    """One way of laying out with the plan found for it."""

    name: str
    posed: Posed
    plan: Plan
    misfits: dict[int, str]
    worth: Worth


@dataclass(frozen=True)
class Tried:
    """A row of the table of plate sizes. ``rough``: from the sum of the parts' own times, not the plates'."""

    name: str
    plates: int
    largest: int
    staff_min: int
    tardiness_min: int
    late_kits: int
    done_minute: int
    unplaced: int
    rough: bool
    chance: float | None  # that every team has everything in time; not worked out for rough rows


@dataclass(frozen=True)
class Choice:
    """The chosen option, every way that was tried, and the figures behind."""

    option: Option
    tried: tuple[Tried, ...]
    calendar: Calendar
    chances: Chances
    risks: Mapping[str, Risk]
    learned_plates: int


class UnsoundPlan(Exception):
    """The independent check found a rule broken: the plan is not published."""


def choose(snapshot: Snapshot, estimates: Estimates, progress: Progress, risk: Risk | None = None) -> Choice:
    """Lay out in every way, plan each roughly, plan the best few exactly, and search on in the best. Those planned
    exactly are played with failures, so that the page can tell how sure each is: with ``risk`` for all plates, or,
    without one, as the printers' runs on record say."""
    calendar = calendar_of(snapshot)
    layouts = _layouts(snapshot)
    rough = [
        _option(snapshot, calendar, name, laid_out, estimates.rough(laid_out.plates), Stop(iterations=0))
        for name, laid_out in layouts
    ]
    progress(0.2)
    finalists = _finalists(rough)
    exact = []
    for at, name in enumerate(finalists):
        laid_out = dict(layouts)[name]
        share = 0.6 / len(finalists)
        base = 0.2 + at * share
        figures = estimates.exact(laid_out.plates, lambda done, base=base, share=share: progress(base + done * share))  # type: ignore[misc]
        exact.append(_option(snapshot, calendar, name, laid_out, figures, Stop(seconds=TRY_S)))
    best = _best(exact)
    progress(0.85)
    final = _searched(snapshot, best)
    if broken := violations(final.posed.problem, final.plan):
        raise UnsoundPlan("; ".join(broken[:5]))

    def risks(option: Option) -> dict[str, Risk]:
        if risk is None:
            return risks_of(snapshot, option.posed, option.plan)
        return {run.plate_id: risk for run in option.plan.runs}

    chances = chances_of(final.posed.problem, final.plan, risks(final))
    others = [option for option in exact if option.name != final.name]
    rows = [_tried(o, chances_of(o.posed.problem, o.plan, risks(o), PEEK_SAMPLES).everything) for o in others]
    rows += [_tried(final, chances.everything)]
    rows += [_tried(option, None, rough=True) for option in rough if option.name not in finalists]
    known = learned_plates(snapshot, final.posed, final.plan)
    return Choice(final, tuple(rows), calendar, chances, risks(final), known)


def _layouts(snapshot: Snapshot) -> list[tuple[str, LaidOut]]:
    """Every way by name; plates that stay together are in each as they are. Equal arrangements count once."""
    held = [laid for laid in _kept(snapshot) if laid.stays]
    fixed = {copy_id for laid in held for copy_id in laid.copy_ids}
    free = [copy for copy in snapshot.copies.values() if copy.id not in fixed]
    found: list[tuple[str, LaidOut]] = []
    if kept := _kept(snapshot):
        standing = {copy_id for laid in kept for copy_id in laid.copy_ids}
        rest = arrange(snapshot, [copy for copy in free if copy.id not in standing], WAYS[0])
        found.append((KEPT, LaidOut((*kept, *rest.plates), rest.misfits)))
    seen: set[frozenset[frozenset[int]]] = set()
    for way in WAYS:
        laid_out = arrange(snapshot, free, way)
        pattern = frozenset(laid.copy_ids for laid in laid_out.plates)
        if pattern not in seen:
            seen.add(pattern)
            found.append((way.name, LaidOut((*held, *laid_out.plates), laid_out.misfits)))
    return found


def _kept(snapshot: Snapshot) -> list[Laid]:
    """Planned plates that still hold what they were laid out for and that some printer can print."""
    return [
        plate.laid for plate in snapshot.plates if plate.laid.places and (plate.laid.held or _holds(snapshot, plate))
    ]


def _holds(snapshot: Snapshot, plate: PlateNow) -> bool:
    laid = plate.laid
    copies = [snapshot.copies[copy_id] for copy_id in laid.copy_ids]
    wanted = {(copy.material, copy.colour, copy.settings) for copy in copies}
    nozzle_mm = nozzle_of(laid.settings)
    return wanted == {(laid.material, laid.colour, laid.settings)} and any(
        why_not_on(laid, kind, snapshot.copies, nozzle_mm) is None for kind in snapshot.kinds
    )


def _option(
    snapshot: Snapshot, calendar: Calendar, name: str, laid_out: LaidOut, figures: Sequence[PlateFigures], stop: Stop
) -> Option:
    posed = pose(snapshot, calendar, laid_out.plates, figures)
    plan = solve(posed.problem, stop, SEED, start_from=plan_in_force(posed, snapshot))
    return Option(name, posed, plan, laid_out.misfits, worth_of(posed, plan, laid_out.misfits))


def worth_of(posed: Posed, plan: Plan, misfits: dict[int, str]) -> Worth:
    """What a plan is compared by, over arrangements of different numbers of plates."""
    problem = posed.problem
    lost = {int(note.plate_id) for note in plan.unplaced if note.plate_id.isdigit()} | set(posed.left_out)
    last = max((run.clear_end for run in plan.runs), default=problem.now)
    served = [minute for minute in served_minutes(problem, plan).values() if minute is not None]
    waiting_min = (sum(served) / len(served) if served else last) - problem.now
    staff_min = sum(run.start - run.setup_start + problem.rules.clear_min for run in plan.runs)
    return Worth(
        unplaced=len(misfits) + sum(len(posed.plates[at].places) for at in lost if at < len(posed.plates)),
        weighted_tardiness=plan.objective.weighted_tardiness,
        late_weight=plan.objective.late_weight,
        effort_min=waiting_min + STAFF_WEIGHT * staff_min,
        last_minute=last,
        staff_min=staff_min,
    )


def _finalists(options: Sequence[Option]) -> list[str]:
    """The arrangement in force and the best others."""
    ranked = sorted((option for option in options if option.name != KEPT), key=lambda option: option.worth)
    kept = [option.name for option in options if option.name == KEPT]
    return kept + [option.name for option in ranked[: FINALISTS - len(kept)]]


def _best(options: Sequence[Option]) -> Option:
    """The best by worth; the arrangement in force when the gain does not pay for the changes."""
    best = min(options, key=lambda option: option.worth)
    kept = next((option for option in options if option.name == KEPT), None)
    return best if kept is None or pays(best.worth, kept.worth) else kept


def pays(worth: Worth, kept: Worth) -> bool:
    """Whether a new arrangement is worth the changes: more is placed, fewer teams are late, or a tenth of the late
    minutes, or, with nobody later, of the effort is saved."""
    if worth.unplaced != kept.unplaced:
        return worth.unplaced < kept.unplaced
    if worth.late_weight < kept.late_weight or worth.weighted_tardiness < kept.weighted_tardiness * (1 - WORTH_SHARE):
        return worth.weighted_tardiness <= kept.weighted_tardiness
    no_later = worth.late_weight <= kept.late_weight and worth.weighted_tardiness <= kept.weighted_tardiness
    return no_later and worth.effort_min < kept.effort_min * (1 - WORTH_SHARE)


def _searched(snapshot: Snapshot, option: Option) -> Option:
    """Search on from the plan found. Where nobody is later for it, the order of the queue decides."""
    problem = option.posed.problem
    plan = solve(problem, Stop(seconds=SEARCH_S), SEED, start_from=option.plan)
    if not option.posed.left_out and problem.plates:
        wished = solve(in_order(snapshot, problem), Stop(seconds=ORDER_S), SEED, start_from=plan)
        ordered = replace(wished, objective=evaluate(problem, wished), method=IN_ORDER)
        if _as_good(ordered, plan) and not violations(problem, ordered):
            plan = ordered
    return replace(option, plan=plan, worth=worth_of(option.posed, plan, option.misfits))


def in_order(snapshot: Snapshot, problem: Problem) -> Problem:
    """The same room, in which every kit is wanted now, the more the earlier it stands in the queue."""
    first: dict[str, tuple[bool, int, int]] = {}
    for copy in snapshot.copies.values():
        if copy.kit_id is not None:
            first[copy.kit_id] = min(copy.rank, first.get(copy.kit_id, copy.rank))
    place = {kit_id: at for at, kit_id in enumerate(sorted(first, key=lambda kit_id: first[kit_id]))}
    kits = tuple(Kit(kit.id, problem.now, len(place) - place[kit.id] if kit.id in place else 0) for kit in problem.kits)
    return replace(problem, kits=kits)


def _as_good(plan: Plan, other: Plan) -> bool:
    """Whether a plan makes nobody later, leaves nothing more out and swaps no more spools than another."""

    def hurts(each: Plan) -> tuple[int, ...]:
        cost = each.objective
        return (len(each.unplaced), cost.weighted_tardiness, cost.late_weight, cost.swaps)

    return all(mine <= theirs for mine, theirs in zip(hurts(plan), hurts(other), strict=True))


def _tried(option: Option, chance: float | None, *, rough: bool = False) -> Tried:
    late = minutes_late(option.posed.problem, option.plan)
    return Tried(
        name=option.name,
        plates=len(option.posed.plates),
        largest=max((len(laid.places) for laid in option.posed.plates), default=0),
        staff_min=option.worth.staff_min,
        tardiness_min=sum(late.values()),
        late_kits=sum(minutes > 0 for minutes in late.values()),
        done_minute=option.worth.last_minute,
        unplaced=option.worth.unplaced,
        rough=rough,
        chance=chance,
    )


__all__ = ["KEPT", "Choice", "Option", "Tried", "UnsoundPlan", "Way", "choose", "worth_of"]
