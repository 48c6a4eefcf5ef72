"""How far a part's hub is from the kit part's: the region around the bore that must stay, laid over each other.

Both parts are turned so that the bore's axis stands up. Along the axis either end of the bore may be what was kept, and
either way up; about the axis the outline of the bore tells the angle. The best of these is taken. Inside the hub
(bore, end faces, chamfers) distances are measured from surface to surface, both ways. The hub's outside is told apart:
spokes join it wherever a student likes, so only its free stretches count, by the middle of their differences.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar

from meshcheck.edges import face_normals
from meshcheck.holes.circle import plane_basis
from meshcheck.holes.outline import WIDEST_SHARE, outline_at
from meshcheck.nearest import distances, spread_points
from meshcheck.radial import outside_radii
from meshcheck.types import FloatArray, Hole, HubDeviation, Mesh, Unknown
from telling import told

SPACING_MM, COARSE_MM = 0.3, 1.5  # between points: for the figure, and to find how the hubs lie best
POINTS_MOST = 60_000
ALIKE_MOST = 0.4  # natural logarithm of the ratio of diameters: beyond it another hole is meant, or another unit
HUBS_MOST = 8
INSIDE_SHARE = 0.97  # of the hub's radius: the outside itself, with its facets, is measured along the radius
OUTWARD_LEAST, OUTSIDE_SHARE = 0.7, 0.6  # the hub's outside: cosine of its lean, and how far out, in its radii
FREE_LEAST = 0.1  # share of the hub's outside that must be free of spokes to tell anything
WITHOUT_HUB = 2.5  # radii of the bore that are protected where the kit part has no hub of its own
ANGLES = 720
HEIGHTS = (0.5, 0.31, 0.73)


@dataclass(frozen=True, slots=True, eq=False)
class KitHub:
    """The kit part's hub: its mesh, its bore, and how far around the bore's axis it reaches."""

    mesh: Mesh
    hole: Hole
    radius_mm: float


def kit_hub(mesh: Mesh, hole: Hole, hub_diameter_mm: float | None = None) -> KitHub:
    """The region of a kit part to protect; without a given diameter that of the free outside nearest to the bore."""
    if hub_diameter_mm:
        return KitHub(mesh, hole, hub_diameter_mm / 2)
    radii = outside_radii(_upright(mesh, hole, 1.0), hole.diameter_mm / 2, hole.depth_mm / 2)
    nearest = float(np.nanmin(radii, initial=np.inf))
    rim = hole.rim_diameter_mm
    if not np.isfinite(nearest) or (not isinstance(rim, Unknown) and nearest > 0.45 * rim):
        return KitHub(mesh, hole, WITHOUT_HUB * hole.diameter_mm / 2)
    return KitHub(mesh, hole, float(np.median(radii[radii < 1.02 * nearest])))


def furthest_hub(
    mesh: Mesh, holes: Sequence[Hole], kit_mesh: Mesh, kit_holes: Sequence[Hole], hub_diameter_mm: float | None
) -> HubDeviation | Unknown:
    """The hub of a file that is furthest from the kit part's; unknown where either has no hole to lay it by."""
    if not kit_holes:
        return Unknown(told("the kit part has no such hole"))
    if not holes:
        return Unknown(told("there is no hole to lay it by"))
    kit = kit_hub(kit_mesh, kit_holes[0], hub_diameter_mm)
    if any(abs(np.log(hole.diameter_mm / kit.hole.diameter_mm)) > ALIKE_MOST for hole in holes):
        return Unknown(told("the hole is not the kit part's"))
    several = len(holes) > 1
    found = [hub_deviation(mesh, hole, kit, _body_at(mesh, hole) if several else None) for hole in holes[:HUBS_MOST]]
    return max(found, key=lambda each: each.largest_mm)


def _body_at(mesh: Mesh, hole: Hole) -> int:
    """The body whose surface is nearest to the middle of a hole."""
    bodies = np.unique(mesh.body)
    middle = np.array([hole.centre_mm])
    return int(bodies[int(np.argmin([distances(middle, mesh.corners[mesh.body == body])[0] for body in bodies]))])


