"""Files for the browser to upload, made when a test runs."""

from __future__ import annotations

from pathlib import Path

import manifold3d

from lessons.parts.files import stl_binary
from lessons.parts.wheel import wheel


def fine_wheel(path: Path, refine: int = 9) -> Path:
    """The starting wheel, every triangle split refine^2 times: the same part, slow enough to be caught in its check."""
    vertices, faces = wheel()
    solid = manifold3d.Manifold(manifold3d.Mesh(vertices.astype("float32"), faces.astype("uint32"))).refine(refine)
    shape = solid.to_mesh()
    path.write_bytes(stl_binary((shape.vert_properties[:, :3].astype("float64"), shape.tri_verts.astype("int32"))))
    return path
