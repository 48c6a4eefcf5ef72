"""Everything that is measured on a file that could be read, in one go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshcheck.basics import measure
from meshcheck.bodies import union_overlapping
from meshcheck.crossings import find_crossings
from meshcheck.edges import edge_table
from meshcheck.estimate import estimate
from meshcheck.features import small_features
from meshcheck.gauge import gauged_holes, part_sizes
from meshcheck.holes import find_holes
from meshcheck.hub_region import furthest_hub
from meshcheck.moments import VOLUME, body_moments
from meshcheck.orientation import Rotation, advise_turn, turned
from meshcheck.outside import outside_of
from meshcheck.overhang import bed_slack_mm, overhang
from meshcheck.repair import repair
from meshcheck.similarity import signature
from meshcheck.spin import spin_of
from meshcheck.types import (
    MM_PER_UNIT,
    Basics,
    Crossings,
    Estimate,
    Gauge,
    Hole,
    HubDeviation,
    Limits,
    Machine,
    Mesh,
    Outside,
    PrintSettings,
    RawMesh,
    Signature,
    SmallFeature,
    Spin,
    Support,
    Topology,
    Turn,
    Unit,
    Unknown,
    Vector,
    Walls,
    known,
)
from meshcheck.units import UnitJudgement, judge_unit
from meshcheck.walls import thin_walls
from telling import told

WALL_LINES = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Everything measured on a file that could be read."""

    raw: RawMesh
    mesh: Mesh
    topology: Topology
    basics: Basics
    holes: tuple[Hole, ...]
    hub: HubDeviation | Unknown | None
    support: Support
    walls: Walls
    crossings: Crossings | None
    estimate: Estimate | Unknown
    sizes_mm: tuple[Vector, ...]
    pieces: int  # solids that are left when overlapping ones are joined; a hollow inside one is none
    copies: int
    judged: UnitJudgement
    small: tuple[SmallFeature, ...]
    turn: Turn | Unknown
    signature: Signature | Unknown
    spin: Spin | Unknown
    outside: Outside | Unknown


def measure_part(
    raw: RawMesh,
    gauge: Gauge | None,
    settings: PrintSettings,
    machine: Machine,
    limits: Limits,
    unit: Unit | None,
    pose: Rotation | None,
    kit_mesh: Mesh | None = None,
) -> Measured:
    read_in = unit or raw.unit or Unit.MILLIMETRE
    mesh, topology = repair(raw, read_in)
    if pose is not None:
        mesh = turned(mesh, pose)
    solid = _solid(mesh, topology)
    basics = measure(mesh, topology)
    edges = edge_table(solid)
    holes = find_holes(solid, edges)
    pieces = _pieces(solid)
    copies = _copies(holes, pieces, gauge)
    closed = topology.watertight and topology.winding_consistent
    support = overhang(
        solid, settings.overhang_limit_deg, watertight=closed, bed_mm=bed_slack_mm(settings, pose is not None)
    )
    printed = estimate(solid, settings, machine, support)
    judged = _judge_unit(raw, basics, holes, gauge, limits, unit, read_in)
    return Measured(
        raw=raw,
        mesh=solid,
        topology=topology,
        basics=basics,
        holes=holes,
        hub=_hub(solid, holes, gauge, kit_mesh),
        support=support,
        crossings=find_crossings(solid) if closed else None,
        walls=thin_walls(solid, WALL_LINES * settings.line_width_mm),
        estimate=printed,
        sizes_mm=part_sizes(solid) if copies > 1 else (basics.size_mm,),
        pieces=pieces,
        copies=copies,
        judged=judged,
        small=small_features(solid, edges, holes, gauge.hole_diameter_mm if gauge else None),
        turn=_turn(solid, printed, judged, settings, machine, limits),
        signature=_signature(solid, topology, basics, copies),
        spin=spin_of(solid, holes, gauge, copies, printed),
        outside=_outside(solid, gauge, copies, closed),
    )


def _outside(solid: Mesh, gauge: Gauge | None, copies: int, closed: bool) -> Outside | Unknown:
    """Of a part that goes to the lab: one that is redesigned, alone in its file."""
    if gauge is None:
        return Unknown(told("only redesigned parts go to the lab"))
    if copies > 1:
        return Unknown(told("the file holds several parts"))
    return outside_of(solid) if closed else Unknown(told("the skin of the part is not closed"))


