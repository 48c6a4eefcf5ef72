"""From bytes to triangles: STL, OBJ and 3MF, told by structure and never by name."""

from __future__ import annotations

from meshcheck.reading import obj, stl, threemf
from meshcheck.reading.gate import MAX_BYTES, check_mesh, check_size, sniff
from meshcheck.types import RawMesh

__all__ = ["MAX_BYTES", "read_mesh"]


def read_mesh(data: bytes, name: str) -> RawMesh:
    """Read the triangles of an uploaded file.

    ``name`` is not believed: the kind is told by structure. Raises MeshRejected with a code of
    ``gate.REJECTIONS`` and words for the student; nothing else leaves this function for any input.
    """
    check_size(data)
    kind, content = sniff(data)
    readers = {"stl-binary": stl.read_binary, "stl-ascii": stl.read_text, "obj": obj.read_obj, "3mf": threemf.read_3mf}
    return check_mesh(readers[kind](content))
