"""Plates as files: every copy at its place on the bed, as binary STL or as 3MF.

3MF: "3D Manufacturing Format, Core Specification" 1.3 (3MF Consortium), an OPC zip package (ECMA-376 part 2).
"""

from __future__ import annotations

import io
import math
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import quoteattr

import numpy as np
from stl import Mesh as StlMesh

from meshcheck.types import FloatArray, Mesh

STL_HEADER = b"Makerlab plate, millimetres"  # must not begin with the word solid, and names nobody
_ZIP_DATE = (1980, 1, 1, 0, 0, 0)  # a fixed date: equal plates give equal bytes

_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELATIONSHIPS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


@dataclass(frozen=True, slots=True, eq=False)
class PlacedMesh:
    """One copy on a plate.

    x_mm, y_mm say where the centre of its footprint stands on the bed; turn_deg turns it anticlockwise about that
    centre, seen from above. ``centre_mm`` is that centre in the mesh's own x and y; the middle of its box when None.
    The lowest point of the mesh is put on the bed.
    """

    mesh: Mesh
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0
    name: str = ""
    centre_mm: tuple[float, float] | None = None

    def transform(self) -> tuple[FloatArray, FloatArray]:
        """Matrix (3, 3) and shift (3,): a point p of the mesh stands at ``p @ matrix + shift`` on the bed."""
        lowest, highest = self.mesh.vertices.min(axis=0), self.mesh.vertices.max(axis=0)
        middle = (lowest + highest) / 2
        pivot = np.array([*(self.centre_mm or middle[:2]), lowest[2]])
        sine, cosine = _exact_turn(self.turn_deg)
        matrix = np.array([[cosine, sine, 0.0], [-sine, cosine, 0.0], [0.0, 0.0, 1.0]])
        return matrix, np.array([self.x_mm, self.y_mm, 0.0]) - pivot @ matrix


def stl_bytes(placed: Sequence[PlacedMesh]) -> bytes:
    """All copies of a plate in one binary STL, in millimetres. Raises ValueError for an empty plate."""
    _require_some(placed)
    corners = []
    for copy in placed:
        matrix, shift = copy.transform()
        corners.append((copy.mesh.vertices @ matrix + shift)[copy.mesh.faces])
    records = np.zeros(sum(map(len, corners)), dtype=StlMesh.dtype)
    records["vectors"] = np.concatenate(corners)
    StlMesh(records, calculate_normals=True)  # writes the normals into the records
    return STL_HEADER.ljust(80) + len(records).to_bytes(4, "little") + records.tobytes()


def threemf_bytes(placed: Sequence[PlacedMesh], title: str) -> bytes:
    """All copies of a plate as 3MF: one object for each different mesh, one build item for each copy.

    Raises ValueError for an empty plate. ``title`` stands in the file's metadata; put no personal name there.
    """
    _require_some(placed)
    objects: dict[int, int] = {}
    resources, items = [], []
    for copy in placed:
        if id(copy.mesh) not in objects:
            objects[id(copy.mesh)] = len(objects) + 1
            resources.append(_object_xml(len(objects), copy))
        items.append(_item_xml(objects[id(copy.mesh)], copy))
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en" xmlns="{_CORE}">'
        f'<metadata name="Title">{_text(title)}</metadata><metadata name="Application">Makerlab</metadata>'
        f"<resources>{''.join(resources)}</resources><build>{''.join(items)}</build></model>"
    )
    package = io.BytesIO()
    with zipfile.ZipFile(package, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (
            ("[Content_Types].xml", _CONTENT_TYPES),
            ("_rels/.rels", _RELATIONSHIPS),
            ("3D/3dmodel.model", model),
        ):
            info = zipfile.ZipInfo(name, _ZIP_DATE)
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, content)
    return package.getvalue()


def _require_some(placed: Sequence[PlacedMesh]) -> None:
    if not placed:
        raise ValueError("There is nothing on this plate.")


def _exact_turn(turn_deg: float) -> tuple[float, float]:
    """Sine and cosine, exact for quarter turns so that straight sides stay straight."""
    quarters = {0.0: (0.0, 1.0), 90.0: (1.0, 0.0), 180.0: (0.0, -1.0), 270.0: (-1.0, 0.0)}
    turn = turn_deg % 360.0
    return quarters.get(turn, (math.sin(math.radians(turn)), math.cos(math.radians(turn))))


def _object_xml(number: int, copy: PlacedMesh) -> str:
    # repr of a float is the shortest text that reads back as the same double
    corners = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in copy.mesh.vertices.tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in copy.mesh.faces.tolist())
    name = f" name={quoteattr(_printable(copy.name))}" if copy.name else ""
    return (
        f'<object id="{number}" type="model"{name}><mesh><vertices>{corners}</vertices>'
        f"<triangles>{faces}</triangles></mesh></object>"
    )


def _item_xml(number: int, copy: PlacedMesh) -> str:
    matrix, shift = copy.transform()
    numbers = " ".join(repr(value) for value in [*matrix.reshape(-1).tolist(), *shift.tolist()])
    return f'<item objectid="{number}" transform="{numbers}"/>'


def _text(words: str) -> str:
    return _printable(words).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _printable(words: str) -> str:
    """Without control characters, which XML 1.0 does not allow."""
    return "".join(c if c.isprintable() else " " for c in words)
