"""A picture of a part as pixels: nearest face per pixel, shade by its direction, patterns over what is pointed out,
lines where the skin turns or one part of it stands before another, and the measured hole.

Everything is drawn at twice the size and averaged. The ground is clear, so that the picture lies on a light and on a
dark page. The same part gives the same bytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meshcheck.edges import face_normals
from meshcheck.picture import LIGHT
from meshcheck.projection import nearest_faces, turned
from meshcheck.shown.reasons import CROSSING, OPEN, RESTING, STEEP, THIN, Flags
from meshcheck.types import FloatArray, Hole, IntArray

Pixels = NDArray[np.uint8]
FINE = 2  # pixels drawn for one shown, each way
MARGIN = 16
SHADES = 12
DARKEST, LIGHTEST = np.array([126.0, 140.0, 153.0]), np.array([240.0, 243.0, 241.0])
INK, PENCIL, PEN, PAPER, CARE = (22, 32, 51), (171, 42, 34), (41, 64, 166), (255, 255, 252), (125, 82, 0)
TURN_SEEN = 0.8  # cosine between neighbours below which a line is drawn
STEP_SEEN = 0.012  # of the part's depth, between neighbours beyond what their slope explains


@dataclass(frozen=True, slots=True)
class View:
    """Where the eye stands: negative elevation is from below."""

    elevation_deg: float
    azimuth_deg: float


ABOVE, BELOW = View(32.0, -60.0), View(-38.0, -60.0)


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """Millimetres to fine pixels: ``turned`` points times scale plus shift."""

    view: View
    scale: float
    shift: FloatArray

    def place(self, points: FloatArray) -> FloatArray:
        """(n, 3) mm to pixels: x right, y down, z to the eye."""
        placed: FloatArray = turned(points, self.view.elevation_deg, self.view.azimuth_deg) * self.scale + self.shift
        return placed


def framed(vertices: FloatArray, view: View, width: int, height: int) -> Frame:
    """The frame that fills a width x height picture but for a margin."""
    seen = turned(vertices, view.elevation_deg, view.azimuth_deg)
    low, high = seen.min(axis=0), seen.max(axis=0)
    room = np.array([width - 2 * MARGIN, height - 2 * MARGIN]) * FINE
    scale = float((room / np.maximum((high - low)[:2], 1e-9)).min())
    middle = np.array([width * FINE / 2, height * FINE / 2, 0.0])
    return Frame(view, scale, middle - (low + high) / 2 * scale)


def rendered(
    vertices: FloatArray, faces: IntArray, flags: Flags, hole: Hole | None, view: View, width: int, height: int
) -> Pixels:
    """(height, width, 4) RGBA. vertices (n, 3) mm, faces (m, 3), flags (m,)."""
    frame = framed(vertices, view, width, height)
    points = frame.place(vertices)
    nearest = nearest_faces(points, np.ascontiguousarray(faces, np.int32), width * FINE, height * FINE)
    hit = nearest >= 0
    colours = np.zeros((*nearest.shape, 4), np.uint8)
    y, x = (part.astype(np.int32) for part in np.nonzero(hit))
    face = nearest[y, x]
    seen = np.zeros(len(faces), np.bool_)
    seen[face] = True
    shown = np.flatnonzero(seen)
    row_of = np.cumsum(seen) - 1
    normals, _ = face_normals(points[faces[shown]])
    normals *= np.where(normals[:, 2:] < 0, -1.0, 1.0)  # towards the eye, also where the skin is open
    colours[y, x, :3] = _shades(normals)[row_of[face]]
    colours[y, x, 3] = 255
    _patterns(colours, x, y, flags[face])
    deep = STEP_SEEN * float(np.ptp(points[:, 2])) + FINE
    colours[_lines(nearest, row_of, normals, points[faces[shown, 0]], deep)] = (*INK, 255)
    if hole is not None:
        _draw_hole(colours, hole, frame)
    return _averaged(colours)


def _shades(normals: FloatArray) -> Pixels:
    """Colour of faces by direction, in a few steps so that the picture stays small."""
    # the light is given with y down; pixels have y down too
    light = np.clip((normals @ LIGHT + 0.35) / 1.25, 0.0, 1.0)
    step = np.round(light * (SHADES - 1))[:, None] / (SHADES - 1)
    shades: Pixels = np.rint(DARKEST + (LIGHTEST - DARKEST) * step).astype(np.uint8)
    return shades


def _patterns(colours: Pixels, x: IntArray, y: IntArray, flags: Flags) -> None:
    """Dots where it rests, stripes where it is steep, crosses where it is thin, stripes the other way beside a gap,
    squares where the skin crosses itself; the most serious last."""
    drawn = (
        (RESTING, (x % 12 < 3) & ((y + 6 * (x // 12 % 2)) % 12 < 3), INK),
        (STEEP, (x + y) % 12 < 4, PENCIL),
        (THIN, (x % 10 < 2) | (y % 10 < 2), PENCIL),
        (OPEN, (x - y) % 14 < 4, INK),
        (CROSSING, (x // 7 + y // 7) % 2 == 0, CARE),
    )
    for bit, pattern, colour in drawn:
        on = pattern & ((flags & bit) > 0)
        colours[y[on], x[on], :3] = colour


def _lines(
    nearest: IntArray, row_of: IntArray, normals: FloatArray, anchors: FloatArray, deep: float
) -> NDArray[np.bool_]:
    """Pixels on an outline, where the skin turns sharply, or where one part of it stands ``deep`` before another.
    ``row_of`` numbers the seen faces, whose normals and first corners these are."""
    line = np.zeros(nearest.shape, np.bool_)
    for axis in (0, 1):
        here = nearest[:-1] if axis == 0 else nearest[:, :-1]
        there = nearest[1:] if axis == 0 else nearest[:, 1:]
        y, x = np.nonzero(here != there)
        a, b = here[y, x], there[y, x]
        both = (a >= 0) & (b >= 0)
        drawn = ~both
        i, j = row_of[a[both]], row_of[b[both]]
        turn = np.einsum("ij,ij->i", normals[i], normals[j]) < TURN_SEEN
        at = np.stack([x[both], y[both]], axis=1).astype(np.float64)
        step = np.abs(_depth(at, normals[i], anchors[i]) - _depth(at, normals[j], anchors[j])) > deep
        drawn[both] = turn | step
        for kept, dx, dy in ((drawn & (a >= 0), 0, 0), (drawn & (b >= 0), axis == 1, axis == 0)):
            line[y[kept] + dy, x[kept] + dx] = True  # never outside the part
    return line


def _depth(at: FloatArray, normals: FloatArray, anchors: FloatArray) -> FloatArray:
    """How near the plane of a face lies to the eye at pixels ``at``."""
    slope = np.maximum(normals[:, 2], 0.05)
    across = at - anchors[:, :2]
    depth: FloatArray = anchors[:, 2] - np.einsum("ij,ij->i", across, normals[:, :2]) / slope
    return depth


def rim_and_axis(hole: Hole, towards: float) -> tuple[FloatArray, FloatArray]:
    """The circle at the end of the hole that looks to the eye (``towards``: sign of its z), and the ends of its axis
    drawn out, in mm."""
    axis, centre = np.array(hole.axis), np.array(hole.centre_mm)
    axis = axis if axis[2] * towards >= 0 else -axis
    across = np.cross(axis, [1.0, 0.0, 0.0] if abs(axis[0]) < 0.9 else [0.0, 1.0, 0.0])
    across /= np.linalg.norm(across)
    angles = np.linspace(0, 2 * np.pi, 97)[:, None]
    ring = np.cos(angles) * across + np.sin(angles) * np.cross(axis, across)
    reach = axis * (hole.depth_mm / 2 + max(hole.diameter_mm, hole.depth_mm / 2))
    mouth = centre + axis * hole.depth_mm / 2
    return mouth + ring * hole.diameter_mm / 2, np.stack([centre - reach, centre + reach])


def _draw_hole(colours: Pixels, hole: Hole, frame: Frame) -> None:
    rim, axis = rim_and_axis(hole, frame.view.elevation_deg)
    strokes = (_along(frame.place(axis)), _along(frame.place(rim)))
    for radius, colour in ((3, PAPER), (1, PEN)):
        for stroke in strokes:
            _stamp(colours, stroke, radius, colour)


def _along(ends: FloatArray) -> IntArray:
    """Pixels along a line through the points."""
    pieces = []
    for (ax, ay, _), (bx, by, _) in pairwise(ends):
        count = int(max(abs(bx - ax), abs(by - ay))) + 2
        pieces.append(np.stack([np.linspace(ax, bx, count), np.linspace(ay, by, count)], axis=1))
    pixels: IntArray = np.rint(np.concatenate(pieces)).astype(np.int32)
    return pixels


def _stamp(colours: Pixels, at: IntArray, radius: int, colour: tuple[int, int, int]) -> None:
    height, width = colours.shape[:2]
    for dx in range(-radius, radius + 1):
        for dy in range(-radius, radius + 1):
            if dx * dx + dy * dy <= radius * radius + 1:
                x, y = at[:, 0] + dx, at[:, 1] + dy
                inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
                colours[y[inside], x[inside]] = (*colour, 255)


def _averaged(colours: Pixels) -> Pixels:
    """Each shown pixel the mean of its fine ones, weighed by how opaque they are. Fine ones are opaque or clear, and
    clear ones are black."""
    total = np.zeros((colours.shape[0] // FINE, colours.shape[1] // FINE, 4), np.uint16)
    for row in range(FINE):
        for column in range(FINE):
            total += colours[row::FINE, column::FINE]
    opaque = np.maximum(total[..., 3:] // 255, 1)
    mean = total // opaque
    mean[..., 3] = total[..., 3] // (FINE * FINE)
    averaged: Pixels = mean.astype(np.uint8)
    return averaged


def smaller(pixels: Pixels, by: int) -> Pixels:
    """The picture ``by`` times smaller each way."""
    height, width = pixels.shape[0] // by, pixels.shape[1] // by
    blocks = pixels[: height * by, : width * by].reshape(height, by, width, by, 4).astype(np.uint32)
    weight = blocks[..., 3:].sum(axis=(1, 3))
    small = np.zeros((height, width, 4), np.uint8)
    small[..., :3] = (blocks[..., :3] * blocks[..., 3:]).sum(axis=(1, 3)) // np.maximum(weight, 1)
    small[..., 3] = weight[..., 0] // (by * by)
    return small


def few_colours(pixels: Pixels, most: int = 256) -> tuple[Pixels, Pixels]:
    """numbers (height, width) and their colours (n <= most, 4): the commonest of the colours rounded to five bits, and
    for each of the others the nearest of them."""
    fives = (pixels.astype(np.uint32) * 31 + 127) // 255
    fives[pixels[..., 3] == 0] = 0
    key = fives[..., 0] << 15 | fives[..., 1] << 10 | fives[..., 2] << 5 | fives[..., 3]
    counts = np.bincount(key.ravel(), minlength=1 << 20)
    values = np.flatnonzero(counts)
    colours = (((values[:, None] >> np.array([15, 10, 5, 0])) & 31) * 255 + 15) // 31
    kept = np.sort(np.argsort(-counts[values], kind="stable")[:most])
    difference = ((colours[:, None, :] - colours[None, kept, :]) ** 2).sum(axis=2)
    number_of = np.zeros(1 << 20, np.uint8)
    number_of[values] = np.argmin(difference, axis=1)
    return number_of[key], colours[kept].astype(np.uint8)
