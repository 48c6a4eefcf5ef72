"""Every round hole of a mesh, the hub hole of each wheel first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshcheck.edges import EdgeTable, edge_table
from meshcheck.holes.balls import face_balls
from meshcheck.holes.cylinder import CLEAN_SHARE, Cylinder, apart, fit_cylinder, joined
from meshcheck.holes.ends import Ends, look_along
from meshcheck.holes.middle import middle_openings
from meshcheck.holes.regions import LOOSE, STRICT, Tolerance, candidate_axes, patches, skin_of
from meshcheck.holes.rims import Rim, rims_of, widest_around
from meshcheck.holes.sections import section_cylinders
from meshcheck.holes.shape import narrowed, shaped
from meshcheck.holes.taper import tapered
from meshcheck.holes.uneven import evened
from meshcheck.types import FloatArray, Hole, Mesh, Unknown
from meshcheck.types.bore import BoreKind, BoreShape
from telling import told

HOLE_COVERAGE_LEAST = 0.75
RIM_COVERAGE_LEAST = 0.5
# sin(a / 2) / (a / 2) for arcs of 3/4 and 1/2 of a turn, and a little room
HOLE_OPENNESS_MOST = 0.32
RIM_OPENNESS_MOST = 0.66
# What the corners leave of the fitted circle, as a share of its radius: beyond it the shape is another one.
MISFIT_CERTAIN = 0.006
# Where more of an uneven wall is not seen as part of it, what passes there is a guess (a clean wall has its keyway).
UNEVEN_COVERAGE_CERTAIN = 0.95
UNEVEN_MISFITS = 4.0  # corners lie hardly further in than this many times their root mean square
MISFIT_MOST = 0.04
UNFITTED_SHARE = 0.5  # an outline that was no circle, and was not recognised as anything else
# A hole wider than half its wheel is the inside of the rim, not the hub hole.
HUB_SHARE_MOST = 0.5
HUB_ECCENTRICITY_MOST = 0.175
CENTRAL_ECCENTRICITY = 0.08
PATCHES_MOST = 300
HEXAGON, HEXAGON_SIDE_MOST = 6, float(np.radians(66))
# What passes a circle of flat sides is told by the longest; where it is less than this of that, something stands in it.
RIBBED_SHARE, SIDE_MOST_RAD = 0.97, float(np.radians(90))


def find_holes(mesh: Mesh, edges: EdgeTable | None = None, *, keep_wide: bool = False) -> tuple[Hole, ...]:
    """All round holes of a mesh (wound outward), wheel by wheel, each wheel's hub hole before its other holes.

    Diameters are good to 1e-4 mm on clean meshes (least squares on corner vertices), free diameters to 1e-3 mm.
    ``certain`` is False where the faces were too uneven for the strict search. Holes sealed inside the part and
    the blind inside of a rim are left out; ``keep_wide`` keeps the latter, for parts whose wide pocket is what counts.
    """
    if not len(mesh.faces):
        return ()
    edges = edges or edge_table(mesh)
    axes = candidate_axes(mesh, edges)
    strict, outside = _by_faces(mesh, edges, axes, STRICT)
    rims = rims_of(mesh, outside, strict)
    found = _described(mesh, edges, strict, rims, True, keep_wide)
    if any(hole.hub for hole in found) or (found and not rims):
        return found
    loose, loose_outside = _by_faces(mesh, edges, axes, LOOSE)
    tried = _described(mesh, edges, loose, rims_of(mesh, loose_outside, loose), False, keep_wide)
    if any(hole.hub for hole in tried):
        return tried
    found = found or tried
    cut_open = joined(strict + section_cylinders(mesh, edges))
    tried = _described(mesh, edges, cut_open, rims_of(mesh, outside, cut_open), False, keep_wide)
    hubs = tuple(hole for hole in tried if hole.hub)
    if not hubs:
        open_middles = middle_openings(mesh, edges)
        told = _described(mesh, edges, open_middles, rims_of(mesh, outside, open_middles), False, keep_wide, True)
        hubs = tuple(hole for hole in told if hole.hub)
    # a square bore has no round wall to follow, but its outline is plain
    return hubs + (found or tuple(h for h in tried if not h.hub and h.shape.kind is not BoreKind.ROUND))


def _by_faces(
    mesh: Mesh, edges: EdgeTable, axes: list[FloatArray], tolerance: Tolerance
) -> tuple[list[Cylinder], list[Cylinder]]:
    """Cylinders that are holes, and cylinders that may be rims."""
    inside: list[Cylinder] = []
    outside: list[Cylinder] = []
    skin = skin_of(edges, tolerance)
    for axis in axes:
        for hollow, openness, into in ((True, HOLE_OPENNESS_MOST, inside), (False, RIM_OPENNESS_MOST, outside)):
            for patch in patches(skin, axis, hollow, openness)[:PATCHES_MOST]:
                cylinder = fit_cylinder(mesh, edges, patch)
                if cylinder is not None and cylinder.hollow == hollow and _regular(mesh, cylinder):
                    into.append(cylinder)
    holes = [c for c in joined(inside) if c.coverage >= HOLE_COVERAGE_LEAST]
    return holes, [c for c in joined(outside) if c.coverage >= RIM_COVERAGE_LEAST]


def _described(
    mesh: Mesh,
    edges: EdgeTable,
    cylinders: list[Cylinder],
    rims: list[Rim],
    certain: bool,
    keep_wide: bool,
    any_shape: bool = False,
) -> tuple[Hole, ...]:
    """The holes with their ends and their places in the rims. ``any_shape`` keeps those of no known shape."""
    holes = []
    balls = face_balls(mesh) if cylinders else np.zeros((0, 4))
    waiting = list(reversed(cylinders))
    while waiting:
        seen = waiting.pop()
        cylinder, shape = _shaped(mesh, edges, seen, balls, certain, any_shape)
        if shape is None:
            continue
        ends = look_along(mesh, edges, cylinder, balls)
        rim = widest_around(rims, cylinder)
        if ends.sealed:  # a hollow inside the part, or two blind holes that face each other
            waiting += apart(seen)
        elif keep_wide or not _inside_of_rim(cylinder, ends, rims, rim):
            named = shape.kind not in (BoreKind.ROUND, BoreKind.OTHER)
            plain = named and cylinder.misfit_mm < CLEAN_SHARE * cylinder.radius_mm
            hole = _hole(cylinder, ends, rims, rim, certain or plain)
            holes.append(replace(hole, shape=shape))
    return _in_order(holes, rims)


def _shaped(
    mesh: Mesh, edges: EdgeTable, seen: Cylinder, balls: FloatArray, certain: bool, any_shape: bool
) -> tuple[Cylinder, BoreShape | None]:
    """A hole measured as the shape it has; no shape where it was no circle and is not recognised as anything else."""
    cylinder, shape = shaped(mesh, seen, balls)
    if shape.kind is not BoreKind.ROUND:
        return cylinder, shape
    cone = tapered(mesh, cylinder)
    if cone is not None:
        return cone
    if seen.misfit_mm > UNFITTED_SHARE * seen.radius_mm:
        return seen, BoreShape(BoreKind.OTHER) if any_shape else None
    refitted = evened(mesh, edges, cylinder)
    if refitted is not cylinder or not certain:  # then nobody followed the wall all round
        refitted = narrowed(mesh, refitted, balls)
    return refitted, _plain_shape(refitted)


def _regular(mesh: Mesh, cylinder: Cylinder) -> bool:
    """Whether its corners lie on a circle or on a cone."""
    return cylinder.misfit_mm < MISFIT_MOST * cylinder.radius_mm or tapered(mesh, cylinder) is not None


def _inside_of_rim(hole: Cylinder, ends: Ends, rims: list[Rim], rim: int | None) -> bool:
    """A wide blind ring about the middle of a wheel is the inside of its rim beside the web or the spokes."""
    if rim is None or ends.through:
        return False
    wide = 2 * hole.radius_mm > HUB_SHARE_MOST * rims[rim].diameter_mm
    return wide and rims[rim].distance_mm(hole.middle_mm) < CENTRAL_ECCENTRICITY * rims[rim].diameter_mm


def _hole(cylinder: Cylinder, ends: Ends, rims: list[Rim], rim: int | None, certain: bool) -> Hole:
    missing = Unknown(told("there is no round outside around this hole"))
    x, y, z = (float(k) for k in cylinder.middle_mm)
    a, b, c = (float(k) for k in cylinder.axis)
    return Hole(
        diameter_mm=2 * cylinder.radius_mm,
        free_diameter_mm=2 * cylinder.free_radius_mm,
        depth_mm=cylinder.depth_mm,
        through=ends.through,
        axis=(a, b, c),
        centre_mm=(x, y, z),
        roundness_mm=cylinder.roundness_mm,
        eccentricity_mm=missing if rim is None else rims[rim].distance_mm(cylinder.middle_mm),
        rim_diameter_mm=missing if rim is None else rims[rim].diameter_mm,
        facets=cylinder.facets,
        certain=certain and _seen_well(cylinder),
        diameters_mm=cylinder.diameters_mm,
        rim=rim,
        obstructed=ends.obstructed,
    )


def _plain_shape(cylinder: Cylinder) -> BoreShape:
    """Round, unless ribs stand in it; or hexagonal: six sides are a hexagon even where the outline is too uneven to say
    more."""
    radius, longest = cylinder.radius_mm, cylinder.longest_side_rad
    if cylinder.facets == HEXAGON and longest < HEXAGON_SIDE_MOST:
        return BoreShape(BoreKind.HEXAGONAL, 2 * radius * float(np.cos(np.pi / HEXAGON)))
    sides = float(np.cos(max(np.pi / max(cylinder.facets, 3), longest / 2))) if longest < SIDE_MOST_RAD else 0.0
    ribbed = cylinder.misfit_mm < CLEAN_SHARE * radius and cylinder.free_radius_mm < RIBBED_SHARE * sides * radius
    return BoreShape(BoreKind.OTHER if ribbed else BoreKind.ROUND)


def _seen_well(cylinder: Cylinder) -> bool:
    """Whether the figures of a hole can be relied on: its wall is clean; or nearly, all of it was seen, and what passes
    is what its sides let expect."""
    radius, misfit = cylinder.radius_mm, cylinder.misfit_mm
    if misfit < CLEAN_SHARE * radius:
        return True
    expected = radius * np.cos(np.pi / max(cylinder.facets, 3)) - UNEVEN_MISFITS * misfit
    whole = cylinder.coverage >= UNEVEN_COVERAGE_CERTAIN and cylinder.free_radius_mm > expected
    return bool(whole and misfit < MISFIT_CERTAIN * radius)


def _in_order(holes: list[Hole], rims: list[Rim]) -> tuple[Hole, ...]:
    """Rims from low to high place, the hub hole of each first; then holes without a rim, the widest first."""
    groups: dict[int | None, list[Hole]] = {}
    for hole in holes:
        groups.setdefault(hole.rim, []).append(hole)
    ordered: list[Hole] = []
    numbers = sorted((k for k in groups if k is not None), key=lambda k: tuple(np.round(rims[k].middle_mm, 3)))
    for number, rim in enumerate(numbers):
        ordered += _hub_first(groups[rim], number)
    ordered += sorted(groups.get(None, []), key=lambda hole: -hole.diameter_mm)
    return tuple(ordered)


def _hub_first(holes: list[Hole], number: int) -> list[Hole]:
    """The holes of one rim, numbered; the narrowest of the most central ones is the hub hole."""

    def key(hole: Hole) -> tuple[bool, bool, float]:
        rim, eccentricity = _rim_of(hole)
        return not _may_be_hub(hole), eccentricity > CENTRAL_ECCENTRICITY * rim, hole.diameter_mm

    ranked = [replace(hole, rim=number) for hole in sorted(holes, key=key)]
    if not _may_be_hub(ranked[0]):
        return ranked
    return [replace(ranked[0], hub=True)] + [hole for hole in ranked[1:] if not _is_inside_of_rim(hole)]


def _may_be_hub(hole: Hole) -> bool:
    rim, eccentricity = _rim_of(hole)
    return hole.diameter_mm < HUB_SHARE_MOST * rim and eccentricity < HUB_ECCENTRICITY_MOST * rim


def _is_inside_of_rim(hole: Hole) -> bool:
    """Where there is a hub hole, a wide ring about the same middle is the inside of the rim."""
    rim, eccentricity = _rim_of(hole)
    return hole.diameter_mm > HUB_SHARE_MOST * rim and eccentricity < CENTRAL_ECCENTRICITY * rim


def _rim_of(hole: Hole) -> tuple[float, float]:
    """Rim diameter and eccentricity of a hole that has a rim."""
    if isinstance(hole.rim_diameter_mm, Unknown) or isinstance(hole.eccentricity_mm, Unknown):
        raise ValueError("this hole has no rim")
    return hole.rim_diameter_mm, hole.eccentricity_mm
