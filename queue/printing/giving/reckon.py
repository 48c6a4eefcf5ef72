"""Reckon what a lesson would cost the room, by the room's own planner: the room as it is, and with the lesson's copies.

Plates that stand already have their own figures. New ones are reckoned from the sum of their parts' own figures, each
heated once, at the pace of each kind of printer: quick. Redesigned parts are reckoned as the kit's own part.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import count
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import KitPart
from lessons.print_settings import in_force
from meshcheck.settings import PrintSettings
from planning.forecast import play
from planning.types import Stop
from planning.verify import minutes_late
from printing.costs import prices_today
from printing.giving.latest import latest_start
from printing.giving.values import Filament, ForClass, Gift, Load, Reckoning
from printing.models import Room, Spool
from printing.planner.chances import SEED, risks_of
from printing.planner.estimates import Estimates
from printing.planner.layout import LaidOut, arrange
from printing.planner.meetings import figures_of_kits
from printing.planner.options import KEPT, Option, kept_layout, option_of
from printing.planner.problem import calendar_of
from printing.planner.snapshot import canonical, copies_wanted, kit_id_of, source_of, take_snapshot
from printing.planner.values import KitNeed, Snapshot, Source, WantedCopy
from printing.planner.ways import WAYS, Way
from printing.reasons import said

SAMPLES = 500  # the chance is then known to about 0.02
STEPS = 400  # of the search for a plan: the answer is a first one


@dataclass(frozen=True, slots=True)
class Wanted:
    """One part of the kit as it would be printed: files per team, and spares for a class."""

    part: KitPart
    source: Source
    material: str
    settings: str
    for_team: int
    spares: int


@dataclass(frozen=True, slots=True)
class Printed:
    """A part printed otherwise than the kit says: its settings, and what a copy weighs and takes with them."""

    settings: PrintSettings
    mass_g: float
    duration_s: float


Otherwise = Mapping[int, Printed]  # by the key of the kit part


def wanted_parts(parts: Sequence[KitPart], otherwise: Otherwise | None = None) -> tuple[list[Wanted], list[str]]:
    """The kit's parts, and in words what cannot be reckoned with."""
    found, problems = [], []
    for part in parts:
        if part.archived_at is not None:
            continue
        source = source_of(f"kitpart-{part.pk}", part)
        try:
            settings = in_force(part)
        except (ValueError, TypeError):
            problems.append(_("%(part)s: its print settings cannot work together.") % {"part": part})
            continue
        if isinstance(source, str):
            problems.append(f"{part}: {said(source)}")
            continue
        if otherwise and part.pk in otherwise:
            printed = otherwise[part.pk]
            settings = printed.settings
            source = replace(source, mass_g=printed.mass_g, duration_s=printed.duration_s)
        spares = 0 if part.redesignable else math.ceil(part.spares / max(1, part.copies_in_file))
        for_team = copies_wanted(part, part.copies_in_file)
        found.append(Wanted(part, source, settings.material, canonical(settings), for_team, spares))
    return found, problems


def with_lesson(snapshot: Snapshot, gifts: Sequence[Gift], wanted: Sequence[Wanted]) -> Snapshot:
    """The room with the lesson's copies at the end of its queue. New keys are negative: ``-1`` is the first gift."""
    copies = dict(snapshot.copies)
    kits = list(snapshot.kits)
    keys = count(-1, -1)
    last = max((copy.rank[1] for copy in copies.values()), default=0)
    for at, gift in enumerate(gifts, start=1):
        for team in range(1, gift.teams + 1):
            kits.append(KitNeed(str(kit_id_of(-at, team)), f"{gift.name}, {team}", gift.deadline, 1))
        for each in wanted:
            last += 1
            teams = range(1, gift.teams + 1)
            files: list[tuple[int | None, int]] = [(team, n) for team in teams for n in range(each.for_team)]
            files += [(None, number) for number in range(each.spares)]
            for whose, number in files:
                key = next(keys)
                copies[key] = WantedCopy(
                    id=key,
                    source=each.source,
                    material=each.material,
                    colour=each.part.colour,
                    settings=each.settings,
                    rank=(whose is None, last, number + 1),
                    kit_id=kit_id_of(-at, whose),
                    part=each.part.name,
                    assignment_id=-at,
                )
    return replace(snapshot, copies=copies, kits=tuple(sorted(kits, key=lambda kit: kit.id)))


def laid_out(snapshot: Snapshot, way: Way | None) -> LaidOut:
    """The plates in force, and everything else laid out in the room's way or the one given."""
    if way is None:
        return kept_layout(snapshot) or arrange(snapshot, list(snapshot.copies.values()), _usual(snapshot))
    kept = kept_layout(replace(snapshot, copies={key: copy for key, copy in snapshot.copies.items() if key > 0}))
    standing = {copy_id for laid in (kept.plates if kept else ()) for copy_id in laid.copy_ids}
    rest = arrange(snapshot, [copy for copy in snapshot.copies.values() if copy.id not in standing], way)
    return LaidOut((*(kept.plates if kept else ()), *rest.plates), rest.misfits)


def _usual(snapshot: Snapshot) -> Way:
    """A team's parts together, up to eight on a plate, unless the room's staff chose otherwise."""
    return next((way for way in WAYS if way.code == snapshot.plate_size), WAYS[2])