def hub_deviation(mesh: Mesh, hole: Hole, kit: KitHub, body: int | None = None) -> HubDeviation:
    """The largest distance between the hubs of a part and of its kit part. ``body`` leaves out all other bodies."""
    if body is not None:
        mesh = Mesh(mesh.vertices, mesh.faces[mesh.body == body], mesh.body[mesh.body == body])
    theirs = _upright(kit.mesh, kit.hole, 1.0)
    outside = _outside(_upright(mesh, hole, 1.0), hole, theirs, kit)
    # where a hub is narrower its spokes reach into the kit part's: they are no part of it
    radii = kit.radius_mm + min(0.0, 0.0 if isinstance(outside, Unknown) else outside), kit.radius_mm
    laid: list[tuple[float, FloatArray, float, float, float]] = []
    for way_up in (1.0, -1.0):
        ours = _upright(mesh, hole, way_up)
        turn = _turn_between(ours, hole, theirs, kit.hole)
        ours = ours @ _about_z(turn).T
        for end in (-1.0, 1.0):
            shift = end * (kit.hole.depth_mm - hole.depth_mm) / 2
            apart, _, _ = _apart(ours + np.array([0, 0, shift]), theirs, radii, COARSE_MM)
            laid.append((float(apart.mean()) if len(apart) else 0.0, ours, way_up, turn, shift))
    _, ours, way_up, turn, shift = min(laid, key=lambda each: round(each[0], 6))
    apart, points, spacing = _apart(ours + np.array([0, 0, shift]), theirs, radii, SPACING_MM)
    k = int(apart.argmax())
    x, y, z = (float(c) for c in _back(points[k] - np.array([0, 0, shift]), hole, way_up, turn))
    return HubDeviation(float(apart[k]), (x, y, z), spacing, outside)


def _upright(mesh: Mesh, hole: Hole, way_up: float) -> FloatArray:
    """Faces (m, 3, 3) with the middle of the bore at the origin and its axis along z."""
    corners: FloatArray = (mesh.corners - np.array(hole.centre_mm)) @ _frame(hole, way_up)
    return corners


def _frame(hole: Hole, way_up: float) -> FloatArray:
    axis = np.array(hole.axis) * way_up
    return np.column_stack([*plane_basis(axis), axis])


def _about_z(turn_rad: float) -> FloatArray:
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _back(point: FloatArray, hole: Hole, way_up: float, turn_rad: float) -> FloatArray:
    """A point of the upright part in the frame of its file."""
    place: FloatArray = _frame(hole, way_up) @ (_about_z(turn_rad).T @ point) + np.array(hole.centre_mm)
    return place


def _apart(
    ours: FloatArray, theirs: FloatArray, radii: tuple[float, float], spacing: float
) -> tuple[FloatArray, FloatArray, float]:
    """Distances of points inside either hub from the other's surface, the points, and their spacing. ``radii`` of our
    hub and of theirs."""
    near = [_reaching(faces, 2 * max(radii)) for faces in (ours, theirs)]
    hubs = [_inner(_reaching(faces, INSIDE_SHARE * radius), radius) for faces, radius in zip(near, radii, strict=True)]
    while True:
        spread = [spread_points(faces, spacing) for faces in hubs]
        spread = [
            points[np.hypot(points[:, 0], points[:, 1]) <= INSIDE_SHARE * radius]
            for points, radius in zip(spread, radii, strict=True)
        ]
        if sum(map(len, spread)) <= POINTS_MOST or spacing > max(radii):
            break
        spacing *= 1.5
    apart = np.concatenate([distances(spread[0], near[1]), distances(spread[1], near[0])])
    return apart, np.vstack(spread), spacing


def _reaching(faces: FloatArray, radius: float) -> FloatArray:
    """Faces whose box comes nearer to the z axis than ``radius``."""
    low, high = faces[:, :, :2].min(axis=1), faces[:, :, :2].max(axis=1)
    nearest = np.maximum(np.maximum(low, -high), 0.0)
    reaching: FloatArray = faces[np.hypot(nearest[:, 0], nearest[:, 1]) <= radius]
    return reaching


