"""The part drawn from below as SVG: shaded facets, steep undersides hatched, resting facets dotted, the hole measured.

Only class names and position attributes are written, so the page needs no inline style. Colours come from the page.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from meshcheck.edges import face_normals
from meshcheck.projection import Seen, look, turned
from meshcheck.types import FloatArray, Hole, Mesh, Report, known

WIDTH, HEIGHT = 420, 348
MARGIN_SIDE, MARGIN_TOP, MARGIN_BOTTOM = 30.0, 34.0, 58.0
ELEVATION_DEG, AZIMUTH_DEG = -58.0, -90.0
FACES_MOST = 9000
LIGHT = np.array([-0.62, -0.30, 0.72])  # from the eye's upper left, so that upright walls differ by their direction
BED_GAP_MM = 1e-3
STEEP, RESTING, THIN, OPEN, CROSSING = 6, 7, 8, 9, 10  # facet classes beyond the five shades
# the shade under each of them and the pattern over it
POINTED_OUT = {
    STEEP: ("f4", "steep"), RESTING: ("f5", "rest"), THIN: ("f4", "thin"), OPEN: ("f3", "open"),
    CROSSING: ("f3", "crossing"),
}  # fmt: skip


def draw(report: Report, name: str = "part") -> str:
    """SVG of the report's mesh, or an empty string when the file was rejected. ``name`` makes its ids unique."""
    mesh = report.mesh
    if mesh is None or report.topology is None or len(mesh.faces) == 0:
        return ""
    points, scale = _fitted(turned(mesh.vertices, ELEVATION_DEG, AZIMUTH_DEG))
    closed = report.topology.watertight and report.topology.winding_consistent
    seen = look(points, mesh.faces, both_sides=not closed, width=WIDTH, height=HEIGHT, faces_most=FACES_MOST)
    classes = _classes(mesh, report)
    hole = report.holes[0] if isinstance(report.holes, tuple) and report.holes else None
    parts = [
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{name}-title">',
        f'<title id="{name}-title">{_title(report, classes, hole)}</title>',
        _patterns(name),
        *_facets(seen, classes[seen.source], name),
        *(_hole_marks(hole, mesh, scale, points) if hole else ()),
        *_width_line(mesh, points),
        "</svg>",
    ]
    return "".join(parts)


def _fitted(seen: FloatArray) -> tuple[FloatArray, float]:
    """The turned points scaled and moved to fill the picture, and pixels per mm."""
    low, high = seen.min(axis=0), seen.max(axis=0)
    room = np.array([WIDTH - 2 * MARGIN_SIDE, HEIGHT - MARGIN_TOP - MARGIN_BOTTOM])
    scale = float((room / np.maximum(high - low, 1e-9)[:2]).min())
    middle = np.array([WIDTH / 2, MARGIN_TOP + room[1] / 2, 0.0])
    fitted: FloatArray = (seen - (low + high) / 2) * scale + middle
    return fitted, scale


def _classes(mesh: Mesh, report: Report) -> NDArray[np.int8]:
    """Per face: 1 to 5 by how much light falls on it, or what is to be pointed out; the most serious last."""
    normals, _ = face_normals(mesh.corners)
    light = turned(normals, ELEVATION_DEG, AZIMUTH_DEG) @ LIGHT
    classes: NDArray[np.int8] = np.clip(np.round(1 + 4 * (light + 0.35) / 1.25), 1, 5).astype(np.int8)
    floor = mesh.vertices[:, 2].min()
    resting = (mesh.corners[:, :, 2].max(axis=1) < floor + BED_GAP_MM) & (normals[:, 2] < 0)
    classes[resting] = RESTING
    if report.support is not None:
        classes[report.support.overhang_faces] = STEEP
    if report.walls is not None and is_thin(report):
        classes[report.walls.faces] = THIN
    if report.topology is not None:
        classes[report.topology.open_edge_faces] = OPEN
    if report.crossings is not None:
        classes[report.crossings.faces] = CROSSING
    return classes


def is_thin(report: Report) -> bool:
    """Whether the thinnest wall is below what two lines of plastic need."""
    thinnest = known(report.walls.thinnest_mm) if report.walls is not None else None
    return thinnest is not None and report.walls is not None and thinnest < report.walls.limit_mm


def _patterns(name: str) -> str:
    return (
        f'<defs><pattern id="{name}-steep" width="6" height="6" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path class="steep" d="M0 0V6"/></pattern>'
        f'<pattern id="{name}-rest" width="7" height="7" patternUnits="userSpaceOnUse">'
        f'<circle class="rest" cx="1.6" cy="1.6" r="0.8"/><circle class="rest" cx="4.6" cy="4.6" r="0.8"/>'
        f'</pattern><pattern id="{name}-thin" width="5" height="5" patternUnits="userSpaceOnUse">'
        f'<path class="thin-wall" d="M0 2.5H5M2.5 0V5"/></pattern>'
        f'<pattern id="{name}-open" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">'
        f'<path class="open-edge" d="M0 0V8"/></pattern>'
        f'<pattern id="{name}-crossing" width="14" height="14" patternUnits="userSpaceOnUse">'
        f'<path class="in-care" d="M0 0h7v7h-7zM7 7h7v7h-7z"/></pattern></defs>'
    )


