"""Room that a closed skin encloses more than once, or the wrong way round, because it passes through itself.

The divergence theorem counts such room twice, or less than nothing. A printer fills what is enclosed at least once the
right way round (3MF core specification 1.4.0: positive fill rule). Columns measure the difference, so that figures of
a part without such room stay exact, and those of a part with it are off only by a small share of that room.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from meshcheck.columns import FINEST_PITCH_MM, column_hits
from meshcheck.moments import FIRST, SECOND, VOLUME
from meshcheck.types import FloatArray, Mesh

COLUMNS = 30_000  # of the first look; a second, finer one follows only where something is found
SHORTEST_MM = 0.001  # what is nearer than this touches
SHARE_LEAST = 1e-5  # of the part's volume: less is the noise of columns


@dataclass(frozen=True, slots=True, eq=False)
class Miscounted:
    """doubled_mm3: room counted too often; inverted_mm3: room enclosed the wrong way round, which is not filled.
    moments (11,): what must be added to the columns of ``moments.body_moments`` about the origin that was given."""

    doubled_mm3: float
    inverted_mm3: float
    moments: FloatArray


def miscounted(mesh: Mesh, volume_mm3: float, origin: FloatArray) -> Miscounted:
    """Miscounted room of a closed mesh, whose signed volume is given. Within 1 % where it is some millimetres wide."""
    nothing = Miscounted(0.0, 0.0, np.zeros(11))
    sizes = np.ptp(mesh.vertices, axis=0)
    coarse_mm = float(np.sqrt(sizes[0] * sizes[1] / COLUMNS))
    if not len(_pieces(mesh, coarse_mm)[0]):
        return nothing
    place, low, high, excess, cell_mm2 = _pieces(mesh, FINEST_PITCH_MM)
    room = excess * (high - low) * cell_mm2
    if np.abs(room).sum() <= SHARE_LEAST * abs(volume_mm3):
        return nothing
    doubled, inverted = -float(room[room < 0].sum()), float(room[room > 0].sum())
    return Miscounted(doubled, inverted, _moments(place - origin[:2], low - origin[2], high - origin[2], room))


def _pieces(mesh: Mesh, pitch_mm: float) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, float]:
    """Stretches of upright columns enclosed more than once or less than never: place (k, 2), ends (k,), how often
    they must be counted in addition (k,), and the area of a column in mm2."""
    hits = column_hits(mesh.vertices, mesh.faces, pitch_mm=pitch_mm)
    cell, ends, excess = _overfull(hits.start, hits.height_mm, hits.face, hits.upward, SHORTEST_MM)
    return hits.cross_mm(cell), ends[:, 0], ends[:, 1], excess, hits.pitch_mm**2


def _moments(place: FloatArray, low: FloatArray, high: FloatArray, room: FloatArray) -> FloatArray:
    """Volume, first and second moments of the stretches in the order of ``body_moments``."""
    x, y = place.T
    z, zz = (low + high) / 2, (low * low + low * high + high * high) / 3
    moments = np.zeros(11)
    moments[VOLUME] = room.sum()
    moments[FIRST] = [(room * k).sum() for k in (x, y, z)]
    moments[SECOND] = [(room * k).sum() for k in (x * x, y * y, zz, x * y, y * z, z * x)]
    return moments


@njit(cache=True, nogil=True)
def _overfull(start, height, face, upward, shortest):  # type: ignore[no-untyped-def]
    """Stretches longer than ``shortest`` between sorted hits: cell (k,), ends (k, 2), what each misses of being counted
    once or not at all (k,). Columns that do not come out even say nothing."""
    cells = np.empty(height.size, np.int32)
    ends = np.empty((height.size, 2))
    excess = np.empty(height.size)
    count = 0
    for cell in range(start.size - 1):
        depth, first = 0, count
        for q in range(start[cell], start[cell + 1]):
            depth += -1 if upward[face[q]] else 1
            missing = min(max(depth, 0), 1) - depth
            if missing != 0 and q + 1 < start[cell + 1] and height[q + 1] - height[q] > shortest:
                cells[count], excess[count] = cell, missing
                ends[count, 0], ends[count, 1] = height[q], height[q + 1]
                count += 1
        if depth != 0:
            count = first
    return cells[:count], ends[:count], excess[:count]
