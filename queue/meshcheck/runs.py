"""Bodies told apart by the order in which the file names their faces.

Programs write one body after the other. Where the faces read so far form a closed skin, a body ends, however it
touches or cuts the others; exact merging would glue bodies that share corners.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.edges import edge_ids
from meshcheck.types import FloatArray, IntArray

FACES_LEAST = 4  # of a body; two faces back to back enclose nothing


def part_closed_runs(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Give every closed run of faces its own vertices, and leave out runs that enclose nothing.

    Returns vertices and faces as they came where the file holds only one run, or ends in the middle of one.
    """
    ids, count = edge_ids(faces, len(vertices))
    run, ends_closed = _closed_runs(faces, ids, count)
    if run[-1] == 0 or not ends_closed:
        return vertices, faces
    solid = np.bincount(run)[run] >= FACES_LEAST
    if not solid.any():
        return vertices, faces
    key = faces[solid].astype(np.int64) + run[solid].astype(np.int64)[:, None] * len(vertices)
    names, index = np.unique(key, return_inverse=True)
    return np.ascontiguousarray(vertices[names % len(vertices)]), index.reshape(-1, 3).astype(np.int32)


@njit(cache=True, nogil=True)
def _closed_runs(faces, ids, count):  # type: ignore[no-untyped-def]
    """The number (m,) of the run every face belongs to, and whether the last is closed; a run ends where every edge
    was passed equally both ways."""
    run = np.empty(faces.shape[0], np.int32)
    balance = np.zeros(count, np.int32)
    uneven, number = 0, 0
    for i in range(faces.shape[0]):
        run[i] = number
        for k in range(3):
            edge = ids[3 * i + k]
            uneven -= balance[edge] != 0
            balance[edge] += 1 if faces[i, k] < faces[i, (k + 1) % 3] else -1
            uneven += balance[edge] != 0
        if uneven == 0:
            number += 1
    return run, uneven == 0
