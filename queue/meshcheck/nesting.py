"""Which bodies stand inside which, and so which shells are cavities and which are inside out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.moments import VOLUME, body_moments
from meshcheck.types import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Nesting:
    """The bodies of a mesh and their containers.

    volume (b,) signed mm3; lowest, highest (b, 3); faces sorted by body, body k's at ``starts[k]:starts[k + 1]`` of
    ``order``; ``containers[k]`` the closed bodies around body k, largest first; closed (b,) bool.
    """

    volume: FloatArray
    lowest: FloatArray
    highest: FloatArray
    order: IntArray
    starts: IntArray
    containers: tuple[tuple[int, ...], ...]
    closed: NDArray[np.bool_]

    def face_numbers(self, body: int) -> IntArray:
        """The faces of one body, as positions in the mesh's face list."""
        return self.order[self.starts[body] : self.starts[body + 1]]

    def box_pairs(self, members: list[int], slack: float) -> list[tuple[int, int]]:
        """Pairs of these bodies whose boxes share more than ``slack`` along every axis."""
        if len(members) < 2:
            return []
        chosen = np.array(members, np.int32)
        first, second = _box_pairs(self.lowest[chosen], self.highest[chosen], slack)
        return [(members[i], members[j]) for i, j in zip(first.tolist(), second.tolist(), strict=True)]

    def voids_of(self, body: int) -> list[int]:
        """The inward-facing shells directly inside a body."""
        return [k for k, around in enumerate(self.containers) if around and around[-1] == body and self.volume[k] < 0]


def nest(vertices: FloatArray, faces: IntArray, body: IntArray, bodies: int, closed: NDArray[np.bool_]) -> Nesting:
    """Find the containers of every closed body. closed (bodies,) says which have no open or flipped edge."""
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    volume = body_moments(vertices, faces, body, bodies, middle)[:, VOLUME]
    order = np.argsort(body, kind="stable").astype(np.int32)
    starts = np.searchsorted(body[order], np.arange(bodies + 1)).astype(np.int32)
    sorted_faces = np.ascontiguousarray(faces[order])
    lowest, highest = _boxes(vertices, sorted_faces, starts)
    containers: tuple[tuple[int, ...], ...] = ((),) * bodies
    if bodies > 1:
        inside = _containment(vertices, sorted_faces, starts, lowest, highest, closed)
        around: list[list[int]] = [[] for _ in range(bodies)]
        for inner, outer in inside.tolist():
            around[inner].append(outer)
        containers = tuple(tuple(sorted(outer, key=lambda k: -abs(volume[k]))) for outer in around)
    return Nesting(volume, lowest, highest, order, starts, containers, closed)


def inside_out(nesting: Nesting) -> NDArray[np.bool_]:
    """Which bodies must be turned, as a mask (b,).

    A file drawn wholly inside out is turned as a whole, so that a cavity stays a cavity: a shell follows its
    outermost container. After that, a shell that would make less than nothing (a void in no material) is turned.
    """
    count = len(nesting.volume)
    turn = np.zeros(count, bool)
    for k in np.flatnonzero(nesting.closed).tolist():
        outermost = nesting.containers[k][0] if nesting.containers[k] else k
        turn[k] = nesting.volume[outermost] < 0
    sign = np.sign(nesting.volume) * np.where(turn, -1, 1)
    for k in np.argsort(-np.abs(nesting.volume)).tolist():
        layers_around = sum(sign[outer] for outer in nesting.containers[k])
        if nesting.closed[k] and layers_around + sign[k] < 0:
            sign[k], turn[k] = -sign[k], not turn[k]
    return turn


def lies_in_material(vertices: FloatArray, faces: IntArray, point: FloatArray) -> bool:
    """Whether a point (3,) is enclosed by a closed mesh."""
    return bool(_winding(point, vertices, faces, 0, len(faces)) > 0)


