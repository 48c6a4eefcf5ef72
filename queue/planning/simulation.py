"""The compiled course of events: what may happen when staff follow a plan and prints fail or take longer.

Staff keep to the planned order on every printer and to planned minutes where they can; whoever needs a technician first
is served first; what takes no time waits for nobody. A set-up that would not end in time by its planned duration waits
for the next staffed day. A failed print is noticed, taken off, and printed again next on the same printer. Of a run
that is partly good only the copies that are missing are printed again, in their share of the minutes and grams; until
then all kits of the plate wait.
"""

from __future__ import annotations

import numpy as np

from planning.bits import book, copy, first_free
from planning.compiled import inner, kernel
from planning.room import CLEAR_MIN, HORIZON, NEW_SPOOL_MG, START_MIN, SWAP_MIN

IDLE, TO_SET_UP, TO_CLEAR = 0, 1, 2
NOBODY = np.int64(1 << 60)

LINE = np.dtype(
    [
        ("ready", np.int64),  # as in room.PRINTER
        ("loaded", np.int64),
        ("spool_mg", np.int64),
        ("unattended", np.int64),
        ("first_outage", np.int64),
        ("last_outage", np.int64),
        ("first", np.int64),  # slice of the planned sequence
        ("last", np.int64),
        ("running_clear", np.int64),  # planned clearing of what runs now, -1 for nothing
        ("state", np.int64),  # IDLE, TO_SET_UP or TO_CLEAR: what the printer waits for
        ("request", np.int64),  # from which minute; NOBODY when idle
        ("planned", np.int64),  # when the plan has it
        ("place", np.int64),  # in the sequence; first - 1 while the running print is to be cleared
        ("attempt", np.int64),
        ("failed", np.int64),
        ("missing", np.int64),  # copies still to be printed of a plate that was partly good; 0: the whole plate
    ]
)
# Columns of ``risks``: see types.Risk; FORCED: 1 if the first attempt fails for certain.
FAIL_PER_START, FAIL_PER_HOUR, SPREAD, SPOIL, COPIES, SPARES, FORCED = range(7)

# splitmix64 (G. L. Steele, D. Lea and C. H. Flood, OOPSLA 2014): a number drawn for a sample, plate and attempt is the
# same whatever else happens, so that two plans are compared under the same luck.
GOLDEN = np.uint64(0x9E3779B97F4A7C15)
OF_COPIES = np.uint64(0xD1B54A32D192ED03)  # another stream, for spoilt copies (the constant is an odd number of ours)
FIRST, SECOND = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)


@inner
def _unit(seed, sample, plate, attempt, which):  # type: ignore[no-untyped-def]
    """Uniform in (0, 1)."""
    key = np.uint64(((sample * 8192 + plate) * 64 + attempt) * 4 + which)
    state = seed + (key + np.uint64(1)) * GOLDEN
    state = (state ^ (state >> np.uint64(30))) * FIRST
    state = (state ^ (state >> np.uint64(27))) * SECOND
    state ^= state >> np.uint64(31)
    return (float(state >> np.uint64(11)) + 0.5) * (1.0 / 9007199254740992.0)


@inner
def _course(risk, minutes, seed, sample, plate, attempt):  # type: ignore[no-untyped-def]
    """Whether a print fails, and after how many minutes it ends, done or failed."""
    real = float(minutes)
    if risk[SPREAD] > 0:
        first, second = _unit(seed, sample, plate, attempt, 0), _unit(seed, sample, plate, attempt, 1)
        normal = np.sqrt(-2.0 * np.log(first)) * np.cos(2.0 * np.pi * second)
        real *= np.exp(risk[SPREAD] * normal)
    luck = _unit(seed, sample, plate, attempt, 2)
    share = _unit(seed, sample, plate, attempt, 3)
    if luck < risk[FAIL_PER_START] or (attempt == 0 and risk[FORCED] > 0):
        return True, max(1, round(real * share))
    if risk[FAIL_PER_HOUR] > 0:
        hours = -np.log(share) / risk[FAIL_PER_HOUR]
        if hours * 60.0 < real:
            return True, max(1, round(hours * 60.0))
    return False, max(1, round(real))


@inner
def _spoilt(risk, copies, seed, sample, plate, attempt):  # type: ignore[no-untyped-def]
    """How many of so many copies are bad in a run that reached its end: binomial, by its distribution's inverse."""
    chance = risk[SPOIL]
    if chance <= 0.0:
        return 0
    if chance >= 1.0:
        return copies
    luck = _unit(seed ^ OF_COPIES, sample, plate, attempt, 0)
    share = (1.0 - chance) ** copies
    bad = 0
    while luck >= share and bad < copies:
        luck -= share
        share *= (copies - bad) / (bad + 1) * chance / (1.0 - chance)
        bad += 1
    return bad


@inner
def _set_up(busy, skip, ends, outages, printer, request, length, minutes, horizon):  # type: ignore[no-untyped-def]
    """When a set-up asked for at a minute really begins; the horizon if never."""
    minute = request
    while minute < horizon:
        minute = first_free(busy, skip, minute, max(length, 1), horizon)
        if minute >= horizon:
            return horizon
        end = minute + length + minutes
        if end > ends[printer.unattended, minute]:
            minute = np.int64(ends[0, minute])
            continue
        moved = False
        for outage in range(printer.first_outage, printer.last_outage):
            if outages[outage, 0] < end and minute < outages[outage, 1]:
                minute = outages[outage, 1]
                moved = True
                break
        if not moved:
            return minute
    return horizon


@inner
def _next_line(lines):  # type: ignore[no-untyped-def]
    """The printer that asks for staff first; of several, the one planned first. -1: all idle."""
    chosen, request, planned = -1, NOBODY, NOBODY
    for number in range(len(lines)):
        line = lines[number]
        if line.state != IDLE and (line.request, line.planned) < (request, planned):
            chosen, request, planned = number, line.request, line.planned
    return chosen


