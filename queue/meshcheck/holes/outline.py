"""The closed outline of a bore at one height, and the corners it turns at."""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.layers.cut import cut
from meshcheck.types import FloatArray, IntArray, Mesh

# An outline that reaches less or further than this many radii is that of something else.
NARROWEST_SHARE, WIDEST_SHARE = 0.9, 3.0


def upright_part(mesh: Mesh, faces: IntArray, frame: FloatArray, middle: FloatArray) -> Mesh:
    """Some faces of a mesh with ``middle`` at the origin and the last column of ``frame`` (3, 3) along z."""
    chosen = mesh.faces[faces]
    used, local = np.unique(chosen, return_inverse=True)
    vertices = np.ascontiguousarray((mesh.vertices[used] - middle) @ frame)
    return Mesh(vertices, local.reshape(chosen.shape).astype(np.int32), mesh.body[faces])


def sides_at(upright: Mesh, at: float) -> FloatArray:
    """Where the faces cross the height ``at``, closed or not: (k, 4), each side as x, y of both ends."""
    above = (upright.vertices[:, 2] >= at)[upright.faces]
    meets = np.flatnonzero(above.any(axis=1) & ~above.all(axis=1))
    above, faces = above[meets], upright.faces[meets]
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), (~above).argmax(axis=1))
    each = np.arange(len(faces))
    tip = upright.vertices[faces[each, alone]]
    ends = []
    for step in (1, 2):
        other = upright.vertices[faces[each, (alone + step) % 3]]
        share = (at - tip[:, 2]) / (other[:, 2] - tip[:, 2])
        ends.append(tip[:, :2] + share[:, None] * (other - tip)[:, :2])
    return np.column_stack(ends)


def outline_at(upright: Mesh, radius: float, at: float) -> FloatArray | None:
    """Corners (k, 2) about the z axis, anticlockwise, of the hollow contour around it at the height ``at``; None where
    none closes around it."""
    z = upright.vertices[:, 2]
    above = (z >= at)[upright.faces]
    meets = above.any(axis=1) & ~above.all(axis=1)
    if not meets.any():
        return None
    part = Mesh(upright.vertices, upright.faces[meets], upright.body[meets])
    layers = cut(part, [at])
    best: FloatArray | None = None
    for k in np.flatnonzero(layers.closed):
        points = layers.points_mm[layers.starts[k] : layers.starts[k + 1]]
        reach = float(np.hypot(*points.T).max())
        if not NARROWEST_SHARE * radius < reach < WIDEST_SHARE * radius or not _hollow_around(points):
            continue
        if best is None or np.ptp(points[:, 0]) < np.ptp(best[:, 0]):
            best = points
    return None if best is None else best[::-1]


def _hollow_around(points: FloatArray) -> bool:
    """Whether a contour runs clockwise once around the origin: the outline of a hole."""
    angle = np.arctan2(points[:, 1], points[:, 0])
    turn = (np.roll(angle, -1) - angle + np.pi) % (2 * np.pi) - np.pi
    return bool(turn.sum() < -np.pi)


def corners_of(points: FloatArray, tolerance: float) -> IntArray:
    """Numbers of the points of a closed outline (k, 2) that are kept when every other one lies within ``tolerance`` of
    the straight line between its kept neighbours (Douglas and Peucker 1973, Cartographica 10:112)."""
    first = int(np.argmax(np.hypot(*points.T)))
    ring = np.roll(np.arange(len(points)), -first)
    far = int(np.argmax(np.hypot(*(points[ring] - points[first]).T)))
    if not far:
        return np.array([first], np.int32)
    chosen: IntArray = ring[_kept(points[np.append(ring, first)], far, tolerance)].astype(np.int32)
    # the two points everything started from may themselves lie on a straight line
    turning: IntArray = chosen[_aside(points[chosen]) > tolerance]
    return turning


@njit(cache=True, nogil=True)
def _kept(closed, far, tolerance):  # type: ignore[no-untyped-def]
    """Numbers of the points kept of a closed outline (k + 1, 2) that begins and ends with the same one; the first and
    the one numbered ``far`` are."""
    last = closed.shape[0] - 1
    keep = np.zeros(last, np.bool_)
    keep[0] = keep[far] = True
    spans = np.empty((last + 2, 2), np.int64)
    spans[0, 0], spans[0, 1], spans[1, 0], spans[1, 1] = 0, far, far, last
    height = 2
    while height > 0:
        height -= 1
        low, high = spans[height, 0], spans[height, 1]
        along_x, along_y = closed[high, 0] - closed[low, 0], closed[high, 1] - closed[low, 1]
        length = np.hypot(along_x, along_y)
        furthest, most = -1, tolerance
        for k in range(low + 1, high):
            x, y = closed[k, 0] - closed[low, 0], closed[k, 1] - closed[low, 1]
            aside = np.abs(x * along_y - y * along_x) / length if length > 0 else np.hypot(x, y)
            if aside > most:
                furthest, most = k, aside
        if furthest >= 0:
            keep[furthest] = True
            spans[height, 0], spans[height, 1] = low, furthest
            spans[height + 1, 0], spans[height + 1, 1] = furthest, high
            height += 2
    return np.flatnonzero(keep)


def _aside(places: FloatArray) -> FloatArray:
    """Distance (k,) of every corner of an outline from the line between its neighbours."""
    before, after = np.roll(places, 1, axis=0), np.roll(places, -1, axis=0)
    along, offset = after - before, places - before
    length = np.hypot(along[:, 0], along[:, 1])
    across = np.abs(offset[:, 0] * along[:, 1] - offset[:, 1] * along[:, 0])
    return np.where(length > 0, across / np.where(length > 0, length, 1.0), np.hypot(offset[:, 0], offset[:, 1]))
