"""Files nobody drew for these tests: random wheels and parts, handled as schools' programs handle them.

``held_out(seed)`` always gives the same file. What must be found in it is known from how it was made.
"""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d as m3
import numpy as np

from lessons.parts.files import obj
from meshcheck.export import PlacedMesh, stl_bytes, threemf_bytes
from meshcheck.types import MM_PER_UNIT, FloatArray, Mesh, Unit

from .parts import Solid, box, disc, drilled, mesh_of, random_turn, wheel

NOISES_MM = (0.0, 0.0, 0.0, 0.004, 0.012)
TREATMENTS = ("as made", "as made", "refined", "decimated", "turned", "turned and refined")
FORMATS = ("binary", "binary", "ascii", "two decimals", "obj", "3mf")
UNITS = (Unit.MILLIMETRE,) * 6 + (Unit.INCH, Unit.CENTIMETRE)


@dataclass(frozen=True, slots=True)
class HeldOut:
    """A file and the truth about it. ``bore_mm`` is None for parts without a hub hole; ``unevenness_mm`` is how far its
    corners may lie off the drawing."""

    data: bytes
    name: str
    told: str
    unit: Unit
    bore_mm: float | None
    bore_facets: int
    depth_mm: float
    through: bool
    eccentricity_mm: float
    unevenness_mm: float
    volume_mm3: float


def held_out(seed: int) -> HeldOut:
    rng = np.random.default_rng(seed)
    if rng.random() < 0.8:
        solid, truth = _wheel(rng)
    else:
        solid, truth = _part(rng), {}
    treatment = str(rng.choice(TREATMENTS))
    if "refined" in treatment:
        solid = solid.refine(int(rng.integers(2, 4)))
    slack = 0.0
    if treatment == "decimated":
        slack = float(rng.choice([0.002, 0.01]))
        solid = solid.simplify(slack)
    volume = solid.volume()
    mesh = mesh_of(solid)
    vertices = mesh.vertices
    if "turned" in treatment:
        vertices = vertices @ random_turn(rng).T
    vertices = vertices + rng.uniform(-120, 120, 3)
    noise = float(rng.choice(NOISES_MM))
    vertices = vertices + rng.uniform(-noise, noise, vertices.shape)
    unit = UNITS[int(rng.integers(len(UNITS)))]
    kind = str(rng.choice(FORMATS))
    if kind in ("two decimals", "obj") and unit is not Unit.MILLIMETRE:
        kind = "ascii"  # two decimals of an inch would be a quarter of a millimetre
    drawn = Mesh(vertices / MM_PER_UNIT[unit], mesh.faces, mesh.body)
    data, name = _written(drawn, kind)
    unevenness = noise + slack + (0.005 * np.sqrt(3) if kind == "two decimals" else 0.0)
    told = f"seed {seed}: {treatment}, {kind}, {unit.value}, noise {noise} mm, {len(mesh.faces)} faces, {truth}"
    return HeldOut(
        data=data,
        name=name,
        told=told,
        unit=unit,
        bore_mm=truth.get("bore"),
        bore_facets=int(truth.get("bore_facets", 0)),
        depth_mm=float(truth.get("depth", 0)),
        through=truth.get("floor") is None,
        eccentricity_mm=float(truth.get("eccentricity", 0)),
        unevenness_mm=unevenness,
        volume_mm3=volume,
    )


def _wheel(rng: np.random.Generator) -> tuple[m3.Manifold, dict[str, float]]:
    """A random wheel, and its hub hole."""
    bore = float(rng.uniform(2.2, 6.0))
    radius, width = float(rng.uniform(16, 45)), float(rng.uniform(4, 20))
    hub = float(bore / 2 + rng.uniform(2.0, 5.0))
    hub_width = width if rng.random() < 0.5 else float(width + rng.uniform(0.5, 8))
    chamfer = 0.0 if rng.random() < 0.7 else float(rng.uniform(0.3, 0.8))
    floor = None if rng.random() < 0.85 else float(rng.uniform(0.2, 0.5) * hub_width)
    shape = {
        "spokes": int(rng.integers(0, 9)),
        "facets": int(rng.integers(24, 200)),
        "bore_facets": int(rng.choice([8, 12, 16, 24, 32, 48, 64, 96])),
        "rim": float(rng.uniform(2.0, 5.0)),
        "web": float(rng.uniform(1.2, 4.0)),
        "eccentricity": 0.0 if rng.random() < 0.7 else float(rng.uniform(0.05, 0.8)),
        "lightening": 0 if radius - hub < 16 else int(rng.choice([0, 0, 3, 6])),
        "turned_deg": float(rng.uniform(0, 360)),
    }
    made = wheel(radius, width, bore, hub=hub, hub_width=hub_width, chamfer=chamfer, floor=floor, **shape)
    depth = hub_width - chamfer - (floor or 0.0)
    truth = {"bore": bore, "bore_facets": shape["bore_facets"], "depth": depth, "floor": floor,
             "eccentricity": shape["eccentricity"], "spokes": shape["spokes"], "radius": radius,
             "lightening": shape["lightening"], "chamfer": chamfer, "facets": shape["facets"]}  # fmt: skip
    return made, truth


def _part(rng: np.random.Generator) -> m3.Manifold:
    """Blocks, discs and balls joined, with a few cut away again: anything a class may draw."""
    made = box(*rng.uniform(10, 40, 3))
    for _ in range(int(rng.integers(1, 7))):
        piece = (
            box(*rng.uniform(3, 25, 3)),
            disc(float(rng.uniform(2, 10)), float(rng.uniform(3, 20)), int(rng.integers(5, 80))),
            Solid.sphere(float(rng.uniform(3, 10)), int(rng.integers(8, 60))),
        )[int(rng.integers(3))]
        piece = piece.rotate(tuple(rng.uniform(0, 360, 3))) if rng.random() < 0.4 else piece
        piece = piece.translate(tuple(rng.uniform(0, 25, 3)))
        made = made + piece if rng.random() < 0.7 else made - piece
    if rng.random() < 0.4:
        made = drilled(made, float(rng.uniform(1, 4)), int(rng.integers(8, 64)), *rng.uniform(3, 10, 2))
    return max(made.decompose(), key=lambda body: body.volume())


def _written(mesh: Mesh, kind: str) -> tuple[bytes, str]:
    if kind == "obj":
        return obj((mesh.vertices, mesh.faces), "part"), "part.obj"
    if kind in ("ascii", "two decimals"):
        return _ascii(mesh.corners, ".2f" if kind == "two decimals" else ".6e"), "part.stl"
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    placed = [PlacedMesh(mesh, float(low[0] + high[0]) / 2, float(low[1] + high[1]) / 2)]
    return (threemf_bytes(placed, "part"), "part.3mf") if kind == "3mf" else (stl_bytes(placed), "part.stl")


def _ascii(corners: FloatArray, digits: str) -> bytes:
    facets = "".join(
        "facet normal 0 0 0\nouter loop\n"
        + "".join(f"vertex {x:{digits}} {y:{digits}} {z:{digits}}\n" for x, y, z in triangle)
        + "endloop\nendfacet\n"
        for triangle in corners
    )
    return f"solid part\n{facets}endsolid part\n".encode()
