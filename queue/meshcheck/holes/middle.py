"""The last look for a hub hole: whatever opens around the middle of a wheel, in cross-sections.

Steep tapers, crosses, triangles and stars are no cylinder and no outline with a name; yet a bar passes, and to say that
the hole is missing would be wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshcheck.edges import EdgeTable
from meshcheck.holes.circle import fit_circle, largest_circle
from meshcheck.holes.cylinder import Cylinder
from meshcheck.holes.sections import PLANES, PLANES_LEAST, bent, flat_axes
from meshcheck.holes.taper import tapered
from meshcheck.layers.cut import cut
from meshcheck.types import FloatArray, IntArray, Mesh

# Contours of neighbouring planes belong to one hole when their middles and widths are this near, in radii.
STEP_SHARE = 0.3
ALIKE_SHARE, ALIKE_LEAST = 0.15, 3
INNER_SHARE, OUTER_SHARE = 0.6, 1.05
LEANING_MOST = 0.7  # a chamfer or a floor leans more
FACES_LEAST = 6


@dataclass(frozen=True, slots=True, eq=False)
class _Loop:
    """A hollow contour: height, middle and radius of a circle of its area, its points (k, 2)."""

    height: float
    centre: FloatArray
    radius: float
    points: FloatArray


def middle_openings(mesh: Mesh, edges: EdgeTable) -> list[Cylinder]:
    """Holes of any outline along the part's flattest directions, as the circle of the corners at half their height. The
    misfit is set to the radius: nothing of it is to be relied on before the shape is known."""
    found = []
    for axis, frame in flat_axes(edges):
        turned = Mesh(np.ascontiguousarray(mesh.vertices @ frame), mesh.faces, mesh.body)
        z = turned.vertices[:, 2]
        step = float(np.ptp(z)) / PLANES
        for loops in _stacked(_loops(turned, z.min() + step * (np.arange(PLANES) + 0.5)), step):
            made = _opening(turned, frame, axis, loops, step)
            if made is not None and (_upright(loops) or tapered(mesh, made) is not None):
                found.append(made)
    return found


def _upright(loops: list[_Loop]) -> bool:
    """Whether a stack is as wide at the top as at the bottom: a dent is no hole."""
    radii = [loop.radius for loop in loops]
    return len(radii) >= ALIKE_LEAST and max(radii) < (1 + ALIKE_SHARE) * min(radii)


def _loops(turned: Mesh, heights: FloatArray) -> list[_Loop]:
    layers, loops = cut(turned, heights), []
    for k in np.flatnonzero(layers.closed):
        points = layers.points_mm[layers.starts[k] : layers.starts[k + 1]]
        x, y = points.T
        doubled = x * np.roll(y, -1) - np.roll(x, -1) * y
        area = 0.5 * float(doubled.sum())
        if area < 0:
            middle = ((points + np.roll(points, -1, axis=0)) * doubled[:, None]).sum(axis=0) / (6 * area)
            height = float(layers.heights_mm[layers.layer[k]])
            loops.append(_Loop(height, middle, float(np.sqrt(-area / np.pi)), points))
    return sorted(loops, key=lambda loop: loop.height)


def _stacked(loops: list[_Loop], step: float) -> list[list[_Loop]]:
    """Contours of neighbouring planes above each other, each like the one below it."""
    stacks: list[list[_Loop]] = []
    for loop in loops:
        for stack in stacks:
            last = stack[-1]
            near = STEP_SHARE * last.radius
            close = np.hypot(*(loop.centre - last.centre)) < near and abs(loop.radius - last.radius) < near
            if close and 0 < loop.height - last.height < 1.5 * step:
                stack.append(loop)
                break
        else:
            stacks.append([loop])
    return [stack for stack in stacks if len(stack) >= PLANES_LEAST]


def _opening(turned: Mesh, frame: FloatArray, axis: FloatArray, loops: list[_Loop], step: float) -> Cylinder | None:
    """A stack of contours as a round hole; ``frame`` turns its z back to the axis."""
    middle = loops[len(loops) // 2]
    centre, radius = fit_circle(bent(middle.points))
    faces = _walls(turned, loops, step)
    if len(faces) < FACES_LEAST:
        return None
    z = turned.vertices[turned.faces[faces], 2]
    low, high = float(z.min()), float(z.max())
    bars = [largest_circle(np.column_stack([p, np.roll(p, -1, axis=0)]), middle.centre) for p in _points(loops)]
    free_at, free = min(bars, key=lambda bar: bar[1])
    halfway = (low + high) / 2
    return Cylinder(
        axis=axis, middle_mm=frame @ np.append(centre, halfway), radius_mm=radius, free_radius_mm=min(free, radius),
        free_middle_mm=frame @ np.append(free_at, halfway), low_mm=low, high_mm=high, hollow=True, coverage=1.0,
        misfit_mm=radius, roundness_mm=2 * (radius - min(free, radius)), diameters_mm=(2 * radius, 2 * radius),
        facets=len(bent(middle.points)), longest_side_rad=2 * np.pi, body=int(turned.body[faces[0]]), faces=faces,
    )  # fmt: skip


def _points(loops: list[_Loop]) -> list[FloatArray]:
    return [loop.points for loop in loops]


def _walls(turned: Mesh, loops: list[_Loop], step: float) -> IntArray:
    """Upright faces between two heights whose corners stand as far from the middle as the contours do."""
    centre = np.median([loop.centre for loop in loops], axis=0)
    reach = [np.hypot(*(loop.points - centre).T) for loop in loops]
    inner, outer = INNER_SHARE * min(r.min() for r in reach), OUTER_SHARE * max(r.max() for r in reach)
    low, high = loops[0].height - 1.5 * step, loops[-1].height + 1.5 * step
    place = turned.vertices[:, :2] - centre
    width, z = np.hypot(place[:, 0], place[:, 1]), turned.vertices[:, 2]
    near = (width > inner) & (width < outer) & (z > low) & (z < high)
    faces = np.flatnonzero(near[turned.faces].all(axis=1)).astype(np.int32)
    a, b, c = (turned.vertices[turned.faces[faces, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    size = np.linalg.norm(across, axis=1)
    upright: IntArray = faces[(np.abs(across[:, 2]) < LEANING_MOST * size) & (size > 0)]
    return upright
