"""Is it the same design again? Compared by what turning, moving and other triangles do not change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from meshcheck.basics import measure
from meshcheck.types import Basics, Mesh, Signature, Topology, Unknown

# Rounding to float32 or two decimals, and a circle exported with 96 instead of 128 corners (0.03 % less area), stay
# within this share. A part that weighs one percent more does not, nor does one whose hub is 0.4 mm narrower. The same
# drawing exported half as fine (64 instead of 128 corners: 0.12 %) counts as another one: a false match is worse.
SAME_SHARE = 0.001


def signature(basics: Basics) -> Signature | Unknown:
    """The signature of one part; Unknown where it encloses no volume."""
    if isinstance(basics.volume_mm3, Unknown):
        return basics.volume_mm3
    if isinstance(basics.inertia_mm5, Unknown):
        return basics.inertia_mm5
    moments = np.linalg.eigvalsh(np.array(basics.inertia_mm5))
    a, b, c = np.sqrt(np.maximum(moments, 0) / basics.volume_mm3)
    return Signature(basics.volume_mm3, basics.area_mm2, (float(a), float(b), float(c)))


def signature_of_file(mesh: Mesh, topology: Topology, basics: Basics, copies: int) -> Signature | Unknown:
    """The signature of the part in a file; where the file holds several ``copies`` of it, of the first one, so that
    four wheels in a file are known again in a file of one."""
    if copies <= 1 or not topology.watertight or not topology.winding_consistent:
        return signature(basics)
    chosen = mesh.body == mesh.body.min()
    one = Mesh(mesh.vertices, mesh.faces[chosen], np.zeros(int(chosen.sum()), np.int32))
    used, faces = np.unique(one.faces, return_inverse=True)
    alone = Mesh(mesh.vertices[used], faces.reshape(-1, 3).astype(np.int32), one.body)
    return signature(measure(alone, _single(topology)))


def _single(topology: Topology) -> Topology:
    """The topology of one clean body of a clean file."""
    return Topology(0, 0, 1, 0, 0, 0, 0, topology.welded, 0, False)


def is_same_design(a: Signature, b: Signature, share: float = SAME_SHARE) -> bool:
    """Whether two parts agree in all five figures within ``share``. A part and its mirror image agree too."""
    return all(abs(x - y) <= share * max(abs(x), abs(y)) for x, y in zip(_figures(a), _figures(b), strict=True))


def _figures(signature: Signature) -> Sequence[float]:
    return (signature.volume_mm3, signature.area_mm2, *signature.gyration_mm)


def signature_json(signature: Signature) -> dict[str, Any]:
    return {
        "volume_mm3": signature.volume_mm3,
        "area_mm2": signature.area_mm2,
        "gyration_mm": list(signature.gyration_mm),
    }


def signature_from_json(values: Mapping[str, Any]) -> Signature:
    """The signature as a report holds it. KeyError or ValueError where it is none."""
    a, b, c = (float(value) for value in values["gyration_mm"])
    return Signature(float(values["volume_mm3"]), float(values["area_mm2"]), (a, b, c))
