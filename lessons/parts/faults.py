"""The invented school's student files: sound redesigns, and every common mistake once.

Each file is made from the kit's own wheel, so that what is wrong with it is known exactly. The expected
verdict and finding codes stand beside it and go into ``demo_fixtures/students.json``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from lessons.parts.files import obj, stl_ascii, stl_binary, three_mf
from lessons.parts.solids import MeshArrays, joined, mesh_arrays
from lessons.parts.wheel import WheelDesign, arm_solids, bore_solid, hub_solid, rim_solid, wheel, wheel_set

INCH_MM = 25.4

# Students' wheels are a little coarser than the kit's, as files from different programs are; a 48-facet
# hole of 3.2 mm still passes 3.193 mm.
COARSE = WheelDesign(facets=72, bore_facets=48)
LIGHT_RIM = replace(COARSE, rim_mm=3.0, spoke_width_mm=4.0)
EIGHT_SPOKES = replace(COARSE, rim_mm=3.5, spokes=8, spoke_width_mm=2.8)
CURVED = replace(COARSE, rim_mm=3.5, spoke_shape="curved", spoke_width_mm=4.0)
SOLID_DISC = replace(COARSE, spokes=0, web_mm=8.0)
WINDOWED_DISC = replace(COARSE, rim_mm=3.0, spokes=0, web_mm=2.4, windows=6, window_diameter_mm=11.0)
SMALL_NARROW = replace(COARSE, radius_mm=24.0, rim_mm=3.0, width_mm=6.0, spoke_height_mm=6.0, spoke_width_mm=4.0)
BAND_GROOVE = replace(COARSE, radius_mm=32.0, rim_mm=4.0, groove_mm=1.0, spoke_width_mm=4.0)


@dataclass(frozen=True, slots=True)
class StudentFile:
    """One file: its bytes, who handed it in, what it shows, and what the check is expected to say.

    ``codes`` are the findings (or, for a rejection, the reason code) that must be among those reported;
    ``facts`` are measures known by construction, mm unless the name says otherwise.
    """

    name: str
    team: int
    version: int
    shows: str
    verdict: str
    codes: tuple[str, ...]
    content: Callable[[], bytes]
    wheels: int = 1
    facts: dict[str, Any] = field(default_factory=dict)


def scaled(mesh: MeshArrays, factors: tuple[float, float, float]) -> MeshArrays:
    """The mesh stretched about the origin."""
    vertices, faces = mesh
    return vertices * np.asarray(factors), faces


def inside_out(mesh: MeshArrays) -> MeshArrays:
    """Every face turned over."""
    vertices, faces = mesh
    return vertices, np.ascontiguousarray(faces[:, ::-1])


def with_gap(mesh: MeshArrays) -> MeshArrays:
    """The mesh without the faces of its top that lie in one quarter: the skin is open there."""
    vertices, faces = mesh
    middle = vertices[faces].mean(axis=1)
    height = vertices[faces][:, :, 2].min(axis=1)
    gone = (height >= vertices[:, 2].max() - 1e-6) & (middle[:, 0] > 0) & (middle[:, 1] > 0)
    return vertices, np.ascontiguousarray(faces[~gone])


def shells_pushed_together(design: WheelDesign) -> MeshArrays:
    """Rim, hub and each spoke as closed bodies of their own that run into one another, never joined."""
    hub = hub_solid(design) - bore_solid(design)
    return joined([mesh_arrays(solid) for solid in (rim_solid(design), hub, *arm_solids(design))])


def cut_off(content: bytes, share: float) -> bytes:
    """The first part of a file, as after an upload that broke off; never at the end of a facet."""
    keep = 84 + 50 * int(share * (len(content) - 84) / 50) + 17
    return content[:keep]


def letter_to_teacher() -> bytes:
    """A text file under a mesh file's name."""
    return (
        b"Hi! I could not find where to save the wheel, so I wrote down what it looks like.\n"
        b"It has six spokes and a thin rim. The hole in the middle is the same as before.\n"
        b"Can I bring the file on Thursday?\n"
    )


