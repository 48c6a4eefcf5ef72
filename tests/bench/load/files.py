"""Files of a class at the bell: wheels of many designs, 0.1 to 10 MB, every one different and every one printable."""

from __future__ import annotations

import math
from collections.abc import Iterator
from random import Random

from trimesh import remesh

from lessons.parts.files import stl_binary
from lessons.parts.wheel import WheelDesign, wheel

LEAST_BYTES, MOST_BYTES = 100_000, 10_000_000
BYTES_FIRST, BYTES_A_FACET = 30_000, 570  # of a wheel as drawn: measured, and only to aim by
COARSE_BYTES = 400_000  # larger ones are coarser wheels whose triangles are halved, as drawing programs write them


def files(count: int, seed: int) -> Iterator[bytes]:
    """Binary STL; sizes spread evenly by their logarithm, so that half of them lie below 1 MB."""
    dice = Random(seed)
    for number in range(count):
        share = (number + dice.random()) / count
        wanted = LEAST_BYTES * (MOST_BYTES / LEAST_BYTES) ** share
        yield file_of(wanted, dice)


def file_of(wanted_bytes: float, dice: Random) -> bytes:
    """One of about so many bytes."""
    halved = max(0, math.ceil(math.log(wanted_bytes / COARSE_BYTES, 4)))
    design = WheelDesign(
        radius_mm=round(dice.uniform(26, 33), 3),
        spokes=dice.randint(3, 7),
        spoke_width_mm=round(dice.uniform(4, 7), 3),
        facets=max(48, round((wanted_bytes / 4**halved - BYTES_FIRST) / BYTES_A_FACET)),
    )
    mesh = wheel(design)
    for _time in range(halved):
        mesh = remesh.subdivide(*mesh)
    return stl_binary(mesh)
