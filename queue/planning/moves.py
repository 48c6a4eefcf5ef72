"""What the search tries: changes of a list of plates and of their fixed printers; and its own random numbers."""

from __future__ import annotations

import numpy as np

from planning.bits import Ints, Words
from planning.compiled import inner

_HOMEWARD = 0.5
MULTIPLIER = np.uint64(0x2545F4914F6CDD1D)


@inner
def unit(random: Words) -> float:
    """Uniform in [0, 1)."""
    state = random[0]
    state ^= state >> np.uint64(12)
    state ^= state << np.uint64(25)
    state ^= state >> np.uint64(27)
    random[0] = state
    return float((state * MULTIPLIER) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@inner
def below(random: Words, size: int) -> int:
    return int(unit(random) * size)


@inner
def shift(order: Ints, source: int, target: int) -> None:
    """Take out the plate at ``source`` and put it in at ``target``."""
    plate = order[source]
    step = 1 if source < target else -1
    for place in range(source, target, step):
        order[place] = order[place + step]
    order[target] = plate


@inner
def in_kit(plate, kit_of, kit):  # type: ignore[no-untyped-def]
    for at in range(plate.first_kit, plate.last_kit):  # noqa: SIM110 - a generator does not compile
        if kit_of[at] == kit:
            return True
    return False


@inner
def gather_kit(plates, kit_of, order, trial, printer_of, late, lates, random, free_printers):  # type: ignore[no-untyped-def]
    """All plates of one kit, mostly a late one, side by side at one place, mostly earlier."""
    size = len(order)
    plate = plates[late[below(random, lates)] if unit(random) < 0.8 else below(random, size)]
    if plate.first_kit == plate.last_kit:
        return
    kit = kit_of[plate.first_kit + below(random, plate.last_kit - plate.first_kit)]
    first, last, members = size, 0, 0
    for place in range(size):
        if in_kit(plates[order[place]], kit_of, kit):
            first = min(first, place)
            last = place
            members += 1
    kind = unit(random)
    if kind < 0.5:
        target = below(random, last + 1)
    elif kind < 0.8:
        target = max(0, first - 1 - below(random, max(2, size // 10)))
    else:
        target = below(random, size)
    target = min(target, size - members)
    others, inside = 0, target
    for place in range(size):
        member = order[place]
        if in_kit(plates[member], kit_of, kit):
            trial[inside] = member
            inside += 1
            if free_printers:
                printer_of[member] = -1
        else:
            trial[others if others < target else others + members] = member
            others += 1


@inner
def _other_printer(printer_of, duration, plate, shown, random, fixed):  # type: ignore[no-untyped-def]
    """Fix another printer for the plate, often the published one (``shown``), or leave it to the decoder again; False
    when nothing has changed."""
    could = 0 <= shown < duration.shape[1] and duration[plate, shown] > 0 and printer_of[plate] != shown
    if could and unit(random) < _HOMEWARD:
        printer_of[plate] = shown
        return True
    if printer_of[plate] >= 0 and unit(random) < (0.4 if fixed else 0.9):
        printer_of[plate] = -1
        return True
    printer = below(random, duration.shape[1])
    if duration[plate, printer] == 0 or printer == printer_of[plate] or duration.shape[1] == 1:
        return False
    if not fixed and unit(random) < 0.7:
        return False
    printer_of[plate] = printer
    return True


@inner
def one_plate(order, printer_of, plates, duration, late, lates, random, fixed):  # type: ignore[no-untyped-def]
    """Shift or exchange one plate, or give it another printer."""
    size = len(order)
    kind = unit(random)
    place = below(random, size)
    if lates > 0 and unit(random) < 0.15:
        plate = late[below(random, lates)]
        for other in range(size):
            if order[other] == plate:
                place = other
                break
        if kind < 0.5:
            near = place - 1 - below(random, max(1, size // 8))
            target = below(random, place + 1) if unit(random) < 0.5 else max(0, near)
        else:
            target = below(random, size)
    else:
        reach = max(2, size // 6)
        target = min(size - 1, max(0, place - reach + below(random, 2 * reach + 1)))
    plate = order[place]
    shown = plates[plate].published_printer
    if kind >= 0.95 and _other_printer(printer_of, duration, plate, shown, random, fixed):
        return
    if target == place:
        target = place + 1 if place + 1 < size else place - 1
    if kind < 0.55 or size < 2:
        shift(order, place, max(0, target))
        if not fixed and unit(random) < 0.3:
            printer_of[plate] = -1
    else:
        order[place], order[target] = order[target], order[place]
