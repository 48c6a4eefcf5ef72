"""Reading 3MF: a zip package opened with caps, and its assembly of objects expanded by our own code with caps.

"3D Manufacturing Format, Core Specification" 1.3 and "Production Extension" 1.1 (3MF Consortium). Nothing is ever
written to disk, and a size in the package's own directory is a hint; what is really read is counted.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from meshcheck.reading.gate import MAX_FACES, check_face_count, rejected
from meshcheck.reading.threemf_xml import MAX_COPIES, Model, ModelObject, Use, parse_model, parse_relationships
from meshcheck.types import MM_PER_UNIT, FloatArray, Note, RawMesh
from telling import told

MAX_MEMBERS = 1_000
MAX_UNPACKED_BYTES = 200 * 1024 * 1024
MAX_RATIO = 100
MAX_DEPTH = 32
_RATIO_FREE_BYTES = 1024 * 1024  # a small file of blanks may pack better than 1 : 100 and harms nobody
_DIRECTORY_BYTES_MAX = 1024 * MAX_MEMBERS
_CHUNK_BYTES = 1 << 16
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, struct.error, OSError, ValueError)


def read_3mf(data: bytes) -> RawMesh:
    """Everything the build of a 3MF package asks for, in the unit it declares.

    Triangles of one object used twice are two objects (``part`` tells them apart). Objects that are not parts (support,
    other) are left out with a note. Raises MeshRejected with one of the archive, XML and assembly codes of the gate.
    """
    package = _Package(data)
    root_name = package.root()
    assembly = _Assembly(package)
    model = assembly.model(root_name)
    for item in model.items:
        assembly.add(root_name, item)
    if not assembly.pieces:
        raise rejected("no_faces")
    triangles = np.concatenate(assembly.pieces)
    part = np.repeat(np.arange(len(assembly.pieces), dtype=np.int32), [len(piece) for piece in assembly.pieces])
    return RawMesh(
        triangles,
        "3mf",
        declared_faces=assembly.declared_faces,
        unit=model.unit,
        objects=len(assembly.pieces),
        notes=tuple(assembly.notes()),
        part=part,
    )


class _Package:
    """The zip file, its members checked before any is opened."""

    def __init__(self, data: bytes) -> None:
        _check_directory(data)
        try:
            self._archive = zipfile.ZipFile(io.BytesIO(data))
        except _DAMAGE as error:
            raise rejected("archive_broken", found=told("it is no complete zip file")) from error
        members = self._archive.infolist()
        if len(members) > MAX_MEMBERS:
            raise rejected("archive_bomb")
        self._members: dict[str, zipfile.ZipInfo] = {}
        for member in members:
            name = _plain_name(member.filename)
            if name in self._members:
                raise rejected("archive_broken", found=told("two files in it have the same name"))
            self._members[name] = member
        self._unpacked = 0

    def root(self) -> str:
        """The name of the root model: what the relationships say, else the customary place."""
        relationships = self._members.get("_rels/.rels")
        target = parse_relationships(self.chunks("_rels/.rels")) if relationships else None
        for name in (target, "3D/3dmodel.model"):
            if name is not None and _plain_name(name) in self._members:
                return _plain_name(name)
        raise rejected("no_model")

    def chunks(self, name: str) -> Iterator[bytes]:
        """The content of a member in pieces; stops as soon as a cap is passed."""
        member = self._members.get(name)
        if member is None:
            raise rejected("bad_reference", object_id="?")
        if member.flag_bits & 0x1:
            raise rejected("archive_locked")
        allowed = max(_RATIO_FREE_BYTES, MAX_RATIO * member.compress_size)
        if member.file_size > allowed or member.file_size > MAX_UNPACKED_BYTES:
            raise rejected("archive_bomb")
        if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise rejected("archive_broken", found=told("it is packed in a way 3MF does not allow"))
        read = 0
        try:
            with self._archive.open(member) as stream:
                while chunk := stream.read(_CHUNK_BYTES):
                    read += len(chunk)
                    self._unpacked += len(chunk)
                    if read > allowed or self._unpacked > MAX_UNPACKED_BYTES:
                        raise rejected("archive_bomb")
                    yield chunk
        except _DAMAGE as error:
            raise rejected("archive_broken", found=told("its content does not unpack")) from error
        if read != member.file_size:
            raise rejected("archive_broken", found=told("its content is shorter than announced"))


def _check_directory(data: bytes) -> None:
    """Refuse a directory too long for ``MAX_MEMBERS`` before zipfile turns every entry into an object."""
    end = data.rfind(b"PK\x05\x06")
    if end < 0 or end + 22 > len(data):
        raise rejected("archive_broken", found=told("its end is missing, so the upload or export was cut off"))
    (directory_bytes,) = struct.unpack_from("<I", data, end + 12)
    if directory_bytes > _DIRECTORY_BYTES_MAX:
        raise rejected("archive_bomb")


def _plain_name(name: str) -> str:
    """A member's or part's name without leading slash. Refuses names that climb out of the package."""
    plain = name.replace("\\", "/").lstrip("/")
    if ".." in plain.split("/") or ":" in plain or "\0" in plain:
        raise rejected("archive_unsafe")
    return plain


@dataclass(frozen=True, slots=True)
class _Weight:
    """What one object amounts to when expanded: faces, meshes, levels."""

    faces: int
    copies: int
    depth: int


@dataclass(slots=True, eq=False)
class _Assembly:
    """Expands uses of objects into placed triangles. The whole is weighed first, so a bomb never goes off."""

    package: _Package
    pieces: list[FloatArray] = field(default_factory=list)
    declared_faces: int = 0
    _models: dict[str, Model] = field(default_factory=dict)
    _weights: dict[tuple[str, str], _Weight | None] = field(default_factory=dict)
    _copies: int = 0
    _skipped: int = 0

    def model(self, name: str) -> Model:
        if name not in self._models:
            self._models[name] = parse_model(self.package.chunks(name))
        return self._models[name]

    def add(self, home: str, item: Use) -> None:
        """Expand one build item."""
        name, found = self._find(home, item)
        if found.kind != "model":
            self._skipped += 1
            return
        weight = self._weigh(name, item.object_id, found, 1)
        self.declared_faces += weight.faces
        self._copies += weight.copies
        if self._copies > MAX_COPIES:
            raise rejected("too_many_copies", copies=self._copies, limit=MAX_COPIES)
        if self.declared_faces > MAX_FACES:
            check_face_count(self.declared_faces)
        root_mm = MM_PER_UNIT[self._models[home].unit]
        self._expand(name, found, item.matrix, root_mm)

    def notes(self) -> Iterator[Note]:
        if self._skipped:
            yield Note(
                "skipped_objects",
                told("{count} objects in the file are not parts and were left out.", count=self._skipped),
            )

    def _find(self, home: str, use: Use) -> tuple[str, ModelObject]:
        name = home if use.part_name is None else _plain_name(use.part_name)
        found = self.model(name).objects.get(use.object_id)
        if found is None:
            raise rejected("bad_reference", object_id=use.object_id[:20])
        return name, found

    def _weigh(self, name: str, object_id: str, found: ModelObject, level: int) -> _Weight:
        key = (name, object_id)
        known = self._weights.get(key)
        if known is None:
            if level > MAX_DEPTH or key in self._weights:  # a key without weight is being weighed: a circle
                raise rejected("nested_too_deep", limit=MAX_DEPTH)
            self._weights[key] = None
            faces, copies, depth = len(found.triangles), 1, 0
            for use in found.uses:
                inner = self._weigh(*self._located(name, use), level + 1)
                faces, copies, depth = faces + inner.faces, copies + inner.copies, max(depth, inner.depth)
            known = self._weights[key] = _Weight(faces, copies, depth + 1)
        if level + known.depth - 1 > MAX_DEPTH:
            raise rejected("nested_too_deep", limit=MAX_DEPTH)
        return known

    def _located(self, home: str, use: Use) -> tuple[str, str, ModelObject]:
        name, found = self._find(home, use)
        return name, use.object_id, found

    def _expand(self, name: str, found: ModelObject, matrix: FloatArray, root_mm: float) -> None:
        if len(found.triangles):
            scale = MM_PER_UNIT[self._models[name].unit] / root_mm
            vertices = (found.vertices * scale) @ matrix[:3] + matrix[3]
            triangles = vertices[found.triangles]
            # a mirroring transform turns the surface inside out; the order of corners is mirrored with it
            self.pieces.append(triangles[:, ::-1] if np.linalg.det(matrix[:3]) < 0 else triangles)
        for use in found.uses:
            inner_name, inner = self._find(name, use)
            placed = np.vstack([use.matrix[:3] @ matrix[:3], use.matrix[3] @ matrix[:3] + matrix[3]])
            self._expand(inner_name, inner, placed, root_mm)
