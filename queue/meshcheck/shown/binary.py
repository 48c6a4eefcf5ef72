"""Our own compact form of a shown mesh, little-endian, read by static/makerlab/viewer/mesh.js.

=======  =====  ==========================================================================
offset   type   what
=======  =====  ==========================================================================
0        4 B    ``MKM1``
4        u32    vertices V
8        u32    faces F
12       u32    lines E: edges where the skin turns sharply or ends
16       u32    faces of the part that was measured (more than F: simplified for showing)
20       u32    flag bits that occur (meshcheck.shown.flags)
24       3 f32  lowest corner in mm
36       3 f32  mm per step of a coordinate, per axis
48       u16    3 V coordinates in steps above the lowest corner; then 0 or 2 bytes up to a multiple of 4
...      u32    3 F corners, numbers of vertices, counterclockwise from outside
...      u32    2 E ends of lines, numbers of vertices
...      u8     F flags
=======  =====  ==========================================================================

A coordinate is exact to half a step: 0.0008 mm for a part of 100 mm. It is for looking at, never for measuring.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from meshcheck.shown.reasons import Flags
from meshcheck.types import FloatArray, IntArray

MAGIC = b"MKM1"
HEADER = struct.Struct("<4s5I3f3f")
STEPS = 65535


@dataclass(frozen=True, slots=True, eq=False)
class ShownMesh:
    """vertices (n, 3) in mm; faces (m, 3); lines (e, 2) vertices of sharp or open edges; flags (m,) uint8;
    ``faces_measured``: how many faces the part has that was measured."""

    vertices: FloatArray
    faces: IntArray
    lines: IntArray
    flags: Flags
    faces_measured: int


def packed(mesh: ShownMesh) -> bytes:
    """The mesh in the form above."""
    low = mesh.vertices.min(axis=0).astype(np.float32)
    high = mesh.vertices.max(axis=0)
    step = np.maximum((high - low) / STEPS, np.finfo(np.float32).tiny).astype(np.float32)
    steps = np.clip(np.rint((mesh.vertices - low) / step), 0, STEPS).astype("<u2").tobytes()
    bits = int(np.bitwise_or.reduce(mesh.flags)) if len(mesh.flags) else 0
    sizes = (len(mesh.vertices), len(mesh.faces), len(mesh.lines), mesh.faces_measured, bits)
    return b"".join(
        (
            HEADER.pack(MAGIC, *sizes, *map(float, low), *map(float, step)),
            steps + b"\0" * (-len(steps) % 4),
            mesh.faces.astype("<u4").tobytes(),
            mesh.lines.astype("<u4").tobytes(),
            mesh.flags.tobytes(),
        )
    )


def is_packed(data: bytes) -> bool:
    """Whether the bytes begin as the form does and are as long as their own header says."""
    if len(data) < HEADER.size:
        return False
    magic, vertices, faces, lines, *_rest = HEADER.unpack_from(data)
    coordinates = 6 * vertices + (-6 * vertices % 4)
    return bool(magic == MAGIC) and len(data) == HEADER.size + coordinates + 13 * faces + 8 * lines


def unpacked(data: bytes) -> ShownMesh:
    """The mesh as it was packed, coordinates to half a step. Raises ValueError for bytes that are not of this form."""
    if not is_packed(data):
        raise ValueError("not a shown mesh")
    _magic, vertices, faces, lines, measured, _bits, *box = HEADER.unpack_from(data)
    at = HEADER.size
    steps = np.frombuffer(data, "<u2", 3 * vertices, at).reshape(-1, 3)
    at += 6 * vertices + (-6 * vertices % 4)
    corners = np.frombuffer(data, "<u4", 3 * faces, at).reshape(-1, 3)
    ends = np.frombuffer(data, "<u4", 2 * lines, at + 12 * faces).reshape(-1, 2)
    flags = np.frombuffer(data, np.uint8, faces, at + 12 * faces + 8 * lines)
    places = np.array(box[:3]) + steps * np.array(box[3:])
    return ShownMesh(places, corners.astype(np.int32), ends.astype(np.int32), flags, measured)