def good_files() -> list[StudentFile]:
    """Sound redesigns, visibly different, in every format that can be handed in."""

    def sound(
        name: str, team: int, version: int, shows: str, design: WheelDesign, write: Callable[[MeshArrays], bytes]
    ) -> StudentFile:
        facts = {"across_mm": 2 * design.radius_mm, "hole_mm": design.bore_mm, "hub_depth_mm": design.hub_width_mm}
        return StudentFile(name, team, version, shows, "ok", (), lambda: write(wheel(design)), facts=facts)

    return [
        sound("otters-wheel-3.stl", 7, 3, "lighter rim, thinner spokes", LIGHT_RIM, stl_binary),
        sound("larks-wheel-1.stl", 5, 1, "eight thin spokes", EIGHT_SPOKES, stl_binary),
        sound("finches-wheel-1.3mf", 8, 1, "five curved spokes, a 3MF file", CURVED, three_mf),
        sound("moles-wheel-1.stl", 3, 1, "solid disc: most of its mass sits near the hub", SOLID_DISC, stl_binary),
        sound("hares-wheel-2.stl", 1, 2, "thin disc with six round windows", WINDOWED_DISC, stl_binary),
        sound(
            "toads-wheel-1.stl",
            2,
            1,
            "small narrow wheel, an ASCII STL file",
            replace(SMALL_NARROW, spokes=4, facets=40, bore_facets=40),
            lambda mesh: stl_ascii(mesh, "wheel"),
        ),
        sound(
            "badgers-wheel-1.obj",
            6,
            1,
            "groove for a rubber band, an OBJ file",
            BAND_GROOVE,
            lambda mesh: obj(mesh, "wheel"),
        ),
        StudentFile(
            "terns-wheel-1.stl",
            4,
            1,
            "four wheels of one design in one file",
            "ok",
            (),
            lambda: stl_binary(wheel_set(replace(LIGHT_RIM, spokes=4, spoke_width_mm=5.0, facets=60, bore_facets=40))),
            wheels=4,
            facts={"across_mm": 60.0, "hole_mm": 3.2, "hub_depth_mm": 8.0},
        ),
    ]


def hub_mistakes() -> list[StudentFile]:
    """Wheels that print well and do not fit the axle."""
    curved = wheel(CURVED)
    return [
        StudentFile(
            "voles-wheel-2.stl",
            12,
            2,
            "the whole wheel was scaled to 0.92, and the hole with it",
            "must_fix",
            ("hole_scaled", "hole_too_short"),
            lambda: stl_binary(scaled(curved, (0.92, 0.92, 0.92))),
            facts={"scale": 0.92, "hole_mm": 2.944, "across_mm": 55.2, "hub_depth_mm": 7.36},
        ),
        StudentFile(
            "stoats-wheel-1.stl",
            9,
            1,
            "drawn in inches: everything reads 25.4 times too small",
            "must_fix",
            ("unit_proposed",),
            lambda: stl_binary(scaled(wheel(LIGHT_RIM), (1 / INCH_MM,) * 3)),
            facts={"scale": 1 / INCH_MM, "hole_mm": 3.2 / INCH_MM, "across_mm": 60.0 / INCH_MM, "unit": "inch"},
        ),
        StudentFile(
            "martens-wheel-1.stl",
            10,
            1,
            "the hub was filled in: there is no hole",
            "must_fix",
            ("hole_filled",),
            lambda: stl_binary(wheel(replace(LIGHT_RIM, bore_filled=True))),
            facts={"hole_mm": None},
        ),
        StudentFile(
            "plovers-wheel-1.stl",
            13,
            1,
            "the hole sits 1.5 mm beside the middle",
            "must_fix",
            ("hole_off_centre",),
            lambda: stl_binary(wheel(replace(EIGHT_SPOKES, bore_offset_mm=1.5))),
            facts={"eccentricity_mm": 1.5, "hole_mm": 3.2},
        ),
        StudentFile(
            "shrews-wheel-1.stl",
            14,
            1,
            "stretched to 1.15 one way only: wheel and hole are oval",
            "must_fix",
            ("hole_stretched",),
            lambda: stl_binary(scaled(wheel(LIGHT_RIM), (1.15, 1.0, 1.0))),
            facts={"stretch": 1.15, "hole_widest_mm": 3.68, "hole_narrowest_mm": 3.2, "across_mm": 69.0},
        ),
    ]