@inner
def _wait_for_set_up(line, sequence, setup, minute):  # type: ignore[no-untyped-def]
    """The next planned plate, if any, is to be set up from that minute, but not before its planned one."""
    if line.place < line.last:
        line.state = TO_SET_UP
        line.planned = setup[sequence[line.place]]
        line.request = max(minute, line.planned)
    else:
        line.state, line.request = IDLE, NOBODY


@inner
def _begin(lines, fresh, sequence, setup):  # type: ignore[no-untyped-def]
    """Every printer as it stands now."""
    for number in range(len(lines)):
        line, start = lines[number], fresh[number]
        line.loaded, line.spool_mg = start.loaded, start.spool_mg
        line.attempt, line.failed, line.missing = 0, 0, 0
        if start.running_clear >= 0:
            line.place = start.first - 1
            line.state = TO_CLEAR
            line.request = line.planned = start.running_clear
        else:
            line.place = start.first
            _wait_for_set_up(line, sequence, setup, start.ready)


@inner
def _share(line, whole, risk):  # type: ignore[no-untyped-def]
    """The part of a plate's minutes or grams that the next attempt takes, rounded up."""
    if line.missing == 0:
        return np.int64(whole)
    copies = np.int64(risk[COPIES] + risk[SPARES])
    return -(-np.int64(whole) * line.missing // copies)


@inner
def _print(line, plate, numbers, length, minutes, begin, risk, planned_clear, seed, sample, row):  # type: ignore[no-untyped-def]
    """Set up and print: the spool, and from when the printer is to be cleared."""
    if length > numbers[START_MIN]:
        line.loaded, line.spool_mg = plate.filament, numbers[NEW_SPOOL_MG]
    line.spool_mg -= _share(line, plate.grams_mg, risk)
    lost, real = _course(risk, minutes, seed, sample, row, line.attempt)
    line.failed = 1 if lost else 0
    if not lost:
        wanted = np.int64(risk[COPIES] + risk[SPARES]) if line.missing == 0 else line.missing
        spare = np.int64(risk[SPARES]) if line.missing == 0 else np.int64(0)
        line.missing = max(0, _spoilt(risk, wanted, seed, sample, row, line.attempt) - spare)
        line.failed = 1 if line.missing > 0 else 0
    ready = begin + length + real + (0 if lost else plate.cool)
    line.state = TO_CLEAR
    line.planned = planned_clear
    line.request = ready if lost or line.attempt > 0 else max(ready, planned_clear)


@inner
def _length(line, plate, numbers, risk):  # type: ignore[no-untyped-def]
    swap = line.loaded != plate.filament or line.spool_mg < _share(line, plate.grams_mg, risk)
    return numbers[START_MIN] + (numbers[SWAP_MIN] if swap else 0)


@kernel
def simulate(  # type: ignore[no-untyped-def]
    diary, scratch, room, fresh, lines, sequence, setup, clear, risks, cleared, failed, staff_min, seed
):
    """Fill ``cleared`` (samples, n): the minute each plate was cleared as good, the horizon if never.

    ``diary``, ``scratch``: (busy, planes, staff, skip), an empty one and one to write in; ``fresh``, ``lines``: (m,)
    LINE likewise. ``sequence``: the planned plates of one printer after the other. ``setup``, ``clear`` (n,): planned
    minutes. ``risks`` (n, 7). ``failed`` (samples, n): where the first attempt was not good. ``staff_min`` (samples,):
    minutes of staff actions.
    """
    busy, planes, staff, skip = scratch[0], scratch[1], scratch[2], scratch[3]
    numbers, plates, ends, outages = room.numbers, room.plates, room.ends, room.outages
    duration = room.duration
    horizon, clear_min = numbers[HORIZON], numbers[CLEAR_MIN]
    shortest = max(1, min(numbers[START_MIN], clear_min))
    for sample in range(len(cleared)):
        copy(busy, diary[0])
        copy(skip, diary[3])
        for level in range(len(planes)):
            copy(planes[level], diary[1][level])
        for row in range(len(plates)):
            cleared[sample, row] = horizon
            failed[sample, row] = 0
        _begin(lines, fresh, sequence, setup)
        while True:
            number = _next_line(lines)
            if number < 0:
                break
            line = lines[number]
            if line.state == TO_SET_UP:
                row = sequence[line.place]
                plate, minutes = plates[row], _share(line, duration[row, number], risks[row])
                length = _length(line, plate, numbers, risks[row])
                taken, hop = (busy, skip) if length > 0 else (diary[0], diary[3])
                begin = _set_up(taken, hop, ends, outages, line, line.request, length, minutes, horizon)
                action = length
            else:
                taken, hop = (busy, skip) if clear_min > 0 else (diary[0], diary[3])
                begin = first_free(taken, hop, min(line.request, horizon), max(clear_min, 1), horizon)
                action = clear_min
            if begin >= horizon:
                line.state, line.request = IDLE, NOBODY
                continue
            book(busy, planes, staff, skip, begin, begin + action, shortest)
            staff_min[sample] += action
            if line.state == TO_SET_UP:
                _print(line, plate, numbers, length, minutes, begin, risks[row], clear[row], seed, sample, row)
                continue
            if line.failed == 1:
                failed[sample, sequence[line.place]] = 1
                line.attempt = min(line.attempt + 1, 63)
                line.failed = 0
            else:
                if line.place >= line.first:
                    cleared[sample, sequence[line.place]] = begin + clear_min
                line.place += 1
                line.attempt = line.missing = 0
            _wait_for_set_up(line, sequence, setup, begin + clear_min)
