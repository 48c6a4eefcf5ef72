"""Chassis, axle holder and axle gauge of the coasting mail cart, and how they stand together.

The cart's frame: x forward, y to the left, z up, the axles at z = 0. The steel rod turns in the
holders (hole 3.4 mm: +0.4, running fit) and carries the wheels (hole 3.2 mm: +0.2, slip fit); the fits are
those of FACTS 3, where the sources disagree by 0.1 mm, so a room tries one of each first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection, Manifold
from numpy.typing import NDArray

from lessons.parts.solids import Faces, MeshArrays, Vertices, box, circle, mesh_arrays, polygon, rounded_box, union
from lessons.parts.wheel import STARTING_WHEEL, WheelDesign, wheel

ROD_MM = 3.0
ROD_LENGTH_MM = 110.0
WHEELBASE_MM = 110.0

CHASSIS_LENGTH_MM, CHASSIS_WIDTH_MM, FLOOR_MM = 150.0, 70.0, 3.0
TRAY_LENGTH_MM, TRAY_WIDTH_MM, TRAY_WALL_MM, TRAY_DEPTH_MM = 88.0, 60.0, 1.6, 12.0
ENVELOPE_GROOVE_MM, ENVELOPE_DEPTH_MM = 1.6, 0.6

HOLDER_RADIUS_MM, HOLDER_THICKNESS_MM, HOLDER_BORE_MM = 8.0, 8.0, 3.4
SHOULDER_MM = 8.0  # from the axle up to the underside of the chassis
SPACER_DIAMETER_MM, SPACER_MM = 8.0, 7.0  # keeps any wheel of up to 12 mm off the chassis
PRONG_WIDTH_MM, PRONG_MM, BARB_MM = 8.0, 1.6, 0.6

SOCKET_CLEARANCE_MM = 0.3  # on the whole width, between slip and running fit
SOCKET_HEIGHT_MM, SOCKET_WALL_MM, SOCKET_EDGE_MM = 8.0, 2.0, 2.4
BARB_GAP_MM = 0.2

GO_MM, NO_GO_MM = 3.15, 3.30
WHEEL_PLAY_MM = 0.25


def chassis() -> MeshArrays:
    """The mail cart's body, standing on the bed by its floor.

    150 x 70 x 3 mm floor with 6 mm corners; a load tray of 88 x 60 x 12 mm inside (walls 1.6 mm) for coins or
    washers; four sockets 8.3 x 8.3 mm, 110 mm apart along the cart, into which the axle holders snap from below;
    a low bumper at each end; an envelope drawn 0.6 mm deep in the tray floor. All walls are vertical.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(chassis_solid())


