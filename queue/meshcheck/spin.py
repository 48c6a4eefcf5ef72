"""What a wheel brings to a rolling cart: its mass, its spin inertia as printed, the radius it rolls on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshcheck.gauge import gauged_holes
from meshcheck.types import Estimate, FloatArray, Gauge, Hole, Mesh, Spin, Unknown
from telling import told

PARALLEL_COSINE = 0.9999


def spin_of(
    mesh: Mesh, holes: Sequence[Hole], gauge: Gauge | None, copies: int, estimate: Estimate | Unknown
) -> Spin | Unknown:
    """The spin of one of the ``copies`` equal wheels of a file about its gauged hole.

    The mass of the whole file stands evenly on its wheels; of the inertia about the common centre the parallel axis
    theorem takes what belongs to the distances between them.
    """
    if gauge is None or gauge.hole_diameter_mm is None:
        return Unknown(told("no hole is asked for, so there is no axle"))
    if isinstance(estimate, Unknown) or estimate.body is None:
        return Unknown(told("without an estimate there is no mass"))
    hubs = gauged_holes(holes, gauge.hole_diameter_mm)
    if len(hubs) != copies or not hubs:
        return Unknown(told("it is not clear which hole the axle goes through"))
    axes = np.array([hub.axis for hub in hubs])
    axis = axes[0] / np.linalg.norm(axes[0])
    if (np.abs(axes @ axis) < PARALLEL_COSINE).any():
        return Unknown(told("the wheels of this file lie in different directions"))
    points = np.array([hub.centre_mm for hub in hubs])
    body = estimate.body
    mass = body.mass_g / copies
    if copies == 1:
        inertia = body.about(points[0], axis)
    else:
        offsets = _across(points - body.centre_mm, axis)
        whole = body.about(body.centre_mm, axis)
        inertia = (whole - mass * float((offsets**2).sum())) / copies
    if inertia <= 0:
        return Unknown(told("the wheels of this file are not alike"))
    upright = bool(abs(axis[2]) >= PARALLEL_COSINE)
    along = _centre_along(mesh, points[0], axis, body.centre_mm) if copies == 1 else None
    return Spin(mass, inertia, _radius(mesh, points, axis), along, upright)


def _centre_along(mesh: Mesh, point: FloatArray, axis: FloatArray, centre_mm: FloatArray) -> float:
    """How far the mass centre lies from the axis towards the vertex furthest from it, mm."""
    across = _across(mesh.vertices - point, axis)
    distances = np.linalg.norm(across, axis=1)
    furthest = int(distances.argmax())
    if distances[furthest] == 0:
        return 0.0
    direction = across[furthest] / distances[furthest]
    return float(np.dot(centre_mm - point, direction))


def _across(vectors: FloatArray, axis: FloatArray) -> FloatArray:
    """The part of vectors (n, 3) that is square to the axis."""
    across: FloatArray = vectors - np.outer(vectors @ axis, axis)
    return across


def _radius(mesh: Mesh, points: FloatArray, axis: FloatArray) -> float:
    """Largest distance of a vertex from the nearest axis."""
    across = _across(mesh.vertices, axis)
    feet = _across(points, axis)
    distances = np.min([np.linalg.norm(across - foot, axis=1) for foot in feet], axis=0)
    return float(distances.max())
