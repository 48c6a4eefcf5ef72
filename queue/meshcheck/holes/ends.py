"""Is a hole open at its ends, and is anything standing in it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from meshcheck.edges import EdgeTable
from meshcheck.holes.circle import plane_basis
from meshcheck.holes.cylinder import CLEAN_SHARE, Cylinder
from meshcheck.types import FloatArray, Mesh

# Rays along the axis: the middle and rings of so many at a share of the free radius; off any plane of symmetry.
RINGS = ((6, 0.45), (12, 0.85), (24, 0.97))
RAY_TURN_RAD = 0.1234
# An end is closed when faces lean in over more than this share of its circle; less is left to the rays, because
# one long side of a coarse hole may seem to lean by rounding.
LEANING_IN_LEAST = 0.25
# Where the wall is uneven, single faces lean any way; rays alone decide, and a floor may stand a little beyond it.
ROUGH_SLACK = 0.3
FLOOR_MISFITS = 60.0  # a few corners may lie on a circle by chance: a floor is then off by many times what they leave


@dataclass(frozen=True, slots=True)
class Ends:
    """open_low, open_high: nothing closes or narrows that end; obstructed: something crosses the hole between
    its ends; sealed: even the middle is closed on both sides, so it is a hollow inside the part."""

    open_low: bool
    open_high: bool
    obstructed: bool
    sealed: bool

    @property
    def through(self) -> bool:
        return self.open_low and self.open_high and not self.obstructed


def look_along(mesh: Mesh, edges: EdgeTable, hole: Cylinder, balls: FloatArray) -> Ends:
    """Look out of both ends of a hole: by the faces that adjoin its rims, and by rays from its middle.
    ``balls`` as ``face_balls`` gives them."""
    rough = hole.misfit_mm > CLEAN_SHARE * hole.radius_mm
    leaning = (0.0, 0.0) if rough else _leaning_in(mesh, edges, hole)
    hits = _ray_hits(mesh, hole, balls)
    half = hole.depth_mm / 2
    even = 1e-3 * (hole.depth_mm + hole.free_radius_mm) + FLOOR_MISFITS * hole.misfit_mm
    slack = ROUGH_SLACK * hole.radius_mm if rough else even
    up = np.min(hits, where=hits > 0, axis=1, initial=np.inf)
    down = np.min(-hits, where=hits < 0, axis=1, initial=np.inf)
    closed_low = leaning[0] > LEANING_IN_LEAST or down.min() < half + slack
    closed_high = leaning[1] > LEANING_IN_LEAST or up.min() < half + slack
    obstructed = min(float(up.min()), float(down.min())) < half - slack
    sealed = closed_low and closed_high and bool(np.isfinite(up).all() and np.isfinite(down).all())
    return Ends(not closed_low, not closed_high, obstructed, sealed)


def _leaning_in(mesh: Mesh, edges: EdgeTable, hole: Cylinder) -> tuple[float, float]:
    """Share of the circle over which the faces beyond each end lean towards the axis (a floor, a step, a cone)."""
    inside = np.zeros(len(mesh.faces), np.bool_)
    inside[hole.faces] = True
    sides = (3 * hole.faces[:, None] + np.arange(3)).ravel()
    rim = np.unique(edges.ids[sides])
    pair = edges.faces[rim]
    rim, pair = rim[pair[:, 1] >= 0], pair[pair[:, 1] >= 0]
    border = inside[pair[:, 0]] != inside[pair[:, 1]]
    rim, pair = rim[border], pair[border]
    across = np.abs(edges.direction[rim] @ hole.axis) < 0.5
    rim, pair = rim[across], pair[across]
    if not len(rim):
        return 0.0, 0.0
    first_inside = inside[pair[:, 0]]
    own, beyond = np.where(first_inside, pair.T, pair.T[::-1])
    ends = edges.ends[rim]
    opposite = mesh.faces[beyond].sum(axis=1) - ends.sum(axis=1)
    centre = mesh.vertices[ends].mean(axis=1)
    # the wall's outward normal points into the open hole, towards the axis
    offset = mesh.vertices[opposite] - centre
    lean = np.einsum("ij,ij->i", offset, edges.normals[own])
    along = (centre - hole.middle_mm) @ hole.axis
    # rounding turns the wall's normal, and a long face beyond the end then seems to lean in
    least = np.maximum(1e-3 * hole.radius_mm, np.linalg.norm(offset, axis=1) * edges.normal_noise_rad[own])
    share = np.where(lean > least, edges.length_mm[rim], 0.0) / (2 * np.pi * hole.radius_mm)
    return float(share[along < 0].sum()), float(share[along >= 0].sum())


def _ray_hits(mesh: Mesh, hole: Cylinder, balls: FloatArray) -> FloatArray:
    """(rays, 2): nearest hit above and (negative) below the middle of the hole along each ray, infinite if none."""
    u, v = plane_basis(hole.axis)
    angles = [np.arange(count) * 2 * np.pi / count + RAY_TURN_RAD for count, _ in RINGS]
    widths = [np.full(count, share) for count, share in RINGS]
    angle, width = np.concatenate(angles), np.concatenate(widths)
    ring = np.column_stack([width * np.cos(angle), width * np.sin(angle)])
    rays = np.vstack([[[1e-4, 0.7e-4]], ring]) * hole.free_radius_mm
    frame = np.ascontiguousarray(np.vstack([u, v, hole.axis]))
    vertices, faces = np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces, np.int32)
    hits: FloatArray = _nearest_hits(vertices, faces, hole.free_middle_mm, frame, rays, balls)
    return hits


@njit(cache=True, nogil=True)
def _nearest_hits(vertices, faces, origin, frame, rays, balls):  # type: ignore[no-untyped-def]
    """Rays run both ways along the last row of ``frame`` from places ``rays`` (r, 2) about the origin."""
    out = np.empty((rays.shape[0], 2))
    out[:, 0], out[:, 1] = np.inf, -np.inf
    reach = np.abs(rays).max()
    around = np.sqrt(2.0) * reach
    p = np.empty((3, 3))  # the face's corners in the frame: most faces are done with after the first coordinate
    for i in range(faces.shape[0]):
        dx, dy, dz = balls[i, 0] - origin[0], balls[i, 1] - origin[1], balls[i, 2] - origin[2]
        along = dx * frame[2, 0] + dy * frame[2, 1] + dz * frame[2, 2]
        near = around + balls[i, 3]
        if dx * dx + dy * dy + dz * dz - along * along > near * near:
            continue
        beside = False
        for axis in range(3):
            for k in range(3):
                v = faces[i, k]
                p[k, axis] = (
                    (vertices[v, 0] - origin[0]) * frame[axis, 0]
                    + (vertices[v, 1] - origin[1]) * frame[axis, 1]
                    + (vertices[v, 2] - origin[2]) * frame[axis, 2]
                )
            low = min(p[0, axis], p[1, axis], p[2, axis])
            high = max(p[0, axis], p[1, axis], p[2, axis])
            if axis < 2 and (low > reach or high < -reach):
                beside = True
                break
        if beside:
            continue
        area = (p[1, 0] - p[0, 0]) * (p[2, 1] - p[0, 1]) - (p[1, 1] - p[0, 1]) * (p[2, 0] - p[0, 0])
        if abs(area) < 1e-300:
            continue
        for r in range(rays.shape[0]):
            x, y = rays[r, 0], rays[r, 1]
            first = ((p[1, 0] - x) * (p[2, 1] - y) - (p[1, 1] - y) * (p[2, 0] - x)) / area
            second = ((p[2, 0] - x) * (p[0, 1] - y) - (p[2, 1] - y) * (p[0, 0] - x)) / area
            if first < 0 or second < 0 or first + second > 1:
                continue
            z = first * p[0, 2] + second * p[1, 2] + (1 - first - second) * p[2, 2]
            if z > 0:
                out[r, 0] = min(out[r, 0], z)
            else:
                out[r, 1] = max(out[r, 1], z)
    return out