def _hub(
    solid: Mesh, holes: tuple[Hole, ...], gauge: Gauge | None, kit_mesh: Mesh | None
) -> HubDeviation | Unknown | None:
    """The hub that is furthest from the kit part's, of all hubs the gauge is held against."""
    if gauge is None or gauge.hole_diameter_mm is None or kit_mesh is None:
        return None
    return furthest_hub(
        solid,
        gauged_holes(holes, gauge.hole_diameter_mm),
        kit_mesh,
        gauged_holes(find_holes(kit_mesh), gauge.hole_diameter_mm),
        gauge.hub_diameter_mm,
    )


def _turn(
    solid: Mesh,
    printed: Estimate | Unknown,
    judged: UnitJudgement,
    settings: PrintSettings,
    machine: Machine,
    limits: Limits,
) -> Turn | Unknown:
    """How the part is best laid, where it can be estimated at all and is not read in the wrong unit."""
    if isinstance(printed, Unknown):
        return printed
    if judged.proposed is not None:
        return Unknown(told("the unit is not settled"))
    return advise_turn(solid, settings, machine, printed, limits.bed_mm)


def _solid(mesh: Mesh, topology: Topology) -> Mesh:
    """Bodies that stand in each other as the one solid they print as, where that can be worked out."""
    if not topology.overlapping_bodies:
        return mesh
    joined = union_overlapping(mesh, topology)
    return mesh if isinstance(joined, Unknown) else joined


def _pieces(solid: Mesh) -> int:
    """Shells that enclose material; the inward ones are hollows in them."""
    bodies = int(solid.body.max()) + 1
    if bodies == 1:
        return 1
    volume = body_moments(solid.vertices, solid.faces, solid.body, bodies, solid.vertices.mean(axis=0))[:, VOLUME]
    return max(1, int((volume > 0).sum()))


def _copies(holes: tuple[Hole, ...], pieces: int, gauge: Gauge | None) -> int:
    """How many of the part the file holds: its gauged holes, when every separate piece has one."""
    if gauge is None or gauge.hole_diameter_mm is None:
        return 1
    gauged = len(gauged_holes(holes, gauge.hole_diameter_mm))
    return gauged if gauged == pieces else 1


def _signature(mesh: Mesh, topology: Topology, basics: Basics, copies: int) -> Signature | Unknown:
    """The signature of the part in a file; where the file holds several ``copies`` of it, of the first one, so that
    four wheels in a file are known again in a file of one."""
    if copies <= 1 or not topology.watertight or not topology.winding_consistent:
        return signature(basics)
    chosen = mesh.body == mesh.body.min()
    one = Mesh(mesh.vertices, mesh.faces[chosen], np.zeros(int(chosen.sum()), np.int32))
    used, faces = np.unique(one.faces, return_inverse=True)
    alone = Mesh(mesh.vertices[used], faces.reshape(-1, 3).astype(np.int32), one.body)
    return signature(measure(alone, _single(topology)))


def _single(topology: Topology) -> Topology:
    """The topology of one clean body of a clean file."""
    return Topology(0, 0, 1, 0, 0, 0, 0, topology.welded, 0, False)


def _judge_unit(
    raw: RawMesh,
    basics: Basics,
    holes: tuple[Hole, ...],
    gauge: Gauge | None,
    limits: Limits,
    chosen: Unit | None,
    read_in: Unit,
) -> UnitJudgement:
    scale = MM_PER_UNIT[read_in]
    volume = known(basics.volume_mm3)
    return judge_unit(
        raw,
        gauge_hole_mm=gauge.hole_diameter_mm if gauge else None,
        hole_diameters=[hole.diameter_mm / scale for hole in holes if hole.hub or hole.rim is None],
        reference_volume_mm3=gauge.reference_volume_mm3 if gauge else None,
        volume=volume / scale**3 if volume is not None else None,
        size_max_mm=gauge.size_max_mm if gauge else None,
        bed_mm=limits.bed_mm,
        chosen=chosen,
    )
