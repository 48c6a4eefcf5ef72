"""Size and mass properties of a repaired mesh."""

from __future__ import annotations

import numpy as np

from meshcheck.bodies import union_overlapping
from meshcheck.miscounted import miscounted
from meshcheck.moments import AREA, FIRST, SECOND, VOLUME, body_moments
from meshcheck.types import Basics, FloatArray, Mesh, Topology, Unknown, Vector
from telling import told

Tensor = tuple[Vector, Vector, Vector]

__all__ = ["inertia_kg_m2", "measure", "union_overlapping"]


def measure(mesh: Mesh, topology: Topology) -> Basics:
    """Area, box, volume, centre of mass and inertia (about the centre of mass, density 1).

    A mesh that is open or whose faces disagree about outside has no volume: those figures are Unknown with the
    reason. Bodies that overlap are measured as their union, so shared material counts once; so does what a skin that
    passes through itself encloses twice.
    """
    if topology.overlapping_bodies:
        joined = union_overlapping(mesh, topology)
        if not isinstance(joined, Unknown):  # else the columns below count shared room once, within 1 % of it
            mesh = joined
    reason = _no_volume_reason(topology)
    if reason is not None:
        return _surface_only(mesh, reason)
    lowest, highest = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    middle = (lowest + highest) / 2
    total = _total_moments(mesh, middle)
    twice = miscounted(mesh, float(total[VOLUME]), middle)
    total = total + twice.moments
    volume = float(total[VOLUME])
    if not volume > 0:
        return _surface_only(mesh, Unknown(told("the faces turned inward and outward cancel each other out")))
    offset = total[FIRST] / volume
    return Basics(
        area_mm2=float(total[AREA]),
        lowest_mm=_vector(lowest),
        highest_mm=_vector(highest),
        volume_mm3=volume,
        centre_of_mass_mm=_vector(middle + offset),
        inertia_mm5=_inertia(total[SECOND], volume, offset),
        doubled_mm3=twice.doubled_mm3,
        inverted_mm3=twice.inverted_mm3,
    )


def inertia_kg_m2(basics: Basics, density_g_cm3: float) -> Tensor | Unknown:
    """Inertia tensor about the centre of mass, kg m2, for a solid of this density.

    1 g/cm3 is 1e-6 kg/mm3, and 1 mm2 is 1e-6 m2.
    """
    if isinstance(basics.inertia_mm5, Unknown):
        return basics.inertia_mm5
    scaled = np.array(basics.inertia_mm5) * (density_g_cm3 * 1e-12)
    return (_vector(scaled[0]), _vector(scaled[1]), _vector(scaled[2]))


def _no_volume_reason(topology: Topology) -> Unknown | None:
    if topology.open_edges:
        return Unknown(told("the surface is not closed: {edges} open edges", edges=topology.open_edges))
    if topology.crowded_edges:
        return Unknown(told("three or more faces meet at {edges} edges", edges=topology.crowded_edges))
    if topology.flipped_edges:
        return Unknown(told("faces disagree about which side is out along {edges} edges", edges=topology.flipped_edges))
    return None


def _surface_only(mesh: Mesh, reason: Unknown) -> Basics:
    lowest, highest = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    area = float(_total_moments(mesh, lowest)[AREA])
    return Basics(area, _vector(lowest), _vector(highest), reason, reason, reason)


def _total_moments(mesh: Mesh, origin: FloatArray) -> FloatArray:
    one_body = np.zeros(len(mesh.faces), np.int32)
    total: FloatArray = body_moments(mesh.vertices, mesh.faces, one_body, 1, origin)[0]
    return total


def _inertia(second: FloatArray, volume: float, offset: FloatArray) -> Tensor:
    """Inertia tensor about the centre of mass from second moments about the origin (parallel-axis theorem)."""
    x, y, z = offset
    xx, yy, zz, xy, yz, zx = second - volume * np.array([x * x, y * y, z * z, x * y, y * z, z * x])
    return (
        (float(yy + zz), float(-xy), float(-zx)),
        (float(-xy), float(xx + zz), float(-yz)),
        (float(-zx), float(-yz), float(xx + yy)),
    )


def _vector(values: FloatArray) -> Vector:
    return (float(values[0]), float(values[1]), float(values[2]))