def print_mistakes() -> list[StudentFile]:
    """Wheels whose hub is right and which do not print, or not without help."""
    return [
        StudentFile(
            "dormice-wheel-1.stl",
            15,
            1,
            "spokes only 0.5 mm wide: hardly more than one line",
            "must_fix",
            ("walls_one_line",),
            lambda: stl_binary(wheel(replace(LIGHT_RIM, spoke_width_mm=0.5))),
            facts={"thinnest_mm": 0.5, "hole_mm": 3.2},
        ),
        StudentFile(
            "newts-wheel-1.stl",
            11,
            1,
            "the spokes start 2.2 mm above the bed and need support",
            "advice",
            ("steep_underside",),
            lambda: stl_binary(wheel(replace(COARSE, spoke_lift_mm=2.2, spoke_height_mm=5.8))),
            facts={"spoke_lift_mm": 2.2, "hole_mm": 3.2},
        ),
        StudentFile(
            "swallows-wheel-1.stl",
            16,
            1,
            "mushroom: only the hub stands on the bed, the whole disc hangs 3 mm above it",
            "advice",
            ("steep_underside",),
            lambda: stl_binary(wheel(replace(COARSE, spokes=0, web_mm=2.4, width_mm=5.0, hub_drop_mm=3.0))),
            facts={"raised_mm": 3.0, "hole_mm": 3.2},
        ),
        StudentFile(
            "hares-wheel-1.stl",
            1,
            1,
            "240 mm across: larger than the size box and than any bed in the room",
            "must_fix",
            ("size_box", "too_big_for_bed"),
            lambda: stl_binary(wheel(replace(COARSE, radius_mm=120.0, facets=128))),
            facts={"across_mm": 240.0, "hole_mm": 3.2},
        ),
    ]


def broken_files() -> list[StudentFile]:
    """Files whose skin is wrong, and files that are no mesh."""
    return [
        StudentFile(
            "voles-wheel-1.stl",
            12,
            1,
            "not closed: faces are missing on top of one quarter",
            "must_fix",
            ("not_closed",),
            lambda: stl_binary(with_gap(wheel(CURVED))),
            facts={"watertight": False},
        ),
        StudentFile(
            "otters-wheel-2.stl",
            7,
            2,
            "inside out: every face looks inward; the check turns it round",
            "advice",
            ("inside_out_turned",),
            lambda: stl_binary(inside_out(wheel(EIGHT_SPOKES))),
            facts={"turned_bodies": 1, "hole_mm": 3.2},
        ),
        StudentFile(
            "otters-wheel-1.stl",
            7,
            1,
            "rim, hub and five spokes pushed into one another and never joined",
            "advice",
            ("overlapping_bodies",),
            lambda: stl_binary(shells_pushed_together(LIGHT_RIM)),
            facts={"bodies": 7, "hole_mm": 3.2},
        ),
        StudentFile(
            "newts-cut-off.stl",
            11,
            2,
            "the upload broke off at two thirds: the file says it holds more facets than it does",
            "rejected",
            ("truncated",),
            lambda: cut_off(stl_binary(wheel(LIGHT_RIM)), 0.66),
        ),
        StudentFile(
            "shrews-notes.stl",
            14,
            2,
            "a letter saved under a mesh file's name",
            "rejected",
            ("unknown_format",),
            letter_to_teacher,
        ),
    ]


def student_files() -> list[StudentFile]:
    """All student files of the demo, one entry per file name."""
    return [*good_files(), *hub_mistakes(), *print_mistakes(), *broken_files()]


def manifest_entry(file: StudentFile) -> dict[str, Any]:
    """What ``students.json`` says about one file."""
    return {
        "file": file.name,
        "part": "wheel",
        "team": file.team,
        "version": file.version,
        "shows": file.shows,
        "verdict": file.verdict,
        "codes": list(file.codes),
        "wheels_in_file": file.wheels,
        "known_by_construction": {
            key: round(value, 4) if isinstance(value, float) else value for key, value in file.facts.items()
        },
    }
