"""Where a skin passes through itself: faces of one body that cut each other.

Two faces cross when each has corners on both sides of the other's plane and the two cuts share a stretch. What lies
within the rounding of the file counts as touching, so that faces that only meet are never said to cross.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshcheck.boxtree import box_tree, boxes_meet, curve_order, face_boxes, frame_of_small_boxes
from meshcheck.edges import coordinate_step_mm, face_normals
from meshcheck.types import Crossings, FloatArray, Mesh

TOUCH_STEPS = 1.0  # faces this many steps of the coordinates from each other touch
TOUCH_SHARE = 1e-6  # of the diagonal; as far as open seams are welded
# Steps of the search: boxes and faces compared. About half a second; an honest part of 500,000 faces needs a tenth.
STEPS_MOST = 60_000_000
PAIRS_KEPT = 20_000


def find_crossings(mesh: Mesh, steps_most: int = STEPS_MOST) -> Crossings:
    """Faces of one body that cut each other; faces of different bodies are not compared."""
    if not len(mesh.faces):
        return Crossings(np.zeros(0, np.int32), 0.0, None, True)
    vertices = mesh.vertices - mesh.vertices.mean(axis=0)
    diagonal = float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    touch = max(TOUCH_STEPS * coordinate_step_mm(mesh.vertices), TOUCH_SHARE * diagonal)
    frame = frame_of_small_boxes(vertices, mesh.faces)
    turned = np.ascontiguousarray(vertices @ frame)
    low, high = face_boxes(turned, mesh.faces)
    order = curve_order(low, high)
    faces = np.ascontiguousarray(mesh.faces[order], np.int32)
    corners = np.ascontiguousarray(turned[faces])
    normals, area = face_normals(corners)
    pairs, cuts, complete = _search(
        corners, faces, mesh.body[order], normals, area, box_tree(low[order], high[order]), touch, steps_most
    )
    if not len(pairs):
        return Crossings(np.zeros(0, np.int32), 0.0, None, bool(complete))
    length = np.linalg.norm(cuts[:, 1] - cuts[:, 0], axis=1)
    middle: FloatArray = cuts[length.argmax()].mean(axis=0) @ frame.T + mesh.vertices.mean(axis=0)
    place = (float(middle[0]), float(middle[1]), float(middle[2]))
    crossing = order[np.unique(pairs)].astype(np.int32)
    return Crossings(np.sort(crossing), float(length.sum()), place, bool(complete))


@njit(cache=True, nogil=True)
def _search(corners, faces, body, normals, area, boxes, touch, steps_most):  # type: ignore[no-untyped-def]
    """Pairs (k, 2) of faces that cut each other, the ends of their cuts (k, 2, 3), and whether all were looked at."""
    p = boxes.shape[0] // 2
    stack = np.empty((1024, 2), np.int64)
    stack[0] = 1
    height = 1
    pairs = np.empty((PAIRS_KEPT, 2), np.int32)
    cuts = np.empty((PAIRS_KEPT, 2, 3))
    found, steps = 0, 0
    cut = np.empty((2, 3))
    while height > 0:
        height -= 1
        a, b = stack[height, 0], stack[height, 1]
        steps += 1
        if a < p:
            for i in range(2 * a, 2 * a + 2):
                for j in range(max(i, 2 * b), 2 * b + 2):
                    if boxes_meet(boxes, i, j):
                        stack[height, 0], stack[height, 1] = i, j
                        height += 1
            if steps > steps_most:
                return pairs[:found], cuts[:found], False
            continue
        i, j = a - p, b - p
        if (
            i != j
            and body[i] == body[j]
            and _straddles(corners, normals, i, j, touch)
            and _straddles(corners, normals, j, i, touch)
            and not _share_side(faces, i, j)
            and _cut(corners, normals, area, i, j, touch, cut)
        ):
            pairs[found, 0], pairs[found, 1] = i, j
            cuts[found] = cut
            found += 1
            if found == PAIRS_KEPT:
                return pairs, cuts, False
    return pairs[:found], cuts[:found], True


@njit(cache=True, nogil=True)
def _straddles(corners, normals, i, j, touch):  # type: ignore[no-untyped-def]
    """Whether face i has corners on both sides of the plane of face j, further off than ``touch``."""
    nx, ny, nz = normals[j, 0], normals[j, 1], normals[j, 2]
    level = nx * corners[j, 0, 0] + ny * corners[j, 0, 1] + nz * corners[j, 0, 2]
    above, below = False, False
    for k in range(3):
        distance = nx * corners[i, k, 0] + ny * corners[i, k, 1] + nz * corners[i, k, 2] - level
        above = above or distance > touch
        below = below or distance < -touch
    return above and below


@njit(cache=True, nogil=True)
def _share_side(faces, i, j):  # type: ignore[no-untyped-def]
    """Neighbours along an edge: they fold, they do not cross."""
    shared = 0
    for k in range(3):
        for m in range(3):
            shared += faces[i, k] == faces[j, m]
    return shared > 1


@njit(cache=True, nogil=True)
def _cut(corners, normals, area, i, j, touch, cut):  # type: ignore[no-untyped-def]
    """Whether faces that straddle each other's planes share more than ``touch`` of the line in which the planes meet;
    the ends of the cut go to ``cut`` (2, 3)."""
    if _sliver(corners, area, i, touch) or _sliver(corners, area, j, touch):
        return False
    direction = np.cross(normals[i], normals[j])
    size = np.sqrt((direction * direction).sum())
    first, second = np.empty((3, 3)), np.empty((3, 3))
    if size == 0 or _met(corners, normals, i, j, first) != 2 or _met(corners, normals, j, i, second) != 2:
        return False
    direction /= size
    ends = np.empty(4)
    for k in range(2):
        ends[k] = (first[k] * direction).sum()
        ends[2 + k] = (second[k] * direction).sum()
    low = max(min(ends[0], ends[1]), min(ends[2], ends[3]))
    high = min(max(ends[0], ends[1]), max(ends[2], ends[3]))
    if high - low <= touch:
        return False
    for axis in range(3):
        cut[0, axis] = first[0, axis] + (low - ends[0]) * direction[axis]
        cut[1, axis] = first[0, axis] + (high - ends[0]) * direction[axis]
    return True


@njit(cache=True, nogil=True)
def _met(corners, normals, i, j, points):  # type: ignore[no-untyped-def]
    """Where the outline of face i meets the plane of face j: how many points, which go to ``points``."""
    distance = np.empty(3)
    for k in range(3):
        distance[k] = ((corners[i, k] - corners[j, 0]) * normals[j]).sum()
    met = 0
    for k in range(3):
        d, e = distance[k], distance[(k + 1) % 3]
        if d == 0:
            points[met] = corners[i, k]
            met += 1
        elif d * e < 0:
            points[met] = corners[i, k] + d / (d - e) * (corners[i, (k + 1) % 3] - corners[i, k])
            met += 1
    return met


@njit(cache=True, nogil=True)
def _sliver(corners, area, i, touch):  # type: ignore[no-untyped-def]
    """Whether a face is so narrow that its plane is mostly rounding."""
    longest = 0.0
    for k in range(3):
        side = corners[i, (k + 1) % 3] - corners[i, k]
        longest = max(longest, (side * side).sum())
    return 2 * area[i] <= touch * np.sqrt(longest)
