"""Parts whose best resting faces anyone can name: the kit's own, lying as their designs say, and plain shapes.

Where two faces are as good as each other, both are named.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

import lessons.parts
from lessons.parts import WheelDesign
from lessons.parts.solids import MeshArrays
from meshcheck.types import Mesh, Vector

from .parts import Outline, Solid, box, disc, mesh_of, wheel

DOWN, UP = (0.0, 0.0, -1.0), (0.0, 0.0, 1.0)
SIDES_Y = ((0.0, 1.0, 0.0), (0.0, -1.0, 0.0))


@dataclass(frozen=True, slots=True)
class KnownPart:
    """``make`` draws it; ``down`` lists the directions of its drawing that may look down in the best pose."""

    make: Callable[[], Mesh]
    down: tuple[Vector, ...]


def kit(make: Callable[[], MeshArrays]) -> Callable[[], Mesh]:
    def made() -> Mesh:
        vertices, faces = make()
        return Mesh(vertices, faces, np.zeros(len(faces), np.int32))

    return made


def kit_wheel(**changes: float) -> Callable[[], Mesh]:
    return kit(lambda: lessons.parts.wheel(WheelDesign(**changes)))


KNOWN_PARTS: dict[str, KnownPart] = {
    "starting wheel": KnownPart(kit_wheel(), (UP, DOWN)),
    "solid wheel": KnownPart(kit_wheel(spokes=0, web_mm=8.0), (UP, DOWN)),
    "wheel with a web on the bed": KnownPart(kit_wheel(spokes=0, web_mm=2.4), (DOWN,)),
    "four wheels": KnownPart(kit(lessons.parts.wheel_set), (UP, DOWN)),
    "spokes in the upper half": KnownPart(kit_wheel(spoke_height_mm=4.0, spoke_lift_mm=4.0), (UP,)),
    "rim hanging above the hub": KnownPart(kit_wheel(hub_drop_mm=3.0), (UP,)),
    "hub wider than the rim": KnownPart(lambda: mesh_of(wheel(hub_width=26)), (DOWN,)),
    "chassis": KnownPart(kit(lessons.parts.chassis), (DOWN,)),
    "axle holder": KnownPart(kit(lessons.parts.axle_holder), (DOWN,)),
    "axle gauge, pins up": KnownPart(kit(lessons.parts.axle_gauge), (DOWN,)),
    # tables and mushrooms stand on their tops
    "table": KnownPart(lambda: mesh_of(box(40, 40, 5, (-20, -20, 20)) + box(10, 10, 20, (-5, -5, 0))), (UP,)),
    "mushroom": KnownPart(lambda: mesh_of(disc(4, 20) + disc(15, 4).translate((0, 0, 20))), (UP,)),
    "cone on its tip": KnownPart(lambda: mesh_of(Solid.cylinder(20, 2, 26, 128)), (UP,)),
    # profiles lie on the profile or on what makes them free of support
    "T": KnownPart(lambda: mesh_of(box(40, 10, 5, (-20, -5, 20)) + box(10, 10, 20, (-5, -5, 0))), (UP, *SIDES_Y)),
    "bracket": KnownPart(lambda: mesh_of(box(40, 20, 5) + box(5, 20, 40)), SIDES_Y),
    "bridge": KnownPart(
        lambda: mesh_of(box(50, 10, 5, (0, 0, 10)) + box(10, 10, 10) + box(10, 10, 10, (40, 0, 0))), (UP, *SIDES_Y)
    ),
    # a wall with two shelves on one side lies on the wall's back, shelves up
    "two shelves": KnownPart(
        lambda: mesh_of(
            box(40, 40, 5, (-20, -20, 30)) + box(10, 40, 30, (-20, -20, 0)) + box(20, 40, 5, (-20, -20, 10))
        ),
        ((-1.0, 0.0, 0.0),),
    ),
    "cup": KnownPart(lambda: mesh_of(disc(15, 30) - disc(13, 30).translate((0, 0, 2))), (DOWN,)),
    "plate": KnownPart(lambda: mesh_of(box(60, 40, 3)), (UP, DOWN)),
    "half a ball": KnownPart(lambda: mesh_of(Solid.sphere(15, 96).trim_by_plane((0, 0, 1), 0)), (DOWN,)),
    # no flat anywhere, but lying it is stable
    "ring of round section": KnownPart(
        lambda: mesh_of(Solid.revolve(Outline.circle(5, 64).translate((20, 0)), 128)), (UP, DOWN)
    ),
}
