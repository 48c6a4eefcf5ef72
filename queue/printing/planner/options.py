"""Ways of laying out with the plan found for each, and what they are compared by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from planning.calendar import Calendar
from planning.schedule import solve
from planning.types import Plan, Stop
from planning.verify import served_minutes
from printing.planner.beds import why_not_on
from printing.planner.estimates import PlateFigures
from printing.planner.layout import LaidOut, arrange
from printing.planner.problem import Posed, plan_in_force, pose
from printing.planner.values import Laid, PlateNow, Snapshot, nozzle_of
from printing.planner.ways import WAYS, Way

SEED = 7
KEPT = "kept"  # the arrangement in force, new copies added
# a minute of the staff's work weighs as much as three minutes of every team's waiting (our own choice, no source)
STAFF_WEIGHT = 3
# what the arrangement in force must be beaten by before it gives way (our own choice, no source)
WORTH_SHARE = 0.1


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
    """One way of laying out, by its code, with the plan found for it."""

    code: str
    posed: Posed
    plan: Plan
    misfits: dict[int, str]
    worth: Worth


@dataclass(frozen=True)
class Layouts:
    """Every way by code, in order. ``alias``: ways that gave what another one gives, and that one."""

    by_code: dict[str, LaidOut]
    alias: dict[str, str]

    def code_of(self, code: str) -> str:
        """The code under which the arrangement of that way stands here."""
        return self.alias.get(code, code)


def layouts(snapshot: Snapshot, ways: Sequence[Way] = WAYS) -> Layouts:
    """Every way; plates that stay together are in each as they are. Equal arrangements count once."""
    kept = kept_layout(snapshot)
    found: dict[str, LaidOut] = {} if kept is None else {KEPT: kept}
    pattern = {} if kept is None else {_pattern(kept): KEPT}
    held = tuple(laid for laid in _kept(snapshot) if laid.stays)
    fixed = {copy_id for laid in held for copy_id in laid.copy_ids}
    free = [copy for copy in snapshot.copies.values() if copy.id not in fixed]
    alias: dict[str, str] = {}
    for way in ways:
        new = arrange(snapshot, free, way)
        laid_out = LaidOut((*held, *new.plates), new.misfits)
        known = pattern.setdefault(_pattern(laid_out), way.code)
        if known == way.code:
            found[way.code] = laid_out
        else:
            alias[way.code] = known
    return Layouts(found, alias)


def kept_layout(snapshot: Snapshot) -> LaidOut | None:
    """The plates in force that still hold, and the copies on none of them laid out beside; None without any."""
    kept = _kept(snapshot)
    if not kept:
        return None
    standing = {copy_id for laid in kept for copy_id in laid.copy_ids}
    rest = arrange(snapshot, [copy for copy in snapshot.copies.values() if copy.id not in standing], _way_of(snapshot))
    return LaidOut((*kept, *rest.plates), rest.misfits)


def _way_of(snapshot: Snapshot) -> Way:
    """The way the arrangement in force was made, for what is added to it."""
    wanted = snapshot.plate_size or snapshot.laid_as
    return next((way for way in WAYS if way.code == wanted), WAYS[0])


def _pattern(laid_out: LaidOut) -> frozenset[frozenset[int]]:
    return frozenset(laid.copy_ids for laid in laid_out.plates)


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


def option_of(
    snapshot: Snapshot, calendar: Calendar, code: str, laid_out: LaidOut, figures: Sequence[PlateFigures], stop: Stop
) -> Option:
    """The arrangement with a plan, searched for from what the technicians were last shown."""
    posed = pose(snapshot, calendar, laid_out.plates, figures)
    plan = solve(posed.problem, stop, SEED, start_from=plan_in_force(posed, snapshot))
    return Option(code, posed, plan, laid_out.misfits, worth_of(posed, plan, laid_out.misfits))


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


def pays(worth: Worth, kept: Worth) -> bool:
    """Whether a new arrangement is worth the changes: more is placed, fewer teams are late, or a tenth of the late
    minutes, or, with nobody later, of the effort is saved."""
    if worth.unplaced != kept.unplaced:
        return worth.unplaced < kept.unplaced
    if worth.late_weight < kept.late_weight or worth.weighted_tardiness < kept.weighted_tardiness * (1 - WORTH_SHARE):
        return worth.weighted_tardiness <= kept.weighted_tardiness
    no_later = worth.late_weight <= kept.late_weight and worth.weighted_tardiness <= kept.weighted_tardiness
    return no_later and worth.effort_min < kept.effort_min * (1 - WORTH_SHARE)