def planned(snapshot: Snapshot, way: Way | None = None, steps: int = STEPS) -> Option:
    """The situation with a plan. Same input, same plan."""
    layout = laid_out(snapshot, way)
    figures = Estimates(snapshot).known_or_rough(layout.plates)
    return option_of(snapshot, calendar_of(snapshot), KEPT, layout, figures, Stop(iterations=steps, prove=False))


@dataclass(frozen=True, slots=True)
class Ground:
    """The room as it is, planned: read once, however many choices are reckoned on it."""

    room: Room
    snapshot: Snapshot
    before: Option
    chances: Mapping[str, Mapping[str, Any]]


def ground(room: Room, now: datetime) -> Ground:
    """The room without the lesson. Writes nothing."""
    snapshot = take_snapshot(room.pk, now)
    before = planned(snapshot)
    return Ground(room, snapshot, before, chances(snapshot, before))


def reckon(
    on: Ground,
    parts: Sequence[KitPart],
    gifts: Sequence[Gift],
    way: Way | None = None,
    quick: bool = False,
    otherwise: Otherwise | None = None,
) -> Reckoning:
    """What giving the lesson to these classes would take and how they would fare. Writes nothing. ``quick``: the latest
    day to start is not looked for. ``otherwise``: parts as if they were printed with other settings."""
    snapshot, before = on.snapshot, on.before
    wanted, problems = wanted_parts(parts, otherwise)
    then = with_lesson(snapshot, gifts, wanted)
    after = planned(then, way)
    chances_after = chances(then, after)
    problems += _nowhere(snapshot, before, then, after)
    new = [copy for key, copy in then.copies.items() if key not in snapshot.copies]
    return Reckoning(
        copies=len(new),
        spares=sum(copy.kit_id is None for copy in new),
        before=_load(before),
        after=_load(after),
        filaments=_filaments(on.room, snapshot, new),
        classes=tuple(_for_class(gift, chances_after.get(str(-at))) for at, gift in enumerate(gifts, start=1)),
        rest=tuple(
            (key, figures["chance"], chances_after[key]["chance"])
            for key, figures in on.chances.items()
            if key in chances_after
        ),
        latest_start=None if quick or not new else latest_start(snapshot, before, then, after, gifts),
        problems=tuple(problems),
    )


def _nowhere(snapshot: Snapshot, before: Option, then: Snapshot, after: Option) -> list[str]:
    """In words, which copies stand on no bed or find no time, since their hours and minutes are not counted."""
    found = [
        said(note)
        for note in sorted(set(after.misfits.values()) | set(then.unplaced.values()) - set(snapshot.unplaced.values()))
    ]
    lost: dict[str, int] = defaultdict(int)
    for note in after.plan.unplaced:
        if note.plate_id.isdigit():
            places = after.posed.plates[int(note.plate_id)].places
            lost[note.reason] += sum(place.copy_id < 0 for place in places)
    for reason, copies in lost.items():
        if copies:
            words = ngettext(
                "%(count)d copy finds no time and is not counted: %(reason)s",
                "%(count)d copies find no time and are not counted: %(reason)s",
                copies,
            )
            found.append(words % {"count": copies, "reason": said(reason)})
    return found


def chances(snapshot: Snapshot, option: Option) -> dict[str, dict[str, Any]]:
    """By assignment: how sure its teams are, played with the printers' failures on record."""
    problem, plan = option.posed.problem, option.plan
    if not problem.kits:
        return {}
    courses = play(problem, plan, risks_of(snapshot, option.posed, plan), SAMPLES, SEED)
    groups: dict[str, list[str]] = defaultdict(list)
    for kit in snapshot.kits:
        groups[kit.id.partition(":")[0]].append(kit.id)
    return {key: figures_of_kits(problem, courses, ids) for key, ids in sorted(groups.items())}


def _load(option: Option) -> Load:
    problem, plan = option.posed.problem, option.plan
    late = minutes_late(problem, plan)
    return Load(
        plates=len(option.posed.plates),
        printer_min=sum(run.end - run.start for run in plan.runs),
        staff_min=option.worth.staff_min,
        done_at=problem.calendar.to_datetime(option.worth.last_minute),
        late_teams=sum(minutes > 0 for minutes in late.values()),
        unplaced=option.worth.unplaced,
    )


def _filaments(room: Room, snapshot: Snapshot, new: Sequence[WantedCopy]) -> tuple[Filament, ...]:
    wanted: dict[tuple[str, str], float] = defaultdict(float)
    waiting: dict[tuple[str, str], float] = defaultdict(float)
    stock: dict[tuple[str, str], float] = defaultdict(float)
    for copy in new:
        wanted[copy.material, copy.colour] += copy.source.mass_g
    for copy in snapshot.copies.values():
        waiting[copy.material, copy.colour] += copy.source.mass_g
    for material, colour, left in Spool.objects.filter(room=room).values_list("material", "colour", "grams_left"):
        stock[material, colour] += left
    prices = prices_today(room.school_id, set(wanted))
    return tuple(
        Filament(*key, wanted[key], stock.get(key, 0.0), waiting.get(key, 0.0), prices.get(key))
        for key in sorted(wanted)
    )


def _for_class(gift: Gift, figures: Mapping[str, Any] | None) -> ForClass:
    """Nothing to print: then nothing can be missing."""
    found = figures or {"chance": 1.0, "expected_kits": gift.teams, "likely_at": None, "nearly_sure_at": None}
    moments = [found[name] and datetime.fromisoformat(found[name]) for name in ("likely_at", "nearly_sure_at")]
    return ForClass(gift.name, gift.teams, gift.deadline, found["chance"], found["expected_kits"], *moments)
