"""The fall-back: holes from cross-sections, for walls too uneven or too angular to follow face by face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from meshcheck.edges import EdgeTable, face_normals
from meshcheck.holes.circle import fit_circle, plane_basis, uneven_free_radius
from meshcheck.holes.cylinder import Cylinder, longest_side
from meshcheck.holes.outline import corners_of
from meshcheck.layers.cut import LayerSet, cut
from meshcheck.layers.gaps import slabs
from meshcheck.types import FloatArray, IntArray, Mesh

PLANES = 13
PLANES_LEAST = 2
AXES_MOST = 3  # of flat sides; one more runs along most faces
# Loops whose middles and widths agree within this share of the radius belong to one hole.
SAME_SHARE = 0.06
# Area over that of the circle through the corners: square 0.637, circle 1. A spoke window is far less compact.
COMPACT_LEAST = 0.6
# Root mean square of the corners about their circle, over its radius; beyond it the loop is something else.
MISFIT_MOST = 0.06
# A corner stands out from its neighbours by more than this share of the loop's width. Facets give one corner and
# one crossing of their diagonal each; much fewer corners mean that noise decides, and all points are taken.
BENT_SHARE = 5e-4
BENT_LEAST = 0.4
ON_OUTLINE_SHARE = 0.003  # corners this near to an outline, as a share of its size, stand on it
SLABS_MOST = 2_000
SIDE_MOST_RAD = float(np.radians(95))  # corners of a wall stand no further apart, those of a square included
SQUARE, CORNER_SHARE = 4, 0.02
WALL_SHARE = 0.12  # vertices within this share of the radius belong to the wall


@dataclass(frozen=True, slots=True, eq=False)
class _Loop:
    """A hollow outline of one cross-section: height, middle and radius of its circle, centre of its area and radius of
    a circle of that area (which do not depend on where points stand), and its points (k, 2)."""

    height: float
    centre: FloatArray
    radius: float
    area_centre: FloatArray
    area_radius: float
    points: FloatArray


def section_cylinders(mesh: Mesh, edges: EdgeTable) -> list[Cylinder]:
    """Holes along the part's flattest directions. Less exact than the search by faces: about 0.01 mm where
    vertices are off by that much; free widths follow the uneven wall."""
    found: list[Cylinder] = []
    for _, frame in flat_axes(edges):
        turned = Mesh(np.ascontiguousarray(mesh.vertices @ frame), mesh.faces, mesh.body)
        z = turned.vertices[:, 2]
        heights = z.min() + np.ptp(z) * (np.arange(PLANES) + 0.5) / PLANES
        for loops in _stacked(_hollow_loops(cut(turned, heights))):
            cylinder = _cylinder(turned, frame, loops)
            if cylinder is not None:
                found.append(cylinder)
    return found


def flat_axes(edges: EdgeTable) -> list[tuple[FloatArray, FloatArray]]:
    """Directions along which a part is likely to have its holes, each with a frame (3, 3) whose last column it is."""
    return [(axis, np.column_stack([*plane_basis(axis), axis])) for axis in _flattest(edges)]


def _flattest(edges: EdgeTable) -> list[FloatArray]:
    """Normals that cover the most area, sign ignored: wheels have flat sides across their axle. And the direction most
    faces run along: the sides of six spokes of a wide wheel cover more than its flat sides."""
    main = np.abs(edges.normals).argmax(axis=1)
    normals = edges.normals * np.sign(edges.normals[np.arange(len(main)), main])[:, None]
    cells = np.round(normals * 15).astype(np.int64) @ np.array([1, 1009, 1_000_003])
    _, cell = np.unique(cells, return_inverse=True)
    score = np.bincount(cell, edges.area_mm2)
    weighted = normals * edges.area_mm2[:, None]
    _, directions = np.linalg.eigh(weighted.T @ normals)
    seeds = [directions[:, 0]]
    seeds += [weighted[cell == top].sum(axis=0) for top in np.argsort(-score, kind="stable")[: 4 * AXES_MOST]]
    axes: list[FloatArray] = []
    for seed in seeds:
        axis = _towards_flats(seed, normals, edges.area_mm2)
        if all(abs(axis @ other) < np.cos(np.radians(10)) for other in axes):
            axes.append(axis)
        if len(axes) > AXES_MOST:
            break
    return axes


def _towards_flats(seed: FloatArray, normals: FloatArray, area_mm2: FloatArray) -> FloatArray:
    """A direction moved to the mean of the faces that look nearly its way; left alone where there are none."""
    axis: FloatArray = seed / np.linalg.norm(seed)
    for within_deg in (10.0, 5.0):
        near = np.abs(normals @ axis) > np.cos(np.radians(within_deg))
        if not near.any():
            break
        toward = normals[near] * np.sign(normals[near] @ axis)[:, None]
        axis = (toward * area_mm2[near][:, None]).sum(axis=0)
        axis = axis / np.linalg.norm(axis)
    return axis


def _hollow_loops(layers: LayerSet) -> list[_Loop]:
    """The compact clockwise contours: outlines of holes."""
    loops = []
    for k in np.flatnonzero(layers.closed):
        points = layers.points_mm[layers.starts[k] : layers.starts[k + 1]]
        x, y = points.T
        doubled = x * np.roll(y, -1) - np.roll(x, -1) * y
        area = 0.5 * float(doubled.sum())
        if area >= 0 or len(points) < 4:
            continue
        centre, radius = fit_circle(bent(points))
        if -area > COMPACT_LEAST * np.pi * radius**2:
            middle = ((points + np.roll(points, -1, axis=0)) * doubled[:, None]).sum(axis=0) / (6 * area)
            height = float(layers.heights_mm[layers.layer[k]])
            loops.append(_Loop(height, centre, radius, middle, float(np.sqrt(-area / np.pi)), points))
    return loops


def bent(points: FloatArray) -> FloatArray:
    """The points at which a contour turns; all of them where it turns too gently to tell."""
    before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
    along = after - before
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)
    aside = np.abs(along[:, 0] * (points - before)[:, 1] - along[:, 1] * (points - before)[:, 0]) / length
    bent = points[aside > BENT_SHARE * np.ptp(points, axis=0).max()]
    return bent if len(bent) >= max(4, BENT_LEAST * len(points)) else points


def _stacked(loops: list[_Loop]) -> list[list[_Loop]]:
    """Loops above each other with the same middle and width."""
    stacks: list[list[_Loop]] = []
    for loop in loops:
        for stack in stacks:
            first = stack[0]
            near = SAME_SHARE * first.area_radius
            apart = np.hypot(*(loop.area_centre - first.area_centre))
            if apart < near and abs(loop.area_radius - first.area_radius) < near:
                stack.append(loop)
                break
        else:
            stacks.append([loop])
    return [stack for stack in stacks if len(stack) >= PLANES_LEAST]


def _cylinder(turned: Mesh, frame: FloatArray, loops: list[_Loop]) -> Cylinder | None:
    """The cylinder through the vertices near a stack of loops; ``frame`` turns its z back to the hole's axis. Where
    they lie on no circle it is one around the outline, for ``shape`` to recognise, with a misfit as large as that."""
    centre = np.median([loop.centre for loop in loops], axis=0)
    radius = float(np.median([loop.radius for loop in loops]))
    step = float(np.ptp(turned.vertices[:, 2])) / PLANES
    # the end of the wall lies within a plane's distance, and the loop there may have failed to match
    low, high = min(loop.height for loop in loops) - 2 * step, max(loop.height for loop in loops) + 2 * step
    faces = _wall_faces(turned, centre, radius, low, high)
    points = turned.vertices[np.unique(turned.faces[faces])]
    misfit = np.inf
    if len(faces) >= 8:
        centre, radius = fit_circle(points[:, :2])
        if longest_side(points[:, :2] - centre) < SIDE_MOST_RAD:
            misfit = float(np.sqrt(((np.hypot(*(points[:, :2] - centre).T) - radius) ** 2).mean()))
    loop = min(loops, key=lambda each: abs(each.radius - radius))
    angular = len(corners_of(loop.points, CORNER_SHARE * radius)) <= SQUARE
    if misfit > MISFIT_MOST * radius:
        centre, radius, misfit = loop.centre, loop.radius, loop.radius
    if angular or misfit == radius:  # the faces at the corners alone need not reach from end to end
        faces = _outline_faces(turned, loop.points, low, high)
        points = turned.vertices[np.unique(turned.faces[faces])]
        if len(faces) < 4:
            return None
    low, high = _ends(points[:, 2], 0.0 if misfit == radius else misfit)
    step = _usual_step(points[:, :2], centre)
    longest = 2 * np.pi if angular or misfit == radius else longest_side(points[:, :2] - centre)
    middle = frame @ np.array([centre[0], centre[1], (low + high) / 2])
    return Cylinder(
        axis=frame[:, 2], middle_mm=middle, radius_mm=radius,
        free_middle_mm=middle, free_radius_mm=uneven_free_radius(points[:, :2], points[:, :2], centre, step),
        low_mm=low, high_mm=high, hollow=True, coverage=1.0, misfit_mm=misfit,
        roundness_mm=float(np.ptp(np.hypot(*(points[:, :2] - centre).T))), diameters_mm=(2 * radius, 2 * radius),
        facets=round(2 * np.pi / step), longest_side_rad=longest,
        body=int(turned.body[faces[0]]), faces=faces,
    )  # fmt: skip


def _outline_faces(turned: Mesh, outline: FloatArray, low: float, high: float) -> IntArray:
    """Faces along z between two heights all of whose corners stand on an outline (k, 2)."""
    z = turned.vertices[:, 2]
    limit = ON_OUTLINE_SHARE * float(np.ptp(outline, axis=0).max())
    near = np.flatnonzero((z > low) & (z < high))
    on = np.zeros(len(z), np.bool_)
    place = np.ascontiguousarray(turned.vertices[near, :2])
    on[near] = _beside(place, np.ascontiguousarray(outline), np.roll(outline, -1, axis=0) - outline, limit)
    faces = np.flatnonzero(on[turned.faces].all(axis=1)).astype(np.int32)
    normals, area = face_normals(turned.vertices[turned.faces[faces]])
    upright: IntArray = faces[(np.abs(normals[:, 2]) < 0.1) & (area > 0)]
    return upright


@njit(cache=True, nogil=True)
def _beside(place, outline, along, limit):  # type: ignore[no-untyped-def]
    """Which places (n, 2) lie within ``limit`` of a side of an outline (k, 2), whose sides run ``along`` (k, 2)."""
    out = np.zeros(place.shape[0], np.bool_)
    height = max(limit, (outline[:, 1].max() - outline[:, 1].min()) / SLABS_MOST)
    low, first, members = slabs(outline, along, height)
    left, right = outline[:, 0].min() - limit, outline[:, 0].max() + limit
    top = outline[:, 1].max() + limit
    for i in range(place.shape[0]):
        x, y = place[i, 0], place[i, 1]
        if x < left or x > right or y < low - limit or y > top:
            continue
        begin = first[max(int((y - limit - low) / height), 0)]
        end = first[min(int((y + limit - low) / height), first.size - 2) + 1]
        for at in range(begin, end):
            k = members[at]
            dx, dy = x - outline[k, 0], y - outline[k, 1]
            square = along[k, 0] * along[k, 0] + along[k, 1] * along[k, 1]
            share = 0.0
            if square > 0:
                share = min(max((dx * along[k, 0] + dy * along[k, 1]) / square, 0.0), 1.0)
            dx -= share * along[k, 0]
            dy -= share * along[k, 1]
            if dx * dx + dy * dy < limit * limit:
                out[i] = True
                break
    return out


def _wall_faces(turned: Mesh, centre: FloatArray, radius: float, low: float, high: float) -> IntArray:
    """Faces all of whose corners stand near the circle between two heights, and that look towards its middle."""
    offset = turned.vertices[:, :2] - centre
    z = turned.vertices[:, 2]
    near = np.abs(np.hypot(offset[:, 0], offset[:, 1]) - radius) < WALL_SHARE * radius
    near &= (z > low) & (z < high)
    faces = np.flatnonzero(near[turned.faces].all(axis=1)).astype(np.int32)
    corners = turned.vertices[turned.faces[faces]]
    normals, _ = face_normals(corners)
    outward = corners.mean(axis=1)[:, :2] - centre
    outward /= np.maximum(np.hypot(outward[:, 0], outward[:, 1]), 1e-12)[:, None]
    looking_in: IntArray = faces[np.einsum("ij,ij->i", normals[:, :2], outward) < -0.5]
    return looking_in


def _ends(z: FloatArray, misfit: float) -> tuple[float, float]:
    """Lowest and highest end of the wall, each the middle of the vertices that are that far out but for noise."""
    margin = 0.02 * float(np.ptp(z)) + 3 * misfit
    return float(np.median(z[z < z.min() + margin])), float(np.median(z[z > z.max() - margin]))


def _usual_step(points: FloatArray, centre: FloatArray) -> float:
    """The usual angle from one corner of the ring to the next, in radians."""
    angle = np.sort(np.arctan2(points[:, 1] - centre[1], points[:, 0] - centre[0]))
    gaps = np.diff(angle, append=angle[0] + 2 * np.pi)
    return float(np.median(gaps[gaps > 0.25 * gaps.max()]))
