"""What a printer lays down in each layer: walls, solid skins, sparse infill, and the raft or brim underneath.

Layers that are the same are worked out once. Polygons and their offsets and booleans are manifold3d's.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection, FillRule, JoinType

from meshcheck.layers.distinct import LayerShape, distinct_layers
from meshcheck.layers.gaps import NO_GAPS, Gaps, gaps_between
from meshcheck.layers.skins import Intersections
from meshcheck.layers.stack import Stack, stack_for
from meshcheck.layers.support import SupportLayers, support_layers
from meshcheck.types import FloatArray, IntArray, Mesh, PrintSettings, Support

THINNING_MM = 0.02  # a twentieth of a line; the areas are corrected for it
_MITRE_LIMIT = 2.0  # the smallest the library takes: sharper corners are cut off square
_QUADRATURE_MOST = 0.02
_FILLED_MM2 = 1e-3

Loops = tuple[FloatArray, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """One distinct layer shape. ``walls[i]`` are the closed middle lines of wall i, the outermost first.

    Areas are those of the exact contours: ``area_mm2`` of the whole layer, ``inner_mm2`` of what the walls leave,
    that of ``gaps`` is of places too narrow for the walls drawn, which a printer fills with lines of another width.
    ``exact_share`` is the area of the exact contours over that of the thinned ones.
    """

    section: CrossSection
    inner: CrossSection
    walls: tuple[Loops, ...]
    area_mm2: float
    inner_mm2: float
    gaps: Gaps
    exact_share: float


@dataclass(frozen=True, slots=True, eq=False)
class Fill:
    """What lies inside the walls of a layer: solid skin and sparse infill, with the exact areas."""

    skin: CrossSection
    sparse: CrossSection
    skin_mm2: float
    sparse_mm2: float


@dataclass(frozen=True, slots=True, eq=False)
class PartShapes:
    """The layers of one part. ``outline_of`` and ``fill_of`` (L,) say which distinct shape each layer has.

    ``volume_mm3`` is the material of the part itself; ``solid_mm3`` the volume the layers enclose. ``raft`` is the
    shape of every raft layer; ``brim[i]`` are the middle lines of brim line i, the innermost first. ``support`` stands
    beside the part, layer by layer, and on the raft where there is one.
    """

    stack: Stack
    settings: PrintSettings
    outlines: tuple[Outline, ...]
    outline_of: IntArray
    fills: tuple[Fill, ...]
    fill_of: IntArray
    volume_mm3: float
    solid_mm3: float
    raft: CrossSection
    raft_mm3: float
    brim: tuple[Loops, ...]
    brim_mm3: float
    support: SupportLayers


def part_shapes(mesh: Mesh, settings: PrintSettings, support: Support | None = None) -> PartShapes:
    """All layers of a closed mesh with outward faces; its lowest point stands on the bed.

    ``support`` must be wanted and measured: what ``wanted_support`` answers. TooManySegments when the mesh is too
    fine for its height.
    """
    z = mesh.vertices[:, 2]
    stack = stack_for(float(np.ptp(z)), settings)
    distinct = distinct_layers(mesh, float(z.min()) + stack.middle_mm, THINNING_MM)
    outlines = [_outline(shape, settings) for shape in distinct.shapes]
    outline_of = distinct.shape_of
    fills, fill_of = _fills(outlines, outline_of, settings)
    factor = _quadrature(mesh, distinct.area_mm2, stack)
    material = np.array(
        [material_mm2(outlines[o], fills[f], settings) for o, f in zip(outline_of, fill_of, strict=True)]
    )
    areas = np.array([outlines[o].area_mm2 for o in outline_of])
    standing = support_layers(support, stack, settings)
    lowest = outlines[outline_of[0]].section
    raft, raft_mm3 = _raft(lowest, standing.foot, settings)
    brim, brim_mm3 = _brim(raft if settings.raft_layers else lowest, settings)
    return PartShapes(
        stack=stack,
        settings=settings,
        outlines=tuple(outlines),
        outline_of=outline_of,
        fills=tuple(fills),
        fill_of=fill_of,
        volume_mm3=factor * float(material @ stack.thickness_mm),
        solid_mm3=factor * float(areas @ stack.thickness_mm),
        raft=raft,
        raft_mm3=raft_mm3,
        brim=brim,
        brim_mm3=brim_mm3,
        support=standing,
    )


def loops_of(section: CrossSection) -> Loops:
    """The contours of a section as closed loops, each (k, 2) float64 in mm."""
    return tuple(np.asarray(loop, dtype=np.float64) for loop in section.to_polygons())


def material_mm2(outline: Outline, fill: Fill, settings: PrintSettings) -> float:
    """Area of plastic in one layer of the part: walls, skin, and its share of the rest."""
    return outline.area_mm2 - outline.inner_mm2 + fill.skin_mm2 + settings.infill_share * fill.sparse_mm2


def _outline(shape: LayerShape, settings: PrintSettings) -> Outline:
    width, exact_share = settings.line_width_mm, shape.exact_share
    section = CrossSection(list(shape.contours), FillRule.Positive)
    middles = [grow(section, -(i + 0.5) * width) for i in range(settings.walls)]
    walls = tuple(loops_of(middle) for middle in middles)
    inner = grow(section, -settings.walls * width)
    area, inner_area = section.area(), inner.area()
    drawn = width * sum(loop_length(loop) for loops in walls for loop in loops)
    return Outline(
        section=section,
        inner=inner,
        walls=walls,
        area_mm2=area * exact_share,
        inner_mm2=inner_area * exact_share,
        # where no wall meets another the walls' lines fill their ring exactly, and nothing is left over
        gaps=_gaps(section, middles, width) if abs(area - inner_area - drawn) > _FILLED_MM2 else NO_GAPS,
        exact_share=exact_share,
    )


def _gaps(section: CrossSection, middles: Sequence[CrossSection], width: float) -> Gaps:
    """What each wall cannot reach of the room the walls before it left."""
    left_over = CrossSection()
    for i, middle in enumerate(middles):
        room = grow(section, -i * width) if i else section
        left_over = left_over + (room - grow(middle, width / 2))
    return gaps_between(left_over, width)


def _fills(outlines: list[Outline], outline_of: IntArray, settings: PrintSettings) -> tuple[list[Fill], IntArray]:
    """Skin where a layer within reach above or below leaves it bare, sparse infill in the rest."""
    common = Intersections([outline.section for outline in outlines])
    above = common.windows(outline_of, settings.top_layers, after=True)
    below = common.windows(outline_of, settings.bottom_layers, after=False)
    known: dict[tuple[int, int, int], int] = {}
    fills: list[Fill] = []
    fill_of = np.empty(len(outline_of), np.int32)
    for k, own in enumerate(outline_of):
        key = (int(own), above[k], below[k])
        if key not in known:
            known[key] = len(fills)
            fills.append(
                _fill(outlines[own], [common.sections[i] if i >= 0 else None for i in set(key[1:]) - {own}], settings)
            )
        fill_of[k] = known[key]
    return fills, fill_of


def _fill(outline: Outline, covers: Iterable[CrossSection | None], settings: PrintSettings) -> Fill:
    """``covers``: what is covered from above and below; None where the part ends within reach."""
    nothing = CrossSection()
    sparse = outline.inner
    for cover in covers:
        sparse = nothing if cover is None else sparse ^ cover
    if settings.infill_share >= 1:
        sparse = nothing
    skin = outline.inner if sparse.is_empty() else outline.inner - sparse
    sparse_mm2 = sparse.area() * outline.exact_share
    return Fill(skin, sparse, outline.inner_mm2 - sparse_mm2, sparse_mm2)


def _quadrature(mesh: Mesh, area_mm2: FloatArray, stack: Stack) -> float:
    """True volume over the volume of the layers: takes out the error of the mid-plane rule on slopes.

    Both count overlapping bodies twice, so their ratio is right for those too. Held within 2 %: where more is
    missing, something really lies between the planes and is not printed.
    """
    corners = mesh.corners - mesh.vertices.mean(axis=0)
    volume = float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))) / 6
    layered = float(area_mm2 @ stack.thickness_mm)
    if layered <= 0 or volume <= 0:
        return 1.0
    return min(max(volume / layered, 1 - _QUADRATURE_MOST), 1 + _QUADRATURE_MOST)


def _raft(lowest: CrossSection, foot: CrossSection, settings: PrintSettings) -> tuple[CrossSection, float]:
    """Full layers that reach ``raft_margin_mm`` beyond the lowest layer and the foot of the support, and their volume
    in mm3."""
    if settings.raft_layers == 0:
        return CrossSection(), 0.0
    # the foot is made of columns: round corners, because pointed ones would grow out of every step of its edge
    raft = grow(lowest, settings.raft_margin_mm) + foot.offset(settings.raft_margin_mm, JoinType.Round)
    height = settings.first_layer_mm + (settings.raft_layers - 1) * settings.layer_height_mm
    return raft, raft.area() * height


def _brim(lowest: CrossSection, settings: PrintSettings) -> tuple[tuple[Loops, ...], float]:
    """Lines around the outside of what lies on the bed, the innermost first, and their volume in mm3."""
    width = settings.line_width_mm
    outside = CrossSection([loop for loop in lowest.to_polygons() if contour_is_outer(loop)], FillRule.Positive)
    rings = tuple(loops_of(grow(outside, (i + 0.5) * width)) for i in range(settings.brim_lines))
    ring_mm2 = grow(outside, settings.brim_lines * width).area() - outside.area() if rings else 0.0
    return rings, ring_mm2 * settings.first_layer_mm


def contour_is_outer(loop: FloatArray) -> bool:
    """Whether a loop (k, 2) runs counter-clockwise, as the outside of material does."""
    x, y = np.asarray(loop, dtype=np.float64).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0


def grow(section: CrossSection, distance_mm: float) -> CrossSection:
    """The section grown outward (or, below zero, inward) with pointed corners."""
    return section.offset(distance_mm, JoinType.Miter, _MITRE_LIMIT)


def loop_length(loop: FloatArray) -> float:
    """Length in mm of a closed loop (k, 2)."""
    step = loop - np.roll(loop, 1, axis=0)
    return float(np.hypot(step[:, 0], step[:, 1]).sum())
