"""The gate: what kind of file the bytes are, and whether what was read can be a part at all.

Kinds are told by structure, never by name. Libraries quietly give an empty or half mesh for many bad files, so every
refusal happens here or in our readers, with words a student understands. ``REJECTIONS`` is the one table of them.
"""

from __future__ import annotations

import re
from typing import Literal

import numpy as np

from meshcheck.types import MM_PER_UNIT, FloatArray, MeshRejected, RawMesh, Unit
from telling import told

MAX_BYTES = 25 * 1024 * 1024
MAX_FACES = 500_000
MAX_BODIES = 2_000
MAX_REACH_MM = 10_000.0  # 10 m; no printer of any school comes near
MIN_SIZE_MM = 0.1  # even when the file is in metres
FLAT_SHARE = 1e-6  # thickness over diagonal; single-precision coordinates cannot say less

Kind = Literal["stl-binary", "stl-ascii", "obj", "3mf"]

_EXPORT = "Export the part again from your CAD program as STL and upload the new file."

# code: (what is wrong, what to do in any CAD program)
REJECTIONS: dict[str, tuple[str, str]] = {
    "empty": ("The file is empty: there is not one byte in it.", _EXPORT),
    "too_big": (
        "The file is {size_mb:.1f} MB; at most {limit_mb:.0f} MB can be checked.",
        "Export again with a coarser surface (fewer triangles), and as binary STL instead of text.",
    ),
    "unknown_format": (
        "This is not a 3D part: it reads neither as STL, nor as OBJ, nor as 3MF.",
        "In your CAD program choose export (not save) and pick STL, OBJ or 3MF.",
    ),
    "other_format": (
        "This is {kind}, not a mesh that can be printed.",
        "Open it in the program that made it, choose export, and pick STL, OBJ or 3MF.",
    ),
    "truncated": (
        "The file stops in the middle: {found}.",
        "The upload or the export was cut off. " + _EXPORT,
    ),
    "count_mismatch": (
        "The file contradicts itself: it announces {declared} triangles, but holds {found}.",
        _EXPORT,
    ),
    "no_faces": ("There is no part in the file: it holds no triangles.", "Select the part before you export it."),
    "too_many_faces": (
        "The part has {faces} triangles; at most {limit} can be checked.",
        "Export again with a coarser surface: 0.01 mm is finer than any printer.",
    ),
    "too_many_corners": (
        "The part has more than {limit} corners, far more than its triangles can need.",
        "Export again with shared corners or with a coarser surface: 0.01 mm is finer than any printer.",
    ),
    "too_many_bodies": (
        "The file falls apart into {bodies} separate pieces; at most {limit} can be checked.",
        "Join the part into one solid body in your CAD program, then export only that body.",
    ),
    "not_finite": (
        "Some corners have no place: their coordinates are not numbers.",
        "Something broke when the file was made. Rebuild or repair the part in your CAD program, then export again.",
    ),
    "too_far": (
        "Some corners lie {reach_m:.3g} m from the origin; the limit is 10 m.",
        "Check the unit of the drawing and move the part to the origin, then export again.",
    ),
    "too_small": (
        "The whole part is smaller than {size_mm:.2g} mm, in any unit it may have been drawn in.",
        "Check the unit and the scale of the export.",
    ),
    "flat": (
        "The part has no thickness: all of it lies in one plane.",
        "Give the sketch a height (extrude it), then export the solid.",
    ),
    "not_triangles": (
        "One face has {corners} corners (line {line}); STL allows only triangles.",
        "Choose triangles in the export options, or export as OBJ or 3MF.",
    ),
    "garbled": ("Line {line} cannot be understood: {found}.", _EXPORT),
    "bad_index": (
        "A face names corner {index}, but there are only {corners} corners.",
        _EXPORT,
    ),
    "bad_face": ("Line {line} makes a face of fewer than three corners.", _EXPORT),
    "archive_broken": ("The 3MF file is damaged: {found}.", "Save or export it again and upload the new file."),
    "archive_locked": ("The 3MF file is locked with a password.", "Save it without a password."),
    "archive_bomb": (
        "The 3MF file would unpack to far more than a part can need.",
        "Export only the one part as 3MF or STL.",
    ),
    "archive_unsafe": (
        "The 3MF file holds names that point outside of it.",
        "Export the part again; do not pack the file by hand.",
    ),
    "no_model": (
        "This zip file holds no 3MF model.",
        "Do not pack parts into a zip file: upload the STL, OBJ or 3MF itself, one file at a time.",
    ),
    "xml_unsafe": (
        "The 3MF file wants to pull in other text, which is not allowed.",
        "Export the part again; do not edit the file by hand.",
    ),
    "xml_broken": ("The model in the 3MF file cannot be read: {found}.", "Export the part again as 3MF or STL."),
    "bad_unit": (
        "The 3MF file gives its size in an unknown unit ({unit}).",
        "Set the drawing to millimetres and export again.",
    ),
    "bad_reference": (
        "The 3MF file uses part number {object_id}, which is not in the file.",
        "Export the part again, with everything it is made of.",
    ),
    "nested_too_deep": (
        "The 3MF file nests parts inside parts more than {limit} levels deep, or in a circle.",
        "Export the part as one body, not as an assembly.",
    ),
    "too_many_copies": (
        "The 3MF file asks for {copies} copies; at most {limit} can be checked.",
        "Export one part only. Copies are laid out here, by number.",
    ),
    "bad_transform": (
        "The 3MF file places a part with numbers that make no sense.",
        "Export the part again, at the origin and in its real size.",
    ),
    "needs_extension": (
        "The 3MF file uses a feature that is not a plain mesh ({name}).",
        "Turn the part into an ordinary mesh or solid, then export it as STL.",
    ),
}