@njit(cache=True, nogil=True)
def _boxes(vertices, faces, starts):  # type: ignore[no-untyped-def]
    bodies = starts.size - 1
    lowest = np.full((bodies, 3), np.inf)
    highest = np.full((bodies, 3), -np.inf)
    for k in range(bodies):
        for i in range(starts[k], starts[k + 1]):
            for c in range(3):
                for axis in range(3):
                    x = vertices[faces[i, c], axis]
                    lowest[k, axis] = min(lowest[k, axis], x)
                    highest[k, axis] = max(highest[k, axis], x)
    return lowest, highest


@njit(cache=True, nogil=True)
def _box_pairs(lowest, highest, slack):  # type: ignore[no-untyped-def]
    first = [np.int64(0) for _ in range(0)]
    second = [np.int64(0) for _ in range(0)]
    for i in range(lowest.shape[0]):
        for j in range(i + 1, lowest.shape[0]):
            apart = False
            for axis in range(3):
                shared = min(highest[i, axis], highest[j, axis]) - max(lowest[i, axis], lowest[j, axis])
                apart = apart or shared <= slack
            if not apart:
                first.append(np.int64(i))
                second.append(np.int64(j))
    return np.array(first), np.array(second)


@njit(cache=True, nogil=True)
def _containment(vertices, faces, starts, lowest, highest, closed):  # type: ignore[no-untyped-def]
    """Rows (inner, outer): a point of the inner body's first face lies within the outer body."""
    bodies = starts.size - 1
    found = [(np.int64(0), np.int64(0)) for _ in range(0)]
    point = np.empty(3)
    for inner in range(bodies):
        face = faces[starts[inner]]
        for axis in range(3):
            # uneven weights keep the point off the planes and edges of neatly drawn parts
            x, y, z = vertices[face[0], axis], vertices[face[1], axis], vertices[face[2], axis]
            point[axis] = 0.371 * x + 0.333 * y + 0.296 * z
        for outer in range(bodies):
            within = inner != outer and closed[inner] and closed[outer]
            for axis in range(3):
                within = within and lowest[outer, axis] <= lowest[inner, axis]
                within = within and highest[inner, axis] <= highest[outer, axis]
            if within and _winding(point, vertices, faces, starts[outer], starts[outer + 1]) != 0:
                found.append((np.int64(inner), np.int64(outer)))
    out = np.empty((len(found), 2), np.int64)
    for row in range(len(found)):
        out[row, 0], out[row, 1] = found[row]
    return out


@njit(cache=True, nogil=True)
def _winding(point, vertices, faces, start, stop):  # type: ignore[no-untyped-def]
    """Signed crossings of a ray going up from the point through faces start..stop: 0 outside, 1 inside, -1 in a void.

    Half-open edges in the x-y projection, each evaluated from its lower end, so that neighbours never both count or
    both miss the ray.
    """
    px, py, pz = point[0], point[1], point[2]
    total = 0
    for i in range(start, stop):
        odd = False
        for k in range(3):
            u, v = faces[i, k], faces[i, (k + 1) % 3]
            if (vertices[u, 1] > py) == (vertices[v, 1] > py):
                continue
            if vertices[u, 1] > vertices[v, 1]:
                u, v = v, u
            share = (py - vertices[u, 1]) / (vertices[v, 1] - vertices[u, 1])
            if vertices[u, 0] + share * (vertices[v, 0] - vertices[u, 0]) > px:
                odd = not odd
        if not odd:
            continue
        a, b, c = vertices[faces[i, 0]], vertices[faces[i, 1]], vertices[faces[i, 2]]
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        wx, wy, wz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        nz = ux * wy - uy * wx
        if nz == 0.0:
            continue
        nx, ny = uy * wz - uz * wy, uz * wx - ux * wz
        if a[2] - (nx * (px - a[0]) + ny * (py - a[1])) / nz > pz:
            total += 1 if nz > 0 else -1
    return total
