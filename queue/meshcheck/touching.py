"""Tell apart surfaces that only touch: along an edge, at a face, at a corner.

Exact merging glues bodies that share corners, and an edge where they meet then has four faces or more. Seen along the
edge, each sector of material lies between one face that opens it and one that closes it; pairing those gives every
surface its own edge and corners back.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.edges import edge_ids
from meshcheck.moments import VOLUME, body_moments
from meshcheck.pinched import sides_in_pairs, split_pinched
from meshcheck.topology import root_of
from meshcheck.types import FloatArray, IntArray

# Faces of touching bodies lie in one plane only as well as single precision can say.
SAME_ANGLE_RAD = 1e-5


def part_touching(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Give surfaces that touch their own vertices. Edges whose faces cannot be paired stay crowded.

    Returns vertices and faces; the faces keep their order and their corners' places. Where a surface is pinched and
    meets itself at an edge, faces are cut in two; what is cut off comes last.
    """
    ids, edges = edge_ids(faces, len(vertices))
    order = np.argsort(ids, kind="stable").astype(np.int32)
    starts = np.searchsorted(ids[order], np.arange(edges + 1)).astype(np.int32)
    whole = body_moments(vertices, faces, np.zeros(len(faces), np.int32), 1, vertices.mean(axis=0))
    # in a file drawn inside out, material lies on the other side of every face
    opens = _opens(faces) != bool(whole[0, VOLUME] < 0)
    balance = np.add.reduceat(np.where(opens, 1, -1)[order], starts[:-1])
    crowded = (np.diff(starts) > 2) & (balance == 0)
    chosen = np.repeat(crowded, np.diff(starts))
    order[chosen] = _around(vertices, faces, order[chosen], ids[order[chosen]], opens)
    _match(order, starts, crowded, opens)
    pairable = crowded | (np.diff(starts) == 2)
    corner_vertex, source = _part(faces, order, starts, pairable)
    parted, apart = vertices[source], corner_vertex.reshape(-1, 3)
    parted, apart = split_pinched(parted, apart, *sides_in_pairs(order, starts, crowded))
    return np.ascontiguousarray(parted), np.ascontiguousarray(apart)


def _opens(faces: IntArray) -> NDArray[np.bool_]:
    """Whether material begins at this face when going anticlockwise about the edge, for every side (3m,).

    Seen along the edge from its lower to its higher vertex; a face that runs the other way has it on its left.
    """
    opens: NDArray[np.bool_] = (faces > np.roll(faces, -1, axis=1)).reshape(-1)
    return opens


def _around(
    vertices: FloatArray, faces: IntArray, sides: IntArray, edge: IntArray, opens: NDArray[np.bool_]
) -> IntArray:
    """Sort the sides of every edge by the direction of their faces, seen along the edge.

    Within one direction closing faces come first, so that bodies that touch there stay apart; of several bodies in
    one place the one named last counts as innermost.
    """
    turn = _turns(vertices, faces, sides, edge)
    by_turn = np.lexsort((turn, edge))
    new = np.diff(turn[by_turn], prepend=-np.inf) > SAME_ANGLE_RAD
    new |= np.diff(edge[by_turn], prepend=-1) != 0
    direction = np.empty(len(sides), np.int64)
    direction[by_turn] = np.cumsum(new)
    nested = np.where(opens[sides], sides, -1 - sides.astype(np.int64))
    return sides[np.lexsort((nested, direction))]


def _turns(vertices: FloatArray, faces: IntArray, sides: IntArray, edge: IntArray) -> FloatArray:
    """The direction of the face at every side in radians, counted from the first side of the same edge."""
    face, k = sides // 3, sides % 3
    u, v, third = faces[face, k], faces[face, (k + 1) % 3], faces[face, (k + 2) % 3]
    low, high = np.minimum(u, v), np.maximum(u, v)
    along = vertices[high] - vertices[low]
    along /= np.linalg.norm(along, axis=1)[:, None]
    reach = vertices[third] - vertices[low]
    across = reach - along * np.einsum("ij,ij->i", reach, along)[:, None]
    first = np.searchsorted(edge, edge)
    normal = np.cross(along, across[first])
    turn = np.arctan2(np.einsum("ij,ij->i", across, normal), np.einsum("ij,ij->i", across, across[first]))
    turn = np.where(turn < 0, turn + 2 * np.pi, turn)
    rounded: FloatArray = np.where(turn > 2 * np.pi - SAME_ANGLE_RAD, 0.0, turn)
    return rounded


@njit(cache=True, nogil=True)
def _match(order, starts, crowded, opens):  # type: ignore[no-untyped-def]
    """Reorder the sides of crowded edges into pairs: opening and closing faces match like brackets on a circle."""
    sides = np.empty(order.size, order.dtype)
    stack = np.empty(order.size, order.dtype)
    for edge in range(crowded.size):
        if not crowded[edge]:
            continue
        start, count = starts[edge], starts[edge + 1] - starts[edge]
        depth, least, begin = 0, 0, 0
        for i in range(count):
            sides[i] = order[start + i]
            depth += 1 if opens[sides[i]] else -1
            if depth < least:
                least, begin = depth, i + 1
        height, filled = 0, start
        for i in range(count):
            side = sides[(begin + i) % count]
            if opens[side]:
                stack[height] = side
                height += 1
            else:
                height -= 1
                order[filled], order[filled + 1] = stack[height], side
                filled += 2


@njit(cache=True, nogil=True)
def _part(faces, order, starts, pairable):  # type: ignore[no-untyped-def]
    """The vertex of every corner (3m,) when only paired faces share corners, and the old vertex of every new one."""
    corners = 3 * faces.shape[0]
    parent = np.arange(corners).astype(np.int32)
    for edge in range(pairable.size):
        step = 2 if pairable[edge] else 1  # without a pairing all faces are kept at one edge
        for i in range(starts[edge], starts[edge + 1] - 1, step):
            _join(parent, faces, order[i], order[i + 1])
    vertex = np.empty(corners, np.int32)
    source = np.empty(corners, np.int32)
    count = 0
    for corner in range(corners):
        root = root_of(parent, corner)
        if root == corner:
            source[count] = faces[corner // 3, corner % 3]
            vertex[corner] = count
            count += 1
        else:
            vertex[corner] = vertex[root]  # the root is the lowest corner of its group
    return vertex, source[:count].copy()


@njit(cache=True, nogil=True)
def _join(parent, faces, side, other):  # type: ignore[no-untyped-def]
    """Make the two ends of one edge common to the two faces beside it."""
    f, g = side // 3, other // 3
    for i in range(2):
        for j in range(2):
            p, q = (side % 3 + i) % 3, (other % 3 + j) % 3
            if faces[f, p] == faces[g, q]:
                a, b = root_of(parent, 3 * f + p), root_of(parent, 3 * g + q)
                parent[max(a, b)] = min(a, b)