_OTHER_KINDS: tuple[tuple[bytes, str], ...] = (
    (b"ISO-10303-21", "a STEP drawing"),
    (b"%PDF", "a PDF page"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"glTF", "a glTF scene"),
    (b"ply\n", "a PLY mesh"),
    (b"ply\r", "a PLY mesh"),
    (b"\x1f\x8b", "a packed file"),
    (b"7z\xbc\xaf", "a packed file"),
    (b"Rar!", "a packed file"),
    (b"MZ", "a program"),
    (b"\x7fELF", "a program"),
)


def rejected(code: str, **figures: object) -> MeshRejected:
    """The refusal with this code, its figures filled in."""
    message, mend = REJECTIONS[code]
    return MeshRejected(code, told(message, **figures), told(mend))


def check_size(data: bytes) -> None:
    """Refuse an empty file and one above ``MAX_BYTES``."""
    if not data:
        raise rejected("empty")
    if len(data) > MAX_BYTES:
        raise rejected("too_big", size_mb=len(data) / 2**20, limit_mb=MAX_BYTES / 2**20)


def as_text(data: bytes) -> bytes | None:
    """The file as UTF-8 or single-byte text without a byte order mark, or None when it is not text."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or data[:4:2] == b"\0\0" or data[1:4:2] == b"\0\0":
        order = "utf-16-be" if data.startswith(b"\xfe\xff") or data[:1] == b"\0" else "utf-16-le"
        try:
            data = data.decode(order).encode()
        except UnicodeDecodeError:
            return None
    data = data.removeprefix(b"\xef\xbb\xbf")
    return None if b"\0" in data[:2048] else data


def sniff(data: bytes) -> tuple[Kind, bytes]:
    """What the file is by its structure, and the bytes to read (decoded to plain text where it is text)."""
    if declared_binary_size(data) == len(data):
        return "stl-binary", data
    if data.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return "3mf", data
    for mark, kind in _OTHER_KINDS:
        if data.startswith(mark):
            raise rejected("other_format", kind=told(kind))
    text = as_text(data)
    if text is not None:
        return _sniff_text(text), text
    if len(data) < 84:
        raise rejected("truncated", found=told("{bytes} bytes are too few for even one triangle", bytes=len(data)))
    return "stl-binary", data


def declared_binary_size(data: bytes) -> int | None:
    """The size a binary STL with this head must have: 84 bytes and 50 for every triangle it announces."""
    return 84 + 50 * int.from_bytes(data[80:84], "little") if len(data) >= 84 else None


def _sniff_text(text: bytes) -> Kind:
    if text[:512].lstrip()[:5].lower() == b"solid":
        return "stl-ascii"
    if re.search(rb"(?:^|[\r\n])[ \t]*v[ \t]+[-+.\d]", text) or re.search(rb"(?:^|[\r\n])[ \t]*f[ \t]+-?\d", text):
        return "obj"
    if re.match(rb"\s*facet\s+normal\s", text[:512], re.IGNORECASE):
        return "stl-ascii"
    raise rejected("unknown_format")


def check_face_count(faces: int) -> None:
    """Refuse a part without triangles or with more than ``MAX_FACES``."""
    if faces == 0:
        raise rejected("no_faces")
    if faces > MAX_FACES:
        raise rejected("too_many_faces", faces=faces, limit=MAX_FACES)


def check_mesh(raw: RawMesh) -> RawMesh:
    """Refuse triangles that cannot be a part: miscounted, not numbers, too far away, too small or flat."""
    check_face_count(len(raw.triangles))
    if raw.declared_faces is not None and raw.declared_faces != len(raw.triangles):
        raise rejected("count_mismatch", declared=raw.declared_faces, found=len(raw.triangles))
    check_corners(raw.triangles.reshape(-1, 3), raw.unit)
    return raw


def check_corners(corners: FloatArray, unit: Unit | None) -> None:
    """Refuse corners (n, 3) that are not numbers, lie too far away, or make too small or flat a part."""
    lowest = np.array([corners[:, axis].min() for axis in range(3)])
    highest = np.array([corners[:, axis].max() for axis in range(3)])
    if not (np.isfinite(lowest).all() and np.isfinite(highest).all()):
        raise rejected("not_finite")
    reach_mm = float(max(np.abs(lowest).max(), np.abs(highest).max())) * MM_PER_UNIT[unit or Unit.MILLIMETRE]
    if reach_mm >= MAX_REACH_MM:
        raise rejected("too_far", reach_m=reach_mm / 1000)
    size_mm = float((highest - lowest).max()) * MM_PER_UNIT[unit or Unit.METRE]
    if 0 < size_mm < MIN_SIZE_MM:
        raise rejected("too_small", size_mm=MIN_SIZE_MM)
    diagonal = float(np.linalg.norm(highest - lowest))
    if float((highest - lowest).min()) <= FLAT_SHARE * diagonal or _lies_in_a_plane(corners, diagonal):
        raise rejected("flat")


def _lies_in_a_plane(corners: FloatArray, diagonal: float) -> bool:
    """Whether corners (n, 3), n >= 3, leave some plane by no more than ``FLAT_SHARE`` of the diagonal."""
    threes = corners[: len(corners) // 3 * 3].reshape(-1, 3, 3)
    some = threes[:: max(1, len(threes) // 128)]
    normals = np.cross(some[:, 1] - some[:, 0], some[:, 2] - some[:, 0])
    lengths = np.linalg.norm(normals, axis=1)
    if lengths.max() > 0:
        across = np.ptp(corners @ (normals[lengths.argmax()] / lengths.max()))
        if across > 1000 * FLAT_SHARE * diagonal:  # far from every plane near this face: a solid, as nearly always
            return False
    centred = corners - corners.mean(axis=0)
    _, directions = np.linalg.eigh(centred.T @ centred)
    return float(np.ptp(centred @ directions[:, 0])) <= FLAT_SHARE * diagonal
