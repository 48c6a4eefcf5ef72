"""What a library that shares no code with ours says about the same triangles. For sceptics and for tests.

trimesh (MIT licence) merges vertices and integrates volumes in its own way; agreement is no proof, but disagreement is
a reason to look.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh

from meshcheck.reading import read_mesh
from meshcheck.types import MM_PER_UNIT, Report, Unit, known


@dataclass(frozen=True, slots=True)
class Opinion:
    """One figure of ours beside trimesh's; None where one of the two has none."""

    name: str
    unit: str
    ours: float | bool | None
    theirs: float | bool | None

    @property
    def difference(self) -> float | None:
        """Relative difference, or None where a figure is missing or is no number."""
        if self.ours is None or self.theirs is None or isinstance(self.ours, bool):
            return None
        return abs(float(self.ours) - float(self.theirs)) / max(abs(float(self.theirs)), 1e-12)


def second_opinion(data: bytes, report: Report) -> tuple[Opinion, ...]:
    """Volume, surface, size and closedness as trimesh sees them; empty for a file that could not be read.

    The triangles come from our reader, because trimesh reads some damaged files as half a part without a word.
    """
    if report.basics is None or report.topology is None:
        return ()
    raw = read_mesh(data, report.file)
    triangles = raw.triangles * MM_PER_UNIT[report.unit or Unit.MILLIMETRE]
    corners = np.arange(3 * len(triangles)).reshape(-1, 3)
    theirs = trimesh.Trimesh(triangles.reshape(-1, 3), corners)  # it joins equal corners by itself
    closed = bool(theirs.is_watertight and theirs.is_winding_consistent)
    size = theirs.extents if theirs.extents is not None else np.zeros(3)
    return (
        Opinion("closed", "", report.topology.watertight and report.topology.winding_consistent, closed),
        Opinion("volume", "mm3", known(report.basics.volume_mm3), abs(float(theirs.volume)) if closed else None),
        Opinion("surface", "mm2", report.basics.area_mm2, float(theirs.area)),
        *(
            Opinion(f"size {axis}", "mm", ours, float(their))
            for axis, ours, their in zip("xyz", report.basics.size_mm, size, strict=True)
        ),
    )
