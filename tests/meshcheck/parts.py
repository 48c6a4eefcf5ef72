"""Solids for the tests, made with manifold3d, and the means to turn and place them."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from meshcheck.types import FloatArray, Mesh

Solid = m3.Manifold
Outline = m3.CrossSection


def mesh_of(*solids: m3.Manifold) -> Mesh:
    """Each solid as one body, left as it is: overlaps stay overlaps."""
    vertices, faces, body, first = [], [], [], 0
    for number, solid in enumerate(solids):
        made = solid.to_mesh()
        corners = np.asarray(made.vert_properties)[:, :3].astype(np.float64)
        sides = np.asarray(made.tri_verts).astype(np.int32)
        vertices.append(corners)
        faces.append(sides + first)
        body.append(np.full(len(sides), number, np.int32))
        first += len(corners)
    return Mesh(np.vstack(vertices), np.vstack(faces).astype(np.int32), np.concatenate(body))


def moved(mesh: Mesh, matrix: FloatArray | None = None, offset: tuple[float, float, float] = (0, 0, 0)) -> Mesh:
    """Turned or stretched by a 3 x 3 matrix, then shifted, then rounded to float32 as an STL file would."""
    turned = mesh.vertices if matrix is None else mesh.vertices @ np.asarray(matrix).T
    rounded = (turned + np.asarray(offset)).astype(np.float32).astype(np.float64)
    return Mesh(rounded, mesh.faces, mesh.body)


def random_turn(rng: np.random.Generator) -> FloatArray:
    """A rotation drawn evenly from all rotations (unit quaternion of four normal variates)."""
    w, x, y, z = (q := rng.normal(size=4)) / np.linalg.norm(q)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def turn_about_z(angle_deg: float) -> FloatArray:
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def box(x: float, y: float, z: float, at: tuple[float, float, float] = (0, 0, 0)) -> m3.Manifold:
    return Solid.cube((x, y, z)).translate(at)


def disc(radius_mm: float, height_mm: float, facets: int = 128) -> m3.Manifold:
    return Outline.circle(radius_mm, facets).extrude(height_mm)


def drilled(solid: m3.Manifold, radius: float, facets: int, x: float = 0.0, y: float = 0.0, floor: float = -50.0,
            top: float = 100.0, turned_deg: float = 0.0) -> m3.Manifold:  # fmt: skip
    """``solid`` with a hole along z between two heights; its ``facets`` corners lie on the circle of ``radius``."""
    drill = Outline.circle(radius, facets).rotate(turned_deg).extrude(top - floor)
    return solid - drill.translate((x, y, floor))


def wheel(radius: float = 30.0, width: float = 20.0, bore: float = 3.2, *, spokes: int = 5, facets: int = 128,
          bore_facets: int = 48, hub: float = 7.0, rim: float = 4.0, web: float = 3.0, hub_width: float | None = None,
          spoke_width: float | None = None, floor: float | None = None, eccentricity: float = 0.0,
          lightening: int = 0, chamfer: float = 0.0, turned_deg: float = 0.0) -> m3.Manifold:  # fmt: skip
    """A wheel lying on its side, axle along z. ``spokes=0`` is a solid disc; ``floor`` leaves the bore blind;
    ``bore=0`` leaves it out; ``lightening`` holes of 4.4 mm stand halfway between hub and rim."""
    hub_width = hub_width or width
    body = disc(hub, hub_width, facets)
    if spokes:
        arms = Outline()
        for k in range(spokes):
            arm = Outline.square((radius - rim / 2, web)).translate((0, -web / 2))
            arms = arms + arm.rotate(360 / spokes * k)
        ring = Outline.circle(radius, facets) - Outline.circle(radius - rim, facets)
        body = body + ring.extrude(width) + arms.extrude(spoke_width or width)
    else:
        body = body + disc(radius, width, facets)
    for k in range(lightening):
        angle, r = 2 * np.pi * k / lightening, (hub + radius) / 2
        body = drilled(body, 2.2, 24, r * np.cos(angle), r * np.sin(angle))
    if bore:
        body = drilled(
            body, bore / 2, bore_facets, eccentricity, 0, -2 if floor is None else floor, hub_width + 2, turned_deg
        )
    if chamfer:
        cone = Solid.cylinder(chamfer, bore / 2, bore / 2 + chamfer, bore_facets).rotate((0, 0, turned_deg))
        body = body - cone.translate((eccentricity, 0, hub_width - chamfer))
    return body
