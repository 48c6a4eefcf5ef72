"""Meshes written as file bytes, the same on every machine: STL (binary and ASCII), OBJ, 3MF.

The readers live in ``meshcheck``; this is only what the demo needs to make its own files.
"""

from __future__ import annotations

import io
import zipfile

import numpy as np
from numpy.typing import NDArray

from lessons.parts.solids import MeshArrays

HEADER = b"Makerlab demo part, millimetres. No personal text."
STL_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
THE_DAY = (2020, 1, 1, 0, 0, 0)  # a fixed date, so that a rebuilt archive is the same archive


def facet_normals(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unit normals (m, 3) of corners (m, 3, 3), to six decimals; zero for a facet without area."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    unit = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    rounded: NDArray[np.float64] = np.round(unit, 6) + 0.0
    return rounded


def stl_binary(mesh: MeshArrays) -> bytes:
    """84 + 50 n bytes: header, facet count, facets (Burns, Automated Fabrication 6.5)."""
    vertices, faces = mesh
    corners = vertices[faces]
    records = np.zeros(len(faces), STL_RECORD)
    records["corners"], records["normal"] = corners, facet_normals(corners)
    return HEADER.ljust(80) + np.uint32(len(faces)).tobytes() + records.tobytes()


def stl_ascii(mesh: MeshArrays, name: str) -> bytes:
    """The same facets as text, four decimals."""
    vertices, faces = mesh
    corners = vertices[faces]
    lines = [f"solid {name}"]
    for normal, facet in zip(facet_normals(corners), corners, strict=True):
        lines.append("facet normal {:.6f} {:.6f} {:.6f}".format(*normal))
        lines.append(" outer loop")
        lines += ["  vertex {:.4f} {:.4f} {:.4f}".format(*corner) for corner in facet]
        lines += [" endloop", "endfacet"]
    lines.append(f"endsolid {name}")
    return ("\n".join(lines) + "\n").encode("ascii")


def obj(mesh: MeshArrays, name: str) -> bytes:
    """Vertices and triangles; OBJ counts from 1."""
    vertices, faces = mesh
    lines = [f"o {name}"]
    lines += ["v {:.4f} {:.4f} {:.4f}".format(*vertex) for vertex in vertices]
    lines += ["f {} {} {}".format(*face) for face in faces + 1]
    return ("\n".join(lines) + "\n").encode("ascii")


CONTENT_TYPES = """<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
"""
RELATIONSHIPS = """<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Target="/3D/3dmodel.model" Id="rel0"
 Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
"""


def three_mf(mesh: MeshArrays, unit: str = "millimeter") -> bytes:
    """One object on the build plate, moved into the positive octant as the 3MF core specification 1.4 asks.

    Stored, not deflated: deflate differs between zlib builds, stored bytes do not.
    """
    vertices, faces = mesh
    corner = vertices.min(axis=0)
    points = "".join('<vertex x="{:.4f}" y="{:.4f}" z="{:.4f}"/>\n'.format(*(v - corner)) for v in vertices)
    triangles = "".join('<triangle v1="{}" v2="{}" v3="{}"/>\n'.format(*face) for face in faces)
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="{unit}" xml:lang="en" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">\n'
        f'<resources><object id="1" type="model"><mesh>\n<vertices>\n{points}</vertices>\n'
        f"<triangles>\n{triangles}</triangles>\n</mesh></object></resources>\n"
        '<build><item objectid="1"/></build>\n</model>\n'
    )
    parts = {"[Content_Types].xml": CONTENT_TYPES, "_rels/.rels": RELATIONSHIPS, "3D/3dmodel.model": model}
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as archive:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name, THE_DAY)
            entry.create_system = 3  # zipfile writes the running system otherwise
            archive.writestr(entry, text.encode("utf-8"))
    return packed.getvalue()