def axle_holder() -> MeshArrays:
    """The bearing block, lying on its inner face with the axle hole upright.

    Running hole 3.4 mm for a 3.0 mm rod (64 facets: 3.396 mm passes), block 16 mm wide and 8 mm thick, a spacer 8 mm
    across and 7 mm long that keeps the wheel off the chassis, two prongs 1.6 mm thick with 0.6 mm barbs. Pushed
    in, each prong bends 0.45 mm over 8.4 mm: strain 3 t y / (2 L^2) = 1.5 % (end-loaded beam, closed form).
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(holder_solid())


def axle_gauge() -> MeshArrays:
    """A go/no-go plug for the wheel's 3.2 +0.10 -0.05 mm hole, pins up.

    Round end: go pin 3.15 mm, 12 mm long, longer than the hub, must pass right through. Square notched end:
    no-go pin 3.30 mm, 5 mm long, must not enter. Handle 50 x 14 x 4 mm. A printed pin is itself only good to about
    +-0.2 mm (common practice), wider than the band it judges: measure both pins with calipers, sand or
    reprint until they are right, and write the measured size on the handle.
    Returns vertices (n, 3) float64 mm and faces (m, 3) int32. Source: our own design.
    """
    return mesh_arrays(gauge_solid())


def socket_places() -> list[tuple[float, float]]:
    """Middle of each socket in the chassis, mm: front and rear, right and left."""
    slot = HOLDER_THICKNESS_MM + SOCKET_CLEARANCE_MM
    side = CHASSIS_WIDTH_MM / 2 - SOCKET_EDGE_MM - slot / 2
    return [(x, y) for x in (-WHEELBASE_MM / 2, WHEELBASE_MM / 2) for y in (-side, side)]


def chassis_solid() -> Manifold:
    """The chassis with its floor on z = 0."""
    slot_x, slot_y = PRONG_WIDTH_MM + SOCKET_CLEARANCE_MM, HOLDER_THICKNESS_MM + SOCKET_CLEARANCE_MM
    inner = CrossSection.square((TRAY_LENGTH_MM, TRAY_WIDTH_MM), True)
    outer = CrossSection.square((TRAY_LENGTH_MM + 2 * TRAY_WALL_MM, TRAY_WIDTH_MM + 2 * TRAY_WALL_MM), True)
    sleeve = CrossSection.square((slot_x + 2 * SOCKET_WALL_MM, slot_y + 2 * SOCKET_EDGE_MM), True)
    slot = CrossSection.square((slot_x, slot_y), True)
    body = rounded_box(CHASSIS_LENGTH_MM, CHASSIS_WIDTH_MM, 6.0).extrude(FLOOR_MM)
    body += (outer - inner).extrude(FLOOR_MM + TRAY_DEPTH_MM)
    end = CHASSIS_LENGTH_MM / 2
    bumpers = box((-end, -end + 2.4), (-26.0, 26.0)) + box((end - 2.4, end), (-26.0, 26.0))
    body += bumpers.extrude(SOCKET_HEIGHT_MM)
    body += union([sleeve.translate(place) for place in socket_places()]).extrude(SOCKET_HEIGHT_MM)
    body -= union([slot.translate(place) for place in socket_places()]).extrude(40.0).translate((0, 0, -20.0))
    return body - envelope_outline().extrude(FLOOR_MM).translate((0, 0, FLOOR_MM - ENVELOPE_DEPTH_MM))


def envelope_outline() -> CrossSection:
    """An envelope in lines: a frame and its flap."""
    wide, high, line = 54.0, 34.0, ENVELOPE_GROOVE_MM
    frame = CrossSection.square((wide, high), True) - CrossSection.square((wide - 2 * line, high - 2 * line), True)
    left, top = -wide / 2 + line, high / 2 - line
    flap = polygon([(left, top), (left, top - line), (0, -2 - line), (-left, top - line), (-left, top), (0, -2)])
    return frame + flap


def holder_profile() -> CrossSection:
    """Front view of the holder without its hole, axle at the origin, prongs up."""
    reach = SHOULDER_MM + SOCKET_HEIGHT_MM + BARB_GAP_MM
    outside, inside = PRONG_WIDTH_MM / 2, PRONG_WIDTH_MM / 2 - PRONG_MM
    body = circle(2 * HOLDER_RADIUS_MM, 64) + box((-HOLDER_RADIUS_MM, HOLDER_RADIUS_MM), (0, SHOULDER_MM))
    stem = polygon(
        [
            (-outside, SHOULDER_MM - 1),
            (outside, SHOULDER_MM - 1),
            (outside, reach),
            (outside + BARB_MM, reach),
            (outside + BARB_MM, reach + 0.8),
            (outside - 0.2, reach + 2.4),
            (-outside + 0.2, reach + 2.4),
            (-outside - BARB_MM, reach + 0.8),
            (-outside - BARB_MM, reach),
            (-outside, reach),
        ]
    )
    # The round end of the gap spreads the bending where a square corner would crack.
    gap_foot = circle(2 * inside, 48).translate((0, SHOULDER_MM - 0.6))
    gap = box((-inside, inside), (SHOULDER_MM - 0.6, reach + 5.0)) + gap_foot
    return body + stem - gap


def holder_solid() -> Manifold:
    """The holder lying on its inner face, spacer up."""
    block = holder_profile().extrude(HOLDER_THICKNESS_MM)
    spacer = circle(SPACER_DIAMETER_MM, 64).extrude(HOLDER_THICKNESS_MM + SPACER_MM)
    hole = circle(HOLDER_BORE_MM, 64).extrude(60.0).translate((0, 0, -20.0))
    return block + spacer - hole


def gauge_solid() -> Manifold:
    """The gauge with its handle on z = 0."""
    half, wide, thick, pin_x = 25.0, 14.0, 4.0, 18.0
    handle = box((-half + wide / 2, half), (-wide / 2, wide / 2)) + circle(wide, 48).translate((-half + wide / 2, 0))
    notch = box((pin_x - 5.0, pin_x - 3.0), (wide / 2 - 2.0, wide))
    handle -= union([notch, notch.mirror((0, 1))])
    body = handle.extrude(thick)
    body += pin_solid(GO_MM, 12.0).translate((-pin_x, 0, thick))
    return body + pin_solid(NO_GO_MM, 5.0).translate((pin_x, 0, thick))


def pin_solid(diameter_mm: float, length_mm: float) -> Manifold:
    """An upright pin, its tip drawn in by 0.5 mm, its foot sunk 1 mm below z = 0."""
    radius = diameter_mm / 2
    outline = [(0.0, -1.0), (radius, -1.0), (radius, length_mm - 0.5), (radius - 0.5, length_mm), (0.0, length_mm)]
    return Manifold.revolve(polygon(outline), 64)


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """One part where it sits in the finished cart: vertices (n, 3) float64 mm, faces (m, 3) int32."""

    name: str
    vertices: Vertices
    faces: Faces


def assembled_cart(design: WheelDesign = STARTING_WHEEL, wheel_turned: bool = False) -> list[Placed]:
    """The finished cart: chassis, four holders, two rods, four wheels. Axles at z = 0.

    ``wheel_turned`` mounts the wheels the other way round: their bed face outward.
    """
    cart = [Placed("chassis", *moved(chassis(), shift=(0.0, 0.0, SHOULDER_MM)))]
    inner_face = abs(socket_places()[0][1]) - HOLDER_THICKNESS_MM / 2
    hub_face = inner_face + HOLDER_THICKNESS_MM + SPACER_MM + WHEEL_PLAY_MM
    flip = np.diag([1.0, -1.0, -1.0]) if wheel_turned else np.eye(3)
    lift = np.array([0.0, 0.0, design.hub_width_mm if wheel_turned else 0.0])
    loose_vertices, wheel_faces = wheel(design)
    wheel_vertices = loose_vertices @ flip.T + lift
    for x, y in socket_places():
        turn = OUT_TO_RIGHT if y < 0 else OUT_TO_LEFT
        side = -1.0 if y < 0 else 1.0
        place = f"{'front' if x > 0 else 'rear'} {'right' if y < 0 else 'left'}"
        cart.append(Placed(f"holder {place}", *moved(axle_holder(), turn, (x, side * inner_face, 0.0))))
        cart.append(Placed(f"wheel {place}", *moved((wheel_vertices, wheel_faces), turn, (x, side * hub_face, 0.0))))
    for x, name in ((-WHEELBASE_MM / 2, "rod rear"), (WHEELBASE_MM / 2, "rod front")):
        rod = mesh_arrays(circle(ROD_MM, 64).extrude(ROD_LENGTH_MM).translate((0, 0, -ROD_LENGTH_MM / 2)))
        cart.append(Placed(name, *moved(rod, OUT_TO_RIGHT, (x, 0.0, 0.0))))
    return cart


# A part's bed normal (z) becomes the cart's outward direction, its y the cart's up.
OUT_TO_RIGHT = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
OUT_TO_LEFT = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])


def moved(
    mesh: MeshArrays,
    turn: NDArray[np.float64] | None = None,
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> MeshArrays:
    """The mesh turned about the origin by a rotation matrix, then shifted (mm)."""
    vertices, faces = mesh
    turned = vertices if turn is None else vertices @ turn.T
    return turned + np.asarray(shift), faces
