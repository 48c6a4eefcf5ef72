"""Mass, centre and inertia of a part as it is printed: dense walls and skins, sparse infill inside.

A layer is a flat slab of its outline, less the share of the sparse area that infill leaves empty. Contours are those
thinned to 0.02 mm, which costs about 0.1 % of a 60 mm wheel's inertia. Integrals over
polygons by Green's theorem (M. F. Beatty, Principles of Engineering Mechanics 2, 2006, gives inertia tensors of slabs;
the polygon sums are the usual ones, written from memory and compared with closed forms and shapely in the tests).
"""

from __future__ import annotations

import numpy as np
from manifold3d import CrossSection

from meshcheck.layers.shapes import PartShapes, loops_of
from meshcheck.materials import MATERIALS
from meshcheck.types import FloatArray, PrintedBody


def printed_body(shapes: PartShapes, lowest_mm: float) -> PrintedBody:
    """The body the layers make; ``lowest_mm`` is the z of the mesh's lowest point. ValueError when there is none."""
    share_empty = 1 - shapes.settings.infill_share
    outlines = np.array([_moments(each.section) * each.exact_share for each in shapes.outlines])
    sparse = np.array([_moments(each.sparse) for each in shapes.fills])
    exact = np.array([each.exact_share for each in shapes.outlines])[shapes.outline_of]
    slabs = outlines[shapes.outline_of] - share_empty * exact[:, None] * sparse[shapes.fill_of]  # (L, 6)
    thickness = shapes.stack.thickness_mm
    middle = lowest_mm + shapes.stack.middle_mm
    weights = slabs * thickness[:, None]
    area = weights[:, 0]
    volume = float(area.sum())
    if volume <= 0:
        raise ValueError("the layers enclose nothing")
    sx, sy, sxx, syy, sxy = (float(weights[:, column].sum()) for column in range(1, 6))
    sz = float(area @ middle)
    szz = float(area @ (middle**2 + thickness**2 / 12))
    szx, syz = float(weights[:, 1] @ middle), float(weights[:, 2] @ middle)
    centre = np.array([sx, sy, sz]) / volume
    second = np.array([[sxx, sxy, szx], [sxy, syy, syz], [szx, syz, szz]]) - volume * np.outer(centre, centre)
    inertia = np.eye(3) * np.trace(second) - second
    mass_g = shapes.volume_mm3 * MATERIALS[shapes.settings.material].density_g_cm3 / 1000
    return PrintedBody(mass_g, centre, inertia * (mass_g / volume))


def _moments(section: CrossSection) -> FloatArray:
    """(6,): area and the integrals of x, y, xx, yy, xy over a section."""
    total = np.zeros(6)
    for loop in loops_of(section):
        x, y = loop.T
        u, v = np.roll(x, -1), np.roll(y, -1)
        cross = x * v - u * y
        total += [
            cross.sum() / 2,
            cross @ (x + u) / 6,
            cross @ (y + v) / 6,
            cross @ (x * x + x * u + u * u) / 12,
            cross @ (y * y + y * v + v * v) / 12,
            cross @ (x * v + 2 * x * y + 2 * u * v + u * y) / 24,
        ]
    return total
