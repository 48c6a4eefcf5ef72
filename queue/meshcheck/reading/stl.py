"""Reading STL, binary and text, from bytes."""

from __future__ import annotations

import numpy as np
from stl.base import BaseMesh

from meshcheck.reading import stl_text
from meshcheck.reading.gate import check_face_count, declared_binary_size, rejected
from meshcheck.types import FloatArray, Note, RawMesh
from telling import told

HEADER_BYTES, RECORD_BYTES = 84, 50


def read_binary(data: bytes) -> RawMesh:
    """Binary STL: an 80-byte header, a count, and numpy-stl's 50-byte records.

    Bytes after the last triangle are accepted with a note, unless they are whole triangles the count leaves out.
    Raises MeshRejected: truncated, count_mismatch, no_faces, too_many_faces, unknown_format.
    """
    declared = int.from_bytes(data[80:84], "little")
    size = declared_binary_size(data) or 0
    if size > len(data):
        held = (len(data) - HEADER_BYTES) // RECORD_BYTES
        raise rejected(
            "truncated", found=told("it announces {declared} triangles and holds {held}", declared=declared, held=held)
        )
    check_face_count(declared)
    notes: tuple[Note, ...] = ()
    if len(data) > size:
        notes = (_trailing_note(data, declared, size),)
    records = np.frombuffer(data, dtype=BaseMesh.dtype, count=declared, offset=HEADER_BYTES)
    with np.errstate(invalid="ignore"):  # signalling NaNs warn when widened; the gate refuses them in words
        triangles = records["vectors"].astype(np.float64)
    return RawMesh(triangles, "stl-binary", declared_faces=declared, notes=notes)


def _trailing_note(data: bytes, declared: int, size: int) -> Note:
    extra = len(data) - size
    if extra > size:
        raise rejected("unknown_format")
    if extra % RECORD_BYTES == 0:
        more = np.frombuffer(data, dtype=BaseMesh.dtype, offset=size)["vectors"]
        if np.isfinite(more).all() and more.any():
            raise rejected("count_mismatch", declared=declared, found=declared + len(more))
    return Note("trailing_bytes", told("{bytes} bytes after the last triangle were ignored.", bytes=extra))


def read_text(text: bytes) -> RawMesh:
    """Text STL, one or several solids, all of them read; decimal commas are understood.

    Raises MeshRejected: truncated, garbled, not_triangles, not_finite, no_faces, too_many_faces.
    """
    scan = stl_text.scan(np.frombuffer(text, np.uint8))
    line = text.count(b"\n", 0, scan.position) + 1
    if line == 1:
        line = text.count(b"\r", 0, scan.position) + 1
    if scan.status == stl_text.TRUNCATED:
        raise rejected(
            "truncated", found=told("after {faces} triangles the closing word endsolid never comes", faces=scan.faces)
        )
    if scan.status == stl_text.NOT_THREE:
        raise rejected("not_triangles", corners=scan.corners_seen, line=line)
    if scan.status == stl_text.NOT_FINITE:
        raise rejected("not_finite")
    if scan.status == stl_text.GARBLED:
        raise rejected("garbled", line=line, found=_word_at(text, scan.position))
    check_face_count(scan.faces)
    notes = (Note("decimal_commas", told("Numbers were written with decimal commas.")),) if scan.commas else ()
    triangles: FloatArray = scan.triangles
    return RawMesh(triangles, "stl-ascii", declared_faces=scan.faces, objects=scan.solids, notes=notes)


def _word_at(text: bytes, position: int) -> str:
    word = text[position : position + 24].split(maxsplit=1)[:1]
    shown = word[0].decode("ascii", "replace") if word else ""
    return f"“{shown}” does not belong there" if shown.isprintable() and shown else "it is not plain text"