def _inner(faces: FloatArray, radius: float) -> FloatArray:
    """Faces without those of a hub's outside: far out, and looking away from the axis."""
    middle = faces.mean(axis=1)
    width = np.hypot(middle[:, 0], middle[:, 1])
    normals, _ = face_normals(faces)
    outward = (normals[:, :2] * middle[:, :2]).sum(axis=1) > OUTWARD_LEAST * width
    inner: FloatArray = faces[~outward | (width < OUTSIDE_SHARE * radius)]
    return inner


def _turn_between(ours: FloatArray, hole: Hole, theirs: FloatArray, kit_hole: Hole) -> float:
    """The angle about the axis at which the outlines of both bores lie best on each other."""
    a, b = _profile(ours, hole), _profile(theirs, kit_hole)
    if a is None or b is None:
        return 0.0
    angles = np.arange(ANGLES) * 2 * np.pi / ANGLES
    alike = np.fft.irfft(np.fft.rfft(b(angles)) * np.conj(np.fft.rfft(a(angles))), ANGLES)
    coarse = float(angles[int(alike.argmax())])
    step = 2 * np.pi / ANGLES

    def misfit(turn: float) -> float:
        return float(((a(angles - turn) - b(angles)) ** 2).sum())

    found = minimize_scalar(misfit, bounds=(coarse - step, coarse + step), method="bounded", options={"xatol": 1e-9})
    return float(found.x)


def _profile(faces: FloatArray, hole: Hole):  # type: ignore[no-untyped-def]
    """Radius of the bore's outline at any angle, as a function of angles (k,); None where no outline closes."""
    faces = _reaching(faces, WIDEST_SHARE * hole.diameter_mm / 2)
    vertices = faces.reshape(-1, 3)
    welded, numbers = np.unique(vertices, axis=0, return_inverse=True)
    mesh = Mesh(welded, numbers.reshape(-1, 3).astype(np.int32), np.zeros(len(faces), np.int32))
    for share in HEIGHTS:
        at = (share - 0.5) * hole.depth_mm
        outline = outline_at(mesh, hole.diameter_mm / 2, at)
        if outline is not None:
            return lambda angles, points=outline: _radius_at(points, angles)
    return None


def _radius_at(outline: FloatArray, angles: FloatArray) -> FloatArray:
    """Where rays from the origin meet a star-shaped outline (k, 2)."""
    angle = np.arctan2(outline[:, 1], outline[:, 0])
    order = np.argsort(angle)
    points = outline[order]
    turned = (angles + np.pi) % (2 * np.pi) - np.pi
    after = np.searchsorted(angle[order], turned) % len(points)
    a, b = points[after - 1], points[after]
    along = b - a
    ray = np.column_stack([np.cos(turned), np.sin(turned)])
    across = ray[:, 0] * along[:, 1] - ray[:, 1] * along[:, 0]
    reach = a[:, 0] * along[:, 1] - a[:, 1] * along[:, 0]
    radii: FloatArray = np.where(np.abs(across) > 1e-12, reach / np.where(across == 0, 1, across), np.hypot(*a.T))
    return radii


def _outside(ours: FloatArray, hole: Hole, theirs: FloatArray, kit: KitHub) -> float | Unknown:
    """By how much the hub's free outside is wider (or, negative, narrower) than the kit's, as a radius in mm."""
    joined = Unknown(told("nothing of the hub's outside is free"))
    found = outside_radii(_reaching(ours, 4 * kit.radius_mm), hole.diameter_mm / 2, hole.depth_mm / 2)
    wanted = outside_radii(_reaching(theirs, 4 * kit.radius_mm), kit.hole.diameter_mm / 2, kit.hole.depth_mm / 2)
    own = wanted[np.abs(wanted - kit.radius_mm) < 0.1 * kit.radius_mm]
    free = found[found < 2 * kit.radius_mm]
    if len(own) < FREE_LEAST * len(wanted) or len(free) < FREE_LEAST * len(found):
        return joined
    return float(np.median(free) - np.median(own))
