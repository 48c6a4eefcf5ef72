"""Reading OBJ text from bytes alone: no material or other file it names is opened."""

from __future__ import annotations

import manifold3d
import numpy as np
from numba import njit
from numpy.typing import NDArray

from meshcheck.reading.gate import check_corners, check_face_count, rejected
from meshcheck.reading.numbers import NOT_A_NUMBER, NUMBER, read_number
from meshcheck.types import FloatArray, Note, RawMesh
from telling import told

_COMPLETE, _GARBLED, _NOT_FINITE, _BAD_INDEX, _BAD_FACE = range(5)
_HUGE_INDEX = 1 << 40  # stands for any index with more digits than a file can have corners

_NEWLINE, _RETURN, _BACKSLASH, _SLASH = 10, 13, 92, 47
_V, _F, _O = ord("v"), ord("f"), ord("o")

IndexArray = NDArray[np.int64]


def read_obj(text: bytes) -> RawMesh:
    """Corners and faces of an OBJ; polygons become triangles, negative indices count back from the latest corner.

    Raises MeshRejected: garbled, bad_face, bad_index, not_finite, no_faces, too_many_faces.
    """
    content = np.frombuffer(text, np.uint8)
    vertex_lines, face_words, faces_declared, objects = (int(n) for n in _count(content))
    check_face_count(max(faces_declared, 0))
    vertices = np.empty((vertex_lines, 3))
    corners = np.empty(face_words, np.int64)
    sizes = np.empty(face_words, np.int32)
    status, position, polygons, used, index = _scan(content, vertices, corners, sizes)
    if status != _COMPLETE:
        raise _refusal(int(status), text, int(position), int(index), vertex_lines)
    corners, sizes = corners[: int(used)], sizes[: int(polygons)]
    if corners.max() >= vertex_lines:
        raise rejected("bad_index", index=int(corners.max()) + 1, corners=vertex_lines)
    if sizes.max() > 3:
        check_corners(vertices[corners], None)  # before the costly cutting of polygons
    triangles, hollow = _triangulate(vertices, corners, sizes)
    notes = (
        (Note("hollow_polygons", told("{faces} faces with dents were cut into triangles.", faces=hollow)),)
        if hollow
        else ()
    )
    return RawMesh(
        np.ascontiguousarray(vertices[triangles]), "obj", faces_declared, objects=max(1, objects), notes=notes
    )


def _refusal(status: int, text: bytes, position: int, index: int, corners: int) -> Exception:
    line = text.count(b"\n", 0, position) + 1
    if line == 1:
        line = text.count(b"\r", 0, position) + 1
    if status == _BAD_INDEX:
        return rejected("bad_index", index="(far too large)" if abs(index) >= _HUGE_INDEX else index, corners=corners)
    if status == _BAD_FACE:
        return rejected("bad_face", line=line)
    if status == _NOT_FINITE:
        return rejected("not_finite")
    return rejected("garbled", line=line, found=told("a number is missing or broken"))


def _triangulate(vertices: FloatArray, corners: IndexArray, sizes: NDArray[np.int32]) -> tuple[IndexArray, int]:
    """Fans of all polygons; those with a dent, where a fan would fold over itself, by manifold3d's ear clipping.

    Returns corner numbers (n, 3) and how many polygons were dented.
    """
    starts = np.concatenate([[0], np.cumsum(sizes)])[:-1]
    counts = sizes - 2
    polygon = np.repeat(np.arange(len(sizes)), counts)
    first = np.concatenate([[0], np.cumsum(counts)])[:-1]
    step = np.arange(len(polygon)) - first[polygon]
    start = starts[polygon]
    triangles = np.stack([corners[start], corners[start + step + 1], corners[start + step + 2]], axis=1)
    if sizes.max() == 3:
        return triangles, 0
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    summed = np.stack([np.bincount(polygon, normals[:, k], len(sizes)) for k in range(3)], axis=1)
    backward = np.einsum("ij,ij->i", normals, summed[polygon]) < 0
    dented = np.unique(polygon[backward])
    cut = 0
    for k in dented.tolist():
        ring = corners[starts[k] : starts[k] + sizes[k]]
        ears = _ear_clip(vertices[ring], summed[k])
        if ears is not None:
            triangles[first[k] : first[k] + counts[k]] = ring[ears]
            cut += 1
    return triangles, cut


