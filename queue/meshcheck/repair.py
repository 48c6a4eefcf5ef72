"""From loose triangles to a measured mesh in millimetres: merge, weld, drop, turn, count."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcheck.bodies import bodies_overlap
from meshcheck.merge import compact, drop_collapsed, drop_twins, merge_vertices, weld
from meshcheck.nesting import inside_out, nest
from meshcheck.reading.gate import MAX_BODIES, rejected
from meshcheck.runs import part_closed_runs
from meshcheck.topology import FLIPPED, OPEN, EdgeScan, scan_edges
from meshcheck.touching import part_touching
from meshcheck.types import MM_PER_UNIT, FloatArray, IntArray, Mesh, RawMesh, Topology, Unit

# Real CAD files leave seams of about a millionth of their size; at 1e-4 fine detail is already destroyed.
WELD_REACH = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """A mesh on its way through the repair."""

    vertices: FloatArray
    faces: IntArray
    edges: EdgeScan
    zero_area: int = 0
    twins: int = 0
    touching: int = 0
    welded: bool = False


def repair(raw: RawMesh, unit: Unit) -> tuple[Mesh, Topology]:
    """Merge, weld if seams are open, drop faces without area, turn inside-out bodies; tell what was found and done.

    Faces whose winding is inconsistent are counted, never guessed at. Raises MeshRejected when nothing but faces
    without area is left (``flat``) or the file is a cloud of pieces (``too_many_bodies``).
    """
    work = _merged(raw, MM_PER_UNIT[unit])
    if work.edges.open_edges:
        work = _welded(work)
    if work.edges.crowded_edges:
        work = _parted(_without_twins(work))
    if work.edges.bodies > MAX_BODIES:
        raise rejected("too_many_bodies", bodies=work.edges.bodies, limit=MAX_BODIES)
    closed = _closed_bodies(work.edges)
    nesting = nest(work.vertices, work.faces, work.edges.body, work.edges.bodies, closed)
    turn = inside_out(nesting)
    faces, edges = work.faces, work.edges
    if turn.any():
        faces = faces.copy()
        turned_faces = turn[edges.body]
        faces[turned_faces] = faces[turned_faces][:, ::-1]
        nesting = replace(nesting, volume=np.where(turn, -nesting.volume, nesting.volume))
    topology = Topology(
        faces=len(faces),
        vertices=len(work.vertices),
        bodies=edges.bodies,
        open_edges=edges.open_edges,
        crowded_edges=edges.crowded_edges,
        flipped_edges=edges.flipped_edges,
        zero_area_faces=work.zero_area,
        welded=work.welded,
        turned_bodies=int(np.count_nonzero(turn)),
        overlapping_bodies=bodies_overlap(work.vertices, faces, nesting),
        open_edge_faces=np.flatnonzero(edges.face_flags & OPEN).astype(np.int32),
        twin_faces=work.twins,
        touching_edges=work.touching,
    )
    return Mesh(work.vertices, faces, edges.body), topology


def _merged(raw: RawMesh, scale: float) -> _Work:
    vertices, faces = merge_vertices(raw.triangles, raw.part)
    vertices *= scale
    faces, dropped = drop_collapsed(faces)
    return _rescanned(_Work(vertices, faces, _NO_EDGES, zero_area=dropped))


def _welded(work: _Work) -> _Work:
    """Join open seams; kept only when fewer edges stay open, and those where bodies then touch can be told apart."""
    reach = WELD_REACH * float(np.linalg.norm(work.vertices.max(axis=0) - work.vertices.min(axis=0)))
    joined = weld(work.vertices, work.faces, work.edges.seam(work.faces, len(work.vertices)), reach)
    if joined is None:
        return work
    faces, dropped = drop_collapsed(joined)
    tried = _rescanned(replace(work, faces=faces, zero_area=work.zero_area + dropped, welded=True))
    told_apart = _parted(tried).edges
    unsound = work.edges.open_edges + work.edges.crowded_edges
    return tried if told_apart.open_edges + told_apart.crowded_edges < unsound else work


def _without_twins(work: _Work) -> _Work:
    """Drop faces that lie on each other; kept only when whole copies went and no edge is worse off."""
    faces, dropped = drop_twins(work.faces)
    if not dropped:
        return work
    tried = _rescanned(replace(work, faces=faces, twins=dropped))
    sound = tried.edges.open_edges <= work.edges.open_edges and tried.edges.flipped_edges <= work.edges.flipped_edges
    return tried if sound else work


def _parted(work: _Work) -> _Work:
    """Give surfaces that merely touch their own vertices back."""
    if not work.edges.crowded_edges:
        return work
    vertices, faces = part_closed_runs(work.vertices, work.faces)
    parted = _rescanned(replace(work, vertices=vertices, faces=faces))
    if parted.edges.crowded_edges:
        vertices, faces = part_touching(parted.vertices, parted.faces)
        parted = _rescanned(replace(parted, vertices=vertices, faces=faces))
    return replace(parted, touching=work.edges.crowded_edges - parted.edges.crowded_edges)


def _rescanned(work: _Work) -> _Work:
    if not len(work.faces):
        raise rejected("flat")
    vertices, faces = compact(work.vertices, work.faces)
    return replace(work, vertices=vertices, faces=faces, edges=scan_edges(faces, len(vertices)))


def _closed_bodies(edges: EdgeScan) -> NDArray[np.bool_]:
    """Which bodies have neither an open nor a flipped edge, as a mask (bodies,)."""
    closed = np.ones(edges.bodies, bool)
    closed[edges.body[(edges.face_flags & (OPEN | FLIPPED)) > 0]] = False
    return closed


_NO_EDGES = EdgeScan(0, 0, 0, np.zeros(0, np.uint8), np.zeros(0, np.int32), 0)