def _facets(seen: Seen, classes: NDArray[np.int8], name: str) -> Iterable[str]:
    """Paths in painting order; neighbours in the order that share a class share a path."""
    flat = np.round(seen.points[:, :2], 1)
    run: list[str] = []
    last = 0
    for face in seen.order:
        kind = int(classes[face])
        if kind != last and run:
            yield from _path(run, last, name)
            run = []
        last = kind
        (ax, ay), (bx, by), (cx, cy) = flat[seen.faces[face]]
        run.append(f"M{ax:g} {ay:g}L{bx:g} {by:g}L{cx:g} {cy:g}z")
    if run:
        yield from _path(run, last, name)


def _path(run: list[str], kind: int, name: str) -> Iterable[str]:
    line = "".join(run)
    if kind in POINTED_OUT:
        shade, pattern = POINTED_OUT[kind]
        yield f'<path class="{shade}" d="{line}"/><path fill="url(#{name}-{pattern})" d="{line}"/>'
    else:
        yield f'<path class="f{kind}" d="{line}"/>'


def _place(point: FloatArray, mesh: Mesh, scale: float, points: FloatArray) -> FloatArray:
    """Where a point of the part lands on the picture."""
    anchor = turned(mesh.vertices[:1], ELEVATION_DEG, AZIMUTH_DEG)[0]
    moved: FloatArray = (turned(point[None, :], ELEVATION_DEG, AZIMUTH_DEG)[0] - anchor) * scale + points[0]
    return moved


def _hole_marks(hole: Hole, mesh: Mesh, scale: float, points: FloatArray) -> Iterable[str]:
    axis, centre = np.array(hole.axis), np.array(hole.centre_mm)
    axis = axis if axis[2] < 0 else -axis  # towards the eye, which is below
    mouth = centre + axis * hole.depth_mm / 2
    reach = axis * (hole.depth_mm / 2 + 12 / scale)
    near, far = (_place(p, mesh, scale, points) for p in (centre + reach, centre - reach))
    yield f'<path class="centre" d="M{near[0]:.1f} {near[1]:.1f}L{far[0]:.1f} {far[1]:.1f}"/>'
    across = np.cross(axis, [1.0, 0.0, 0.0] if abs(axis[0]) < 0.9 else [0.0, 1.0, 0.0])
    across /= np.linalg.norm(across)
    other = np.cross(axis, across)
    turns = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ring = [mouth + hole.diameter_mm / 2 * (np.cos(t) * across + np.sin(t) * other) for t in turns]
    rim = np.array([_place(p, mesh, scale, points)[:2] for p in ring])
    yield '<path class="dimline" d="M' + "L".join(f"{x:.1f} {y:.1f}" for x, y in rim) + 'z"/>'
    start = rim[np.argmax(rim[:, 0] - rim[:, 1])]
    yield f'<path class="dimline" d="M{start[0]:.1f} {start[1]:.1f}L296 24H{WIDTH - 4}"/>'
    yield f'<text class="dimtext halo" x="{WIDTH - 4}" y="17" text-anchor="end">hole ⌀ {hole.diameter_mm:.2f} mm</text>'


def _width_line(mesh: Mesh, points: FloatArray) -> Iterable[str]:
    """The width as seen: along the picture's x axis, which is the part's x."""
    left, right = points[np.argmin(points[:, 0])], points[np.argmax(points[:, 0])]
    y = HEIGHT - 24.0
    width_mm = float(np.ptp(mesh.vertices[:, 0]))
    yield f'<path class="dimline" d="M{left[0]:.1f} {left[1]:.1f}V{y + 6}M{right[0]:.1f} {right[1]:.1f}V{y + 6}'
    yield f'M{left[0]:.1f} {y}H{right[0]:.1f}"/>'
    yield f'<path class="arrow" d="M{left[0]:.1f} {y}l9 -3v6zM{right[0]:.1f} {y}l-9 -3v6z"/>'
    yield f'<text class="dimtext halo" x="{(left[0] + right[0]) / 2:.1f}" y="{y + 4.5}" text-anchor="middle">'
    yield f"{width_mm:.1f} mm</text>"


def _title(report: Report, classes: NDArray[np.int8], hole: Hole | None) -> str:
    """The picture in words."""
    words = ["The part seen from below."]
    if (classes == STEEP).any() and report.support is not None:
        words.append(f"Steep undersides are hatched: {report.support.overhang_area_mm2 / 100:.1f} square centimetres.")
    if (classes == THIN).any():
        words.append("Walls that are too thin are cross-hatched.")
    if (classes == OPEN).any():
        words.append("Faces beside a gap in the skin are hatched the other way.")
    if (classes == CROSSING).any():
        words.append("Faces that pass through each other are chequered.")
    if (classes == RESTING).any():
        words.append("Faces that rest on the bed are dotted.")
    if hole is not None:
        words.append(f"The hole measures {hole.diameter_mm:.2f} mm.")
    if report.basics is not None and known(report.basics.volume_mm3) is None:
        words.append("Its skin is not closed.")
    return " ".join(words)
