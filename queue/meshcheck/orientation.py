"""Which way to lay a part on the bed: what every resting face would cost, in grams and minutes.

The prices come from a quick model of the part (walls by its upright area, skins by its flat area, the rest by volume)
and from its columns of support. They rank poses; what a turn really saves is said by the estimate of both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meshcheck.edges import face_normals
from meshcheck.estimate import AUTO_SUPPORT_MM2, estimate
from meshcheck.materials import MATERIALS
from meshcheck.moments import FIRST, SECOND, VOLUME, body_moments
from meshcheck.overhang import Counting, bed_slack_mm, overhang, support_below
from meshcheck.resting import MERGE_DEG, STANDS_ON_MM, TIP_LEAST_DEG, resting_faces, tip_as_it_lies_deg, turn_down
from meshcheck.types import (
    Estimate,
    FloatArray,
    Machine,
    Mesh,
    Pose,
    PrintSettings,
    Support,
    Turn,
    Unknown,
    Vector,
    known,
)
from telling import chained, told

# The weights, all in minutes or as a share of the print (common practice, no source; a room may think otherwise).
MINUTES_PER_GRAM = 6.0  # a small printer draws about ten grams an hour: a wasted gram is worth the time it took
CLEANING_MIN = 2.0  # to take support off at all
CLEANING_MIN_PER_CM2 = 0.5  # and to smooth what it held
# A part that stands on little, or would tip easily, fails more often; then all of it is printed again.
CONTACT_ENOUGH_MM2 = 100.0
CONTACT_RISK = 0.2  # share of prints lost when it touches the bed nowhere
TIP_SAFE_DEG = 20.0
TIP_RISK = 0.3  # share of prints lost when it does not stand by itself
HEIGHT_RISK_PER_MM = 0.002  # tall prints sway and are knocked over: a fifth of those 100 mm high
# What a turn must save before it is worth a word: this much, and this share of the price.
SAVES_LEAST_MIN = 5.0
SAVES_LEAST_SHARE = 0.03

# Starting, stopping and moving between lines: this share of the set speeds is kept (measured against ``estimate``).
SPEED_SHARE = 0.65
COLUMNS_PER_POSE = 20_000
FINEST_PITCH_MM = 0.25

Rotation = tuple[Vector, Vector, Vector]
AS_DRAWN: Rotation = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Solid:
    """A closed mesh with what every pose needs of it."""

    mesh: Mesh
    normals: FloatArray
    area_mm2: FloatArray
    volume_mm3: float
    middle_mm: FloatArray  # centre of mass
    second_mm5: FloatArray  # (3, 3) second moments about it


def best_poses(mesh: Mesh, settings: PrintSettings, machine: Machine) -> tuple[Pose, ...]:
    """Every way to lay a closed mesh on the bed, the cheapest first.

    The faces are those it rests on by itself (``meshcheck.resting``). A part without any, such as a ball or a rim of
    round section, is tried along its principal axes and as it is drawn; its poses have ``tip_deg`` near 0. A pose
    within 0.5 degrees of the file's own is the file's own. Empty when the mesh encloses nothing.
    """
    solid = _solid(mesh)
    if solid is None:
        return ()
    poses = [_pose(solid, rotation, tip, settings, machine) for rotation, tip in _rotations(solid)]
    return tuple(sorted((pose for pose in poses if pose is not None), key=lambda pose: pose.price_min))


def pose_as_drawn(mesh: Mesh, settings: PrintSettings, machine: Machine) -> Pose | None:
    """What the file's own pose costs, by the same model; None when the mesh encloses nothing."""
    solid = _solid(mesh)
    if solid is None:
        return None
    tip = tip_as_it_lies_deg(mesh.vertices, solid.middle_mm, STANDS_ON_MM)
    return _pose(solid, AS_DRAWN, tip, settings, machine)


