"""Pins and holes so narrow that they break or close up.

A round pin is a hole turned inside out: seen from inside, its skin is hollow. So it is found by the search for holes,
on the edges that turn tightly enough to be part of one. Pins of three to five sides are rings of flats.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from meshcheck.edges import EdgeTable
from meshcheck.holes.cylinder import Cylinder, fit_cylinder, joined
from meshcheck.holes.regions import STRICT, candidate_axes, patches, skin_of
from meshcheck.nesting import lies_in_material
from meshcheck.posts import find_posts
from meshcheck.types import FloatArray, Hole, Mesh, SmallFeature

# Print-bureau guides: pins from 3 mm, holes under 2 mm close up (FACTS 3; no standard says so).
PIN_LEAST_MM = 3.0
HOLE_LEAST_MM = 2.0
COVERAGE_LEAST = 0.9  # a rounded edge or a fillet is no pin
OPENNESS_MOST = 0.15
# A knob lower than half its width does not break off.
SLENDER_LEAST = 0.5
RADIUS_SLACK = 1.5  # uneven facets look more open than their pin is
EQUAL_MM = 1e-6
PINS_MOST = 200  # looked at for free ends
END_SHARE = 0.6  # of the width: what still goes on so far beyond its end is no tip


def small_features(
    mesh: Mesh, edges: EdgeTable, holes: Sequence[Hole], gauge_hole_mm: float | None = None
) -> tuple[SmallFeature, ...]:
    """Pins below 3 mm and holes below 2 mm, the narrowest first, each with its place in mm.

    ``holes`` as ``find_holes`` gives them. A hole that the gauge asks for in such a width is left out, and so are bars
    held at both ends. The width of a pin of three to five sides is the narrowest way across it.
    """
    round_pins = [(2 * pin.radius_mm, pin.depth_mm, pin.middle_mm, pin.axis) for pin in _pins(mesh, edges)]
    flat_pins = [
        (post.width_mm, post.length_mm, post.middle_mm, post.axis)
        for post in find_posts(mesh, edges, PIN_LEAST_MM - EQUAL_MM)
        if post.length_mm >= SLENDER_LEAST * post.width_mm
        and not any(lies_in_material(mesh.vertices, mesh.faces, point) for point in post.beside_mm)
    ]
    pins = [
        _small("pin", width, length, middle)
        for width, length, middle, axis in sorted(round_pins + flat_pins, key=lambda pin: pin[0])[:PINS_MOST]
        if _stands_free(mesh, middle, axis * (length / 2 + END_SHARE * width))
    ]
    narrow = [hole for hole in holes if hole.diameter_mm < HOLE_LEAST_MM - EQUAL_MM and not _asked(hole, gauge_hole_mm)]
    bored = [_small("hole", hole.diameter_mm, hole.depth_mm, np.array(hole.centre_mm)) for hole in narrow]
    return tuple(sorted([*pins, *bored], key=lambda feature: (feature.kind, feature.diameter_mm)))


def _stands_free(mesh: Mesh, middle: FloatArray, to_end: FloatArray) -> bool:
    """Whether there is no material beyond one of its ends."""
    ends = (middle + to_end, middle - to_end)
    return not all(lies_in_material(mesh.vertices, mesh.faces, end) for end in ends)


def _small(kind: str, diameter_mm: float, length_mm: float, middle: FloatArray) -> SmallFeature:
    x, y, z = (float(k) for k in middle)
    return SmallFeature("pin" if kind == "pin" else "hole", diameter_mm, length_mm, (x, y, z))


def _asked(hole: Hole, gauge_hole_mm: float | None) -> bool:
    return gauge_hole_mm is not None and gauge_hole_mm < HOLE_LEAST_MM and hole.hub


def _pins(mesh: Mesh, edges: EdgeTable) -> list[Cylinder]:
    """Free-standing cylinders narrower than ``PIN_LEAST_MM``."""
    inverted = _tight_edges(mesh, edges)
    if inverted is None:
        return []
    found = []
    skin = skin_of(inverted, STRICT)
    for axis in candidate_axes(mesh, inverted):
        for patch in patches(skin, axis, True, OPENNESS_MOST):
            pin = fit_cylinder(mesh, inverted, patch)
            if pin is not None and pin.hollow and 2 * pin.radius_mm < PIN_LEAST_MM - EQUAL_MM:
                found.append(pin)
    return [
        pin
        for pin in joined(found)
        if pin.coverage >= COVERAGE_LEAST and pin.depth_mm >= SLENDER_LEAST * 2 * pin.radius_mm
    ]


def _tight_edges(mesh: Mesh, edges: EdgeTable) -> EdgeTable | None:
    """The edges seen from inside, without those that turn too gently for a pin; None when none is left.

    Between facets of width w a circle of radius r turns by 2 arctan(w / 2 r) at every corner.
    """
    convex = np.flatnonzero(edges.turn_rad > STRICT.flat_rad)
    width = edges.area_mm2[edges.faces[convex]].sum(axis=1) / np.maximum(edges.length_mm[convex], 1e-12)
    radius = width / (2 * np.tan(np.minimum(edges.turn_rad[convex], np.pi / 2) / 2))
    tight = convex[radius < RADIUS_SLACK * PIN_LEAST_MM / 2]
    if not len(tight):
        return None
    turn = np.where(np.abs(edges.turn_rad) <= STRICT.flat_rad, edges.turn_rad, np.nan)
    turn[tight] = -edges.turn_rad[tight]
    return replace(edges, turn_rad=turn, normals=-edges.normals, ends=np.ascontiguousarray(edges.ends[:, ::-1]))