def _ear_clip(ring: FloatArray, normal: FloatArray) -> NDArray[np.int32] | None:
    """Triangles of one polygon (k, 3) seen along its normal; None when it has no inside to speak of."""
    axis = int(np.argmax(np.abs(normal)))
    seen = ring[:, [(axis + 1) % 3, (axis + 2) % 3]]
    if normal[axis] < 0:
        seen = seen[:, ::-1]
    ears = np.asarray(manifold3d.triangulate([np.ascontiguousarray(seen)]), np.int32).reshape(-1, 3)
    return ears if len(ears) == len(ring) - 2 else None


@njit(cache=True, nogil=True)
def _word(text, i):  # type: ignore[no-untyped-def]
    """The next word of this line as (start, end), equal at its end. A backslash before a line end joins two lines."""
    while i < text.size:
        c = text[i]
        if c == _BACKSLASH and i + 1 < text.size and (text[i + 1] == _NEWLINE or text[i + 1] == _RETURN):
            i += 3 if text[i + 1] == _RETURN and i + 2 < text.size and text[i + 2] == _NEWLINE else 2
        elif c in (_NEWLINE, _RETURN) or c > 32:
            break
        else:
            i += 1
    end = i
    while end < text.size and text[end] > 32 and text[end] != _BACKSLASH:
        end += 1
    if end == i and i < text.size and text[i] == _BACKSLASH:
        end += 1
    return i, end


@njit(cache=True, nogil=True)
def _next_line(text, i):  # type: ignore[no-untyped-def]
    while i < text.size and text[i] != _NEWLINE and text[i] != _RETURN:
        i += 1
    return i + 1


@njit(cache=True, nogil=True)
def _count(text):  # type: ignore[no-untyped-def]
    """How much room is needed: corner lines, words on face lines, triangles after cutting, objects."""
    vertices, words, faces, objects = 0, 0, 0, 0
    i = 0
    while i < text.size:
        start, end = _word(text, i)
        if end - start == 1:
            c = text[start]
            vertices += c == _V
            objects += c == _O
            if c == _F:
                corners = 0
                start, end = _word(text, end)
                while end > start:
                    corners += 1
                    start, end = _word(text, end)
                words += corners
                faces += max(corners - 2, 0)
        i = _next_line(text, end)
    return vertices, words, faces, objects


@njit(cache=True, nogil=True)
def _scan(text, vertices, corners, sizes):  # type: ignore[no-untyped-def]
    """Fill the arrays: (status, position, polygons, corners used, offending index)."""
    seen, polygons, used = 0, 0, 0
    i = 0
    while i < text.size:
        start, end = _word(text, i)
        if end - start == 1 and text[start] == _V:
            for axis in range(3):
                start, end = _word(text, end)
                if end == start:
                    return _GARBLED, start, polygons, used, 0
                value, status, _ = read_number(text, start, end)
                if status != NUMBER:
                    return (_NOT_FINITE if status == NOT_A_NUMBER else _GARBLED), start, polygons, used, 0
                vertices[seen, axis] = value
            seen += 1
        elif end - start == 1 and text[start] == _F:
            first = used
            start, end = _word(text, end)
            while end > start:
                index = _index(text, start, end)
                if index == 0 or seen + index < 0 or index >= _HUGE_INDEX:
                    return (_GARBLED if index == 0 else _BAD_INDEX), start, polygons, used, index
                corners[used] = index - 1 if index > 0 else seen + index
                used += 1
                start, end = _word(text, end)
            if used - first < 3:
                return _BAD_FACE, start, polygons, used, 0
            sizes[polygons] = used - first
            polygons += 1
        i = _next_line(text, end)
    return _COMPLETE, i, polygons, used, 0


@njit(cache=True, nogil=True)
def _index(text, i, end):  # type: ignore[no-untyped-def]
    """The corner index before the first slash; 0 (never valid in OBJ) when it is no whole number."""
    negative = text[i] == 45
    if negative:
        i += 1
    value, digits = 0, 0
    while i < end and 48 <= text[i] <= 57:
        value = min(value * 10 + (int(text[i]) - 48), _HUGE_INDEX)
        digits += 1
        i += 1
    if digits == 0 or (i < end and text[i] != _SLASH):
        return 0
    return -value if negative else value
