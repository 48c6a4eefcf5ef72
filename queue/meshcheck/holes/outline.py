"""The closed outline of a bore at one height, and the corners it turns at."""

from __future__ import annotations

import numpy as np

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
    closed = np.append(ring, first)
    kept = {0, far}
    spans = [(0, far), (far, len(ring))]
    while spans:
        low, high = spans.pop()
        if high - low < 2:
            continue
        inner = points[closed[low + 1 : high]]
        start, along = points[closed[low]], points[closed[high]] - points[closed[low]]
        length = float(np.hypot(*along))
        offset = inner - start
        across = np.abs(offset[:, 0] * along[1] - offset[:, 1] * along[0])
        aside = across / length if length > 0 else np.hypot(*offset.T)
        furthest = int(np.argmax(aside))
        if aside[furthest] > tolerance:
            middle = low + 1 + furthest
            kept.add(middle)
            spans += [(low, middle), (middle, high)]
    chosen: IntArray = ring[sorted(kept)].astype(np.int32)
    # the two points everything started from may themselves lie on a straight line
    turning: IntArray = chosen[_aside(points[chosen]) > tolerance]
    return turning


def _aside(places: FloatArray) -> FloatArray:
    """Distance (k,) of every corner of an outline from the line between its neighbours."""
    before, after = np.roll(places, 1, axis=0), np.roll(places, -1, axis=0)
    along, offset = after - before, places - before
    length = np.hypot(along[:, 0], along[:, 1])
    across = np.abs(offset[:, 0] * along[:, 1] - offset[:, 1] * along[:, 0])
    return np.where(length > 0, across / np.where(length > 0, length, 1.0), np.hypot(offset[:, 0], offset[:, 1]))
