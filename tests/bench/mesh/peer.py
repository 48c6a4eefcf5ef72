"""The same measurements made plainly: trimesh for the mesh and its sections, shapely for the layers, rays downward.

Written as well as one would without kernels of one's own: everything vectorised, nothing repeated. trimesh's own ray
engines and its nesting of outlines need rtree or embreex, which the project does not have. The rays here are upright,
so shapely's STRtree finds the triangles above a point and numpy cuts them; outlines nest by the even-odd rule.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import reduce

import numpy as np
import shapely
import trimesh
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiLineString, Polygon

from meshcheck.types import Machine, PrintSettings

PITCH_MM, COARSE_MM = 0.25, 1.0
LIMIT = np.sin(np.radians(45)) + 1e-6
DENSITY_G_MM3 = 1.24e-3

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PlainReport:
    closed: bool
    bodies: int
    volume_mm3: float
    area_mm2: float
    overhang_mm2: float
    support_mm3: float
    thin: bool
    holes_mm: tuple[float, ...]
    mass_g: float
    duration_s: float
    poses: int


def plain_check(data: bytes, settings: PrintSettings, machine: Machine) -> PlainReport:
    mesh = trimesh.load(io.BytesIO(data), file_type="stl")
    mesh.update_faces(mesh.nondegenerate_faces())
    mass, seconds, layers = plain_estimate(mesh, settings, machine)
    area, support = plain_support(mesh, PITCH_MM)
    _ = mesh.moment_inertia, mesh.center_mass
    return PlainReport(
        closed=mesh.is_watertight and mesh.is_winding_consistent,
        bodies=mesh.body_count,
        volume_mm3=float(mesh.volume),
        area_mm2=float(mesh.area),
        overhang_mm2=area,
        support_mm3=support,
        thin=plain_walls(mesh, layers, 2 * settings.line_width_mm),
        holes_mm=plain_holes(layers),
        mass_g=mass + support * settings.support_share * DENSITY_G_MM3,
        duration_s=seconds,
        poses=plain_poses(mesh),
    )


def columns(mesh: trimesh.Trimesh, points: Array) -> tuple[NDArray[np.int64], Array, NDArray[np.int64]]:
    """Rays straight down through points (n, 2): ray, height and face of every hit, ordered by ray and height."""
    flat = mesh.triangles[:, :, :2]
    low, high = flat.min(axis=1), flat.max(axis=1)
    tree = shapely.STRtree(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    ray, face = tree.query(shapely.points(points))
    a, b, c = (mesh.triangles[face, k] for k in range(3))
    p = points[ray]
    u, v, w = b[:, :2] - a[:, :2], c[:, :2] - a[:, :2], p - a[:, :2]
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    keep = np.abs(area) > 1e-12
    area = np.where(keep, area, 1.0)
    s = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / area
    t = (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / area
    keep &= (s >= 0) & (t >= 0) & (s + t <= 1)
    height = a[:, 2] + s * (b[:, 2] - a[:, 2]) + t * (c[:, 2] - a[:, 2])
    ray, height, face = ray[keep], height[keep], face[keep]
    order = np.lexsort([height, ray])
    return ray[order], height[order], face[order]


def grid(mesh: trimesh.Trimesh, pitch_mm: float) -> Array:
    (x0, y0, _), (x1, y1, _) = mesh.bounds
    x, y = np.meshgrid(np.arange(x0 + pitch_mm / 2, x1, pitch_mm), np.arange(y0 + pitch_mm / 2, y1, pitch_mm))
    return np.column_stack([x.ravel(), y.ravel()]) + 1.234e-5  # off the edges of round numbers


def plain_support(mesh: trimesh.Trimesh, pitch_mm: float) -> tuple[float, float]:
    """Steep area, and the support volume below it by rays."""
    steep = (mesh.face_normals[:, 2] < -LIMIT) & (mesh.triangles[:, :, 2].max(axis=1) > mesh.bounds[0, 2] + 0.005)
    area = float(mesh.area_faces[steep].sum())
    if not steep.any():
        return 0.0, 0.0
    ray, height, face = columns(mesh, grid(mesh, pitch_mm))
    below = np.full(len(ray), mesh.bounds[0, 2])
    same = np.zeros(len(ray), bool)
    same[1:] = ray[1:] == ray[:-1]
    below[same] = np.roll(height, 1)[same]
    return area, float((height - below)[steep[face]].sum()) * pitch_mm**2


def plain_walls(mesh: trimesh.Trimesh, layers: list[Polygon], limit_mm: float) -> bool:
    """Whether any wall is thinner: layers opened by half the limit, and rays down through roofs."""
    for layer in layers[:: max(1, len(layers) // 20)]:
        opened = layer.buffer(-limit_mm / 2).buffer(limit_mm / 2 + 1e-3)
        if layer.difference(opened).buffer(-0.05).area > 0.05:
            return True
    ray, height, face = columns(mesh, grid(mesh, COARSE_MM))
    upward = mesh.face_normals[face, 2]
    inside = (ray[1:] == ray[:-1]) & (upward[:-1] < -0.5) & (upward[1:] > 0.5)
    return bool((np.diff(height)[inside] < limit_mm).any())


def plain_holes(layers: list[Polygon]) -> tuple[float, ...]:
    """Diameters of the round openings of the middle layer."""
    found = []
    middle = layers[len(layers) // 2]
    for polygon in getattr(middle, "geoms", [middle]):
        for ring in polygon.interiors:
            points = np.asarray(ring.coords)[:-1]
            system = np.column_stack([2 * points, np.ones(len(points))])
            x, y, rest = np.linalg.lstsq(system, (points**2).sum(axis=1), rcond=None)[0]
            radius = np.sqrt(rest + x * x + y * y)
            if np.abs(np.hypot(*(points - [x, y]).T) - radius).max() < 0.01 * radius:
                found.append(float(2 * radius))
    return tuple(sorted(found))


def plain_estimate(
    mesh: trimesh.Trimesh, settings: PrintSettings, machine: Machine
) -> tuple[float, float, list[Polygon]]:
    """Grams and seconds from shapely layers: walls by buffers, skins by differences, infill by lines."""
    h, w = settings.layer_height_mm, settings.line_width_mm
    low, high = mesh.bounds[:, 2]
    heights = np.arange(low + h / 2, high, h)
    sections = mesh.section_multiplane([0, 0, 0], [0, 0, 1], heights)
    layers = [reduce(shapely.symmetric_difference, s.polygons_closed, Polygon()) if s else Polygon() for s in sections]
    volume = seconds = 0.0
    for k, layer in enumerate(layers):
        rest = layer
        for wall in range(settings.walls):
            line = layer.buffer(-(wall + 0.5) * w)
            volume += line.length * w * h
            seconds += line.length / (machine.wall_mm_s if wall == 0 else machine.inner_wall_mm_s)
            rest = layer.buffer(-(wall + 1) * w)
        above = layers[k + settings.top_layers] if k + settings.top_layers < len(layers) else Polygon()
        below = layers[k - settings.bottom_layers] if k >= settings.bottom_layers else Polygon()
        skin = rest.difference(above.intersection(below))
        volume += skin.area * h
        seconds += skin.area / w / machine.skin_mm_s
        sparse = rest.difference(skin)
        if sparse.area > 0:
            x0, y0, x1, y1 = sparse.bounds
            lines = [LineString([(x0, y), (x1, y)]) for y in np.arange(y0, y1, w / settings.infill_share)]
            length = sparse.intersection(MultiLineString(lines)).length
            volume += length * w * h
            seconds += length / machine.infill_mm_s
    return volume * DENSITY_G_MM3, seconds + machine.heat_up_s + len(layers) * machine.layer_change_s, layers


def plain_poses(mesh: trimesh.Trimesh) -> int:
    """trimesh's stable poses, and the support of the six likeliest by coarse rays."""
    transforms, _ = trimesh.poses.compute_stable_poses(mesh, n_samples=1)
    for transform in transforms[:6]:
        posed = mesh.copy()
        posed.apply_transform(transform)
        plain_support(posed, COARSE_MM)
    return len(transforms)