def advise_turn(
    mesh: Mesh, settings: PrintSettings, machine: Machine, as_drawn: Estimate, bed_mm: Vector | None = None
) -> Turn | Unknown:
    """The pose that pays: the file's own (``AS_DRAWN``) unless another is clearly cheaper.

    ``as_drawn`` is the estimate of the file's own pose. Both poses are estimated with support, also where the settings
    leave it out, for a steep underside without support is no saving. Poses that fit no bed are left out.
    """
    poses = [pose for pose in best_poses(mesh, settings, machine) if _fits(mesh, pose, bed_mm)]
    own = next((p for p in poses if p.rotation == AS_DRAWN), None) or pose_as_drawn(mesh, settings, machine)
    if own is None:
        return Unknown(told("its support could not be counted"))
    stay = Turn(own, 0.0, 0.0, "lies well as it is drawn")
    if not poses or poses[0].rotation == AS_DRAWN:
        return stay
    best = poses[0]
    least = max(SAVES_LEAST_MIN, SAVES_LEAST_SHARE * own.price_min)
    if own.price_min - best.price_min < least:
        return stay
    with_support = replace(settings, support="auto") if settings.support == "off" else settings
    before = as_drawn if with_support == settings else known(_estimate(mesh, with_support, machine))
    after = known(_estimate(turned(mesh, best.rotation), with_support, machine))
    if before is None or after is None:
        return stay
    saves_g, saves_min = before.used_g - after.used_g, (before.duration_s - after.duration_s) / 60
    stands_better = own.tip_deg < TIP_LEAST_DEG <= best.tip_deg
    saves = saves_min + MINUTES_PER_GRAM * saves_g + own.cleaning_min - best.cleaning_min
    return Turn(best, saves_g, saves_min, _why(own, best)) if stands_better or saves >= least else stay


def turned(mesh: Mesh, rotation: Rotation) -> Mesh:
    """The mesh in another pose, about the origin."""
    return Mesh(rotated(mesh.vertices, rotation), mesh.faces, mesh.body)


def rotated(vectors: FloatArray, rotation: Rotation) -> FloatArray:
    """(n, 3) vectors turned. Not by the library for large matrices: for rows of three its threads only wait."""
    found: FloatArray = np.einsum("ij,kj->ik", vectors, np.array(rotation))
    return found


def _estimate(mesh: Mesh, settings: PrintSettings, machine: Machine) -> Estimate | Unknown:
    support = overhang(mesh, settings.overhang_limit_deg, watertight=True, bed_mm=bed_slack_mm(settings, posed=True))
    return estimate(mesh, settings, machine, support)


def _solid(mesh: Mesh) -> _Solid | None:
    if not len(mesh.faces):
        return None
    origin = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2
    moments = body_moments(mesh.vertices, mesh.faces, np.zeros(len(mesh.faces), np.int32), 1, origin)[0]
    volume = float(moments[VOLUME])
    if not volume > 0:
        return None
    offset = moments[FIRST] / volume
    xx, yy, zz, xy, yz, zx = moments[SECOND]
    second = np.array([[xx, xy, zx], [xy, yy, yz], [zx, yz, zz]]) - volume * np.outer(offset, offset)
    normals, area = face_normals(mesh.corners)
    return _Solid(mesh, normals, area, volume, origin + offset, second)


def _rotations(solid: _Solid) -> list[tuple[Rotation, float]]:
    """Rotations to try, and the tip angle in each."""
    vertices = solid.mesh.vertices
    faces = resting_faces(vertices, solid.middle_mm)
    if faces:
        own = np.cos(np.radians(MERGE_DEG))
        return [(AS_DRAWN if -face.down[2] > own else _rows(turn_down(face.down)), face.tip_deg) for face in faces]
    _, axes = np.linalg.eigh(solid.second_mm5)
    tried = [AS_DRAWN, *(_rows(turn_down(sign * axes[:, k])) for k in range(3) for sign in (1.0, -1.0))]
    return [
        (rotation, tip_as_it_lies_deg(rotated(vertices, rotation), np.array(rotation) @ solid.middle_mm, STANDS_ON_MM))
        for rotation in tried
    ]


def _rows(matrix: FloatArray) -> Rotation:
    a, b, c = ((float(row[0]), float(row[1]), float(row[2])) for row in matrix)
    return (a, b, c)


def _pose(solid: _Solid, rotation: Rotation, tip_deg: float, settings: PrintSettings, machine: Machine) -> Pose | None:
    """One pose with its price; None when its support cannot be counted."""
    mesh = turned(solid.mesh, rotation)
    upward = solid.normals @ np.array(rotation[2])
    height = mesh.vertices[:, 2] - mesh.vertices[:, 2].min()
    low = height < settings.first_layer_mm / 2
    a, b, c = mesh.faces.T
    on_bed = low[a] & low[b] & low[c] & (upward < 0)
    contact = float((solid.area_mm2 * np.abs(upward))[on_bed].sum())
    support = _support(solid, mesh, rotation, upward, settings)
    volume = known(support.volume_mm3)
    if volume is None:
        return None
    grams, minutes = _amounts(solid, upward, float(height.max()), volume, settings, machine)
    risk = CONTACT_RISK * _lacking(contact, CONTACT_ENOUGH_MM2) + TIP_RISK * _lacking(tip_deg, TIP_SAFE_DEG)
    risk += HEIGHT_RISK_PER_MM * float(height.max())
    cleaning = CLEANING_MIN + CLEANING_MIN_PER_CM2 * support.overhang_area_mm2 / 100 if volume > 0 else 0.0
    price = (minutes + MINUTES_PER_GRAM * grams) * (1 + risk) + cleaning
    return Pose(rotation, tip_deg, contact, float(height.max()), volume, grams, minutes, cleaning, price)


