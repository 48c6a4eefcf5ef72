"""All that is needed to show a checked part: the packed mesh, a picture and a small one, and what they hold."""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from typing import Any

from meshcheck.shown.binary import packed
from meshcheck.shown.flags import face_flags
from meshcheck.shown.png import PNG_BYTES_MOST, png_bytes
from meshcheck.shown.reasons import STEEP, counts
from meshcheck.shown.render import ABOVE, BELOW, Pixels, few_colours, rendered, smaller
from meshcheck.shown.simpler import for_showing
from meshcheck.types import Report

WIDTH, HEIGHT, SMALLER = 480, 400, 4
COLOURS_LEAST = 8


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """mesh: meshcheck.shown.binary, gzipped; picture and small: PNG. ``facts``: faces and faces_measured, flags
    (faces per reason), bytes of the mesh as sent, from_below."""

    mesh: bytes
    picture: bytes
    small: bytes
    facts: dict[str, Any]


def shown(report: Report) -> Shown | None:
    """None when the file was rejected or nothing is left to show."""
    mesh = report.mesh
    if mesh is None or len(mesh.faces) == 0:
        return None
    flags = face_flags(mesh, report)
    simple = for_showing(mesh, flags)
    hole = report.holes[0] if isinstance(report.holes, tuple) and report.holes else None
    view = BELOW if (flags & STEEP).any() else ABOVE  # a steep underside is seen from below only
    pixels = rendered(simple.vertices, simple.faces, simple.flags, hole, view, WIDTH, HEIGHT)
    data = gzip.compress(packed(simple), compresslevel=6, mtime=0)
    facts = {
        "faces": len(simple.faces),
        "faces_measured": simple.faces_measured,
        "flags": counts(flags),
        "bytes": len(data),
        "from_below": view is BELOW,
    }
    return Shown(data, bounded_png(pixels), bounded_png(smaller(pixels, SMALLER), colours=64), facts)


def bounded_png(pixels: Pixels, bytes_most: int = PNG_BYTES_MOST, colours: int = 256) -> bytes:
    """The picture as PNG; with fewer colours, and then smaller, until it is small enough."""
    while True:
        data = png_bytes(*few_colours(pixels, colours))
        if len(data) <= bytes_most:
            return data
        if colours > COLOURS_LEAST:
            colours //= 4
        else:
            pixels, colours = smaller(pixels, 2), 64
