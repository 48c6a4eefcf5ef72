"""The faces a part can rest on: flats of its convex hull that it does not tip over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from meshcheck.types import FloatArray

MERGE_DEG = 0.5
# A part stands on what is this near its lowest point; more, and every ball of some size would stand on its underside.
STANDS_ON_MM = 0.01
# A flat is levelled by its own facets, not by those of a rounded edge beside it.
SAME_PLANE_DEG = 0.02
TIP_LEAST_DEG = 5.0
FACES_MOST = 12
SEEDS_MOST = 60
POINTS_MOST = 12_000  # vertices whose hull is taken as it is
DIRECTIONS = 32  # cells from the middle to the side of a cube of directions, about 1.8 degrees each
BEYOND_MM = 1e-6
IN_PLANE_MM = 1e-4
BEYOND_MOST = 50
ROUNDS_MOST = 6
CELLS_PER_FACE = 16  # a face's facets may be spread over so many cells
CELLS = 100.0  # normals are sorted into cells of about MERGE_DEG


@dataclass(frozen=True, slots=True, eq=False)
class RestingFace:
    """down: unit normal of the face, outward; tip_deg: how far the part leans before it falls off this face."""

    down: FloatArray
    area_mm2: float
    tip_deg: float


def resting_faces(vertices: FloatArray, centre_of_mass: FloatArray) -> list[RestingFace]:
    """The largest faces a body of vertices (n, 3) mm rests on by itself, at most ``FACES_MOST``, the largest first.

    Hull facets within ``MERGE_DEG`` count as one face; a face from which the body tips at less than
    ``TIP_LEAST_DEG`` is none (a ball's facets, the edge of a fine rim). Empty for bodies without volume.
    """
    points = _far_out(vertices, centre_of_mass) if len(vertices) > POINTS_MOST else vertices
    found = _faces_of_hull(points, centre_of_mass)
    for _ in range(ROUNDS_MOST if points is not vertices else 0):
        beyond = _beyond(vertices, points, found)
        if not len(beyond):
            break
        points = np.vstack([points, vertices[beyond]])
        found = _faces_of_hull(points, centre_of_mass)
    if points is vertices:
        return found
    whole = [_with_all_points(face, vertices, centre_of_mass) for face in found]
    return sorted(whole, key=lambda face: -face.area_mm2)


def _faces_of_hull(points: FloatArray, centre_of_mass: FloatArray) -> list[RestingFace]:
    try:
        hull = ConvexHull(points)
    except (QhullError, ValueError):
        return []
    normals = hull.equations[:, :3]
    corners = points[hull.simplices]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    found = []
    lever = -hull.equations[:, 3] - normals @ centre_of_mass
    for down, members in _merged(normals, area, lever):
        standing = points[np.unique(hull.simplices[members])]
        tip = tip_angle_deg(standing, down, centre_of_mass)
        if tip >= TIP_LEAST_DEG:
            found.append(RestingFace(down, float(area[members].sum()), tip))
    return sorted(found, key=lambda face: -face.area_mm2)[:FACES_MOST]


def _far_out(vertices: FloatArray, centre: FloatArray) -> FloatArray:
    """Of the vertices in every direction from the centre the farthest: few points with nearly the same hull."""
    way = vertices - centre
    far = np.sqrt(np.einsum("ij,ij->i", way, way))
    cell = np.rint(way * (DIRECTIONS / np.maximum(far, 1e-12))[:, None]).astype(np.int64) + DIRECTIONS
    name = cell @ np.array([1, 1009, 1_018_081])
    order = np.lexsort([-far, name])
    kept: FloatArray = vertices[order[np.concatenate([[True], np.diff(name[order]) != 0])]]
    return kept


def _with_all_points(face: RestingFace, vertices: FloatArray, centre_of_mass: FloatArray) -> RestingFace:
    """A face found on some of the vertices, measured again on all that lie in it."""
    reach = np.einsum("ij,j->i", vertices, face.down)
    own = vertices[reach >= reach.max() - IN_PLANE_MM]
    try:
        area_mm2 = float(ConvexHull((own @ turn_down(face.down).T)[:, :2]).volume)
    except (QhullError, ValueError):  # facets that are not quite level share too few points
        return face
    tip = tip_angle_deg(own, face.down, centre_of_mass)
    return RestingFace(face.down, max(area_mm2, face.area_mm2), max(tip, face.tip_deg))


def _beyond(vertices: FloatArray, points: FloatArray, faces: list[RestingFace]) -> NDArray[np.int64]:
    """Vertices that stick out farthest below faces found on some of the points; none where the faces are true."""
    beyond: list[int] = []
    for face in faces:
        reach = np.einsum("ij,j->i", vertices, face.down)
        if reach.max() > np.einsum("ij,j->i", points, face.down).max() + BEYOND_MM:
            beyond += np.argsort(-reach)[:BEYOND_MOST].tolist()
    return np.unique(np.array(beyond, np.int64))


def _merged(normals: FloatArray, area: FloatArray, lever: FloatArray) -> list[tuple[FloatArray, NDArray[np.bool_]]]:
    """Facets gathered about the largest: the face's own direction, and which facets (f,) belong to it.

    On a convex body facets of nearly the same direction are neighbours, so no connection need be followed. ``lever``
    (f,) is the distance of the centre of mass: a face holds the body only if a circle of lever * tan(tip) fits in it,
    and faces that cannot, as on a ball, are passed over at once.
    """
    cells = np.rint(normals * CELLS).astype(np.int64) @ np.array([1, 1009, 1_000_003])
    _, cell = np.unique(cells, return_inverse=True)
    weight = np.bincount(cell, area)
    by_area = np.argsort(-area, kind="stable")
    _, first = np.unique(cell[by_area], return_index=True)
    largest = by_area[first]  # the largest facet of every cell
    needed = np.pi * (lever[largest] * np.tan(np.radians(TIP_LEAST_DEG))) ** 2
    large = CELLS_PER_FACE * weight >= needed
    largest, weight = largest[large], weight[large]
    free = np.ones(len(area), np.bool_)
    faces = []
    for seed in largest[np.argsort(-weight, kind="stable")[:SEEDS_MOST]]:
        if not free[seed]:
            continue
        near = normals @ normals[seed]
        members = free & (near > np.cos(np.radians(MERGE_DEG)))
        free &= ~members
        own = members & (near > np.cos(np.radians(SAME_PLANE_DEG)))
        down = (normals[own] * area[own][:, None]).sum(axis=0)
        faces.append((down / np.linalg.norm(down), members))
    return faces


def tip_angle_deg(points: FloatArray, down: FloatArray, centre_of_mass: FloatArray) -> float:
    """How far a body standing on ``points`` (k, 3) leans before it falls: the angle, seen from the nearest side of
    their outline, between straight up and the centre of mass. 0 when it does not stand at all."""
    turned = points @ turn_down(down).T
    middle = turn_down(down) @ centre_of_mass
    try:
        outline = ConvexHull(turned[:, :2])
    except (QhullError, ValueError):  # a point or a line
        return 0.0
    margin = -float((outline.equations[:, :2] @ middle[:2] + outline.equations[:, 2]).max())
    height = float(middle[2] - turned[:, 2].min())
    return float(np.degrees(np.arctan2(max(margin, 0.0), height)))


def tip_as_it_lies_deg(vertices: FloatArray, centre_of_mass: FloatArray, slack_mm: float) -> float:
    """``tip_angle_deg`` of a body standing on all its vertices up to ``slack_mm`` above the lowest."""
    height = vertices[:, 2] - vertices[:, 2].min()
    return tip_angle_deg(vertices[height <= slack_mm], np.array([0.0, 0.0, -1.0]), centre_of_mass)


def turn_down(down: FloatArray) -> FloatArray:
    """The smallest rotation (3, 3) that makes the unit vector ``down`` look along -z."""
    target = np.array([0.0, 0.0, -1.0])
    axis = np.cross(down, target)
    cosine = float(down @ target)
    if cosine < -1 + 1e-12:  # upside down: half a turn about x
        return np.diag([1.0, -1.0, -1.0])
    x, y, z = axis
    skew = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0.0]])
    turned: FloatArray = np.eye(3) + skew + skew @ skew / (1 + cosine)
    return turned