def _lacking(value: float, enough: float) -> float:
    return 1 - min(value / enough, 1.0)


def _support(solid: _Solid, mesh: Mesh, rotation: Rotation, upward: FloatArray, settings: PrintSettings) -> Support:
    """Support of one pose in coarse columns; none for so little that it is never printed."""
    none = Support(0.0, np.zeros(0, np.int32), 0.0, 0.0, settings.overhang_limit_deg)
    leaning = upward < -np.sin(np.radians(settings.overhang_limit_deg))
    if solid.area_mm2[leaning].sum() <= AUTO_SUPPORT_MM2:
        return none
    spread = np.ptp(mesh.vertices[:, :2], axis=0)
    pitch = max(float(np.sqrt(spread[0] * spread[1] / COLUMNS_PER_POSE)), FINEST_PITCH_MM)
    how = Counting(settings.overhang_limit_deg, bed_mm=settings.first_layer_mm / 2, pitch_mm=pitch)
    found = support_below(mesh, rotated(solid.normals, rotation), solid.area_mm2, how)
    return found if found.overhang_area_mm2 > AUTO_SUPPORT_MM2 else none


def _amounts(
    solid: _Solid, upward: FloatArray, height_mm: float, support_mm3: float, settings: PrintSettings, machine: Machine
) -> tuple[float, float]:
    """Grams and minutes of the part with its support, without cutting it into layers."""
    s, m = settings, machine
    by_walls = np.sqrt(np.maximum(1 - upward**2, 0)) * (s.walls * s.line_width_mm)
    by_skins = np.abs(upward) * np.where(upward > 0, s.top_layers, s.bottom_layers) * s.layer_height_mm
    sides = by_walls >= by_skins  # whichever reaches deeper from a face holds the other
    wall = float((solid.area_mm2 * by_walls)[sides].sum())
    skin = float((solid.area_mm2 * by_skins)[~sides].sum())
    most = min(1.0, solid.volume_mm3 / max(wall + skin, 1e-9))  # in a thin part walls and skins meet
    wall, skin = wall * most, skin * most
    infill = (solid.volume_mm3 - wall - skin) * s.infill_share
    support = support_mm3 * s.support_share
    line_mm2 = s.layer_height_mm * s.line_width_mm
    drawing_s = (wall / m.wall_mm_s + skin / m.skin_mm_s + infill / m.infill_mm_s + support / m.support_mm_s) / (
        line_mm2 * SPEED_SHARE
    )
    layers = max(1.0, 1 + (height_mm - s.first_layer_mm) / s.layer_height_mm)
    seconds = m.heat_up_s + max(drawing_s, layers * m.layer_minimum_s) + layers * m.layer_change_s
    grams = (wall + skin + infill + support) * MATERIALS[s.material].density_g_cm3 / 1000
    return grams, seconds / 60


def _fits(mesh: Mesh, pose: Pose, bed_mm: Vector | None) -> bool:
    """Whether the pose fits the bed, turned about the upright axis by quarters; any pose fits an unknown bed, and the
    file's own is never left out."""
    if bed_mm is None or pose.rotation == AS_DRAWN:
        return True
    x, y, z = np.ptp(rotated(mesh.vertices, pose.rotation), axis=0)
    return bool(z <= bed_mm[2] and min(x, y) <= min(bed_mm[:2]) and max(x, y) <= max(bed_mm[:2]))


def _why(own: Pose, best: Pose) -> str:
    """What the turn changes, in plain words."""
    reasons: list[str] = []
    if best.support_mm3 == 0 < own.support_mm3:
        reasons.append(told("needs no support"))
    elif best.support_mm3 < 0.9 * own.support_mm3:
        reasons.append(told("needs less support"))
    if own.tip_deg < TIP_LEAST_DEG <= best.tip_deg:
        reasons.append(told("stands by itself"))
    elif best.contact_mm2 > 1.5 * own.contact_mm2 and own.contact_mm2 < CONTACT_ENOUGH_MM2:
        reasons.append(told("holds better on the bed"))
    if best.height_mm < 0.9 * own.height_mm:
        reasons.append(told("is {best:.0f} instead of {own:.0f} mm high", best=best.height_mm, own=own.height_mm))
    if not reasons:
        reasons.append(told("prints in less time"))
    *most, last = reasons
    return told("{first} and {rest}", first=chained(most), rest=last) if most else last
