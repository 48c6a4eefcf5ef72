"""Every defective file we know of, made by code when the tests run, each with the answer it must get.

The list comes from what went wrong with mesh libraries in our experiments: half-read files, silent empties, bombs.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, field

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from tests.meshcheck.parts import box, mesh_of, wheel

Corners = NDArray[np.float64]  # (n, 3, 3)
RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


@dataclass(frozen=True)
class BadFile:
    """One file: its bytes, the code it is refused with, or (code None) what must be true of the accepted mesh.

    ``expect`` names attributes of RawMesh, Topology or Basics and their values; ``note`` a note's code.
    """

    name: str
    make: Callable[[], bytes]
    code: str | None = None
    expect: dict[str, object] = field(default_factory=dict)
    note: str | None = None


def binary_stl(corners: Corners, header: bytes = b"made by a test", declared: int | None = None) -> bytes:
    records = np.zeros(len(corners), RECORD)
    records["corners"] = corners
    count = len(corners) if declared is None else declared
    return header.ljust(80)[:80] + struct.pack("<I", count) + records.tobytes()


def text_stl(corners: Corners, name: str = "part") -> str:
    lines = [f"solid {name}"]
    for facet in corners.tolist():
        lines += ["  facet normal 0 0 0", "    outer loop"]
        lines += [f"      vertex {x:.9g} {y:.9g} {z:.9g}" for x, y, z in facet]
        lines += ["    endloop", "  endfacet"]
    return "\n".join([*lines, f"endsolid {name}", ""])


def text_obj(corners: Corners) -> str:
    points = "".join(f"v {x!r} {y!r} {z!r}\n" for x, y, z in corners.reshape(-1, 3).tolist())
    return points + "".join(f"f {3 * i + 1} {3 * i + 2} {3 * i + 3}\n" for i in range(len(corners)))


def corners_of(*solids: m3.Manifold) -> Corners:
    return mesh_of(*solids).corners


def wheel_corners() -> Corners:
    return corners_of(wheel(facets=48))


def cube_corners(size: float = 20.0) -> Corners:
    return corners_of(box(size, size, size))


def sphere_corners(rings: int, sectors: int) -> Corners:
    """A closed ball of radius 20 mm with 2 * sectors * (rings - 1) triangles."""
    theta = np.linspace(0, np.pi, rings + 1)[:, None]
    phi = np.linspace(0, 2 * np.pi, sectors, endpoint=False)[None, :]
    grid = 20 * np.stack(
        [np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta) * np.ones_like(phi)], axis=2
    )
    grid[0], grid[-1] = (0, 0, 20), (0, 0, -20)
    a, b = grid[:-1], grid[1:]
    upper = np.stack([a, b, np.roll(b, -1, axis=1)], axis=2)[:-1]
    lower = np.stack([a, np.roll(b, -1, axis=1), np.roll(a, -1, axis=1)], axis=2)[1:]
    return np.concatenate([upper.reshape(-1, 3, 3), lower.reshape(-1, 3, 3)])


def _with(value: float, at: tuple[int, int, int] = (5, 1, 2)) -> bytes:
    corners = wheel_corners()
    corners[at] = value
    return binary_stl(corners)


def _half_flipped() -> bytes:
    corners = wheel_corners()
    corners[::2] = corners[::2, ::-1]
    return binary_stl(corners)


def _patched_count(count: int) -> bytes:
    data = binary_stl(cube_corners())
    return data[:80] + struct.pack("<I", count) + data[84:]


def _soup(count: int, kind: str) -> bytes:
    rng = np.random.default_rng(4)
    corners = rng.random((count, 3, 3)) * 100
    if kind == "one point":
        corners[:] = 1.0
    if kind == "one edge":
        corners[:, 0], corners[:, 1] = (0, 0, 0), (0, 0, 1)
    return binary_stl(corners)


def _many_boxes(count: int) -> bytes:
    cube = cube_corners()
    shifts = np.zeros((count, 1, 1, 3))
    shifts[..., 0] = 30.0 * np.arange(count)[:, None, None] % 9000
    shifts[..., 1] = 30.0 * (np.arange(count)[:, None, None] // 300)
    return binary_stl((cube[None] + shifts).reshape(-1, 3, 3))


def _text(change: Callable[[str], str], encoding: str = "utf-8") -> Callable[[], bytes]:
    return lambda: change(text_stl(wheel_corners())).encode(encoding)


def _two_solids() -> bytes:
    return (text_stl(wheel_corners()) + text_stl(wheel_corners() + np.array([100.0, 0, 0]), "second")).encode()


_FACES = len(wheel_corners())
_SOUND = {"watertight": True, "winding_consistent": True, "bodies": 1, "faces": _FACES}
_QUAD = (
    "solid q\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 1 1 0\nvertex 0 1 0\n"
    "endloop\nendfacet\nendsolid\n"
)
_WORDS = (
    "solid a\nfacet normal 0 0 1\nouter loop\nvertex a b c\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid a\n"
)


def binary_files() -> list[BadFile]:
    whole = lambda: binary_stl(wheel_corners())  # noqa: E731 - a table of one-liners
    return [
        BadFile("sound", whole, expect=_SOUND),
        BadFile("header says solid", lambda: binary_stl(wheel_corners(), b"solid exported part"), expect=_SOUND),
        BadFile("header in capitals", lambda: binary_stl(wheel_corners(), b"SOLID facet endsolid"), expect=_SOUND),
        BadFile(
            "solid header, stray byte", lambda: binary_stl(wheel_corners(), b"solid x") + b"\0", note="trailing_bytes"
        ),
        BadFile("header not text", lambda: binary_stl(wheel_corners(), b"\xff\xfe\xa9\0\x01"), expect=_SOUND),
        BadFile("inside out", lambda: binary_stl(wheel_corners()[:, ::-1]), expect=_SOUND | {"turned_bodies": 1}),
        BadFile(
            "hole", lambda: binary_stl(wheel_corners()[:-7]), expect={"watertight": False, "volume_mm3": "unknown"}
        ),
        BadFile("half flipped", _half_flipped, expect={"winding_consistent": False, "volume_mm3": "unknown"}),
        BadFile("inches", lambda: binary_stl(wheel_corners() / 25.4), expect=_SOUND),
        BadFile("metres", lambda: binary_stl(wheel_corners() / 1000), expect=_SOUND),
        BadFile("a million times too large", lambda: binary_stl(wheel_corners() * 1e6), "too_far"),
        BadFile("nearly nothing", lambda: binary_stl(wheel_corners() * 1e-7), "too_small"),
        BadFile("beyond every printer", lambda: binary_stl(wheel_corners() * 1e36), "too_far"),
        BadFile("cut off", lambda: whole()[: len(whole()) // 2 + 13], "truncated"),
        BadFile("tail of zeros", lambda: whole() + bytes(77), expect=_SOUND, note="trailing_bytes"),
        BadFile("tail of one empty record", lambda: whole() + bytes(50), expect=_SOUND, note="trailing_bytes"),
        BadFile("announces 4 thousand million", lambda: _patched_count(0xFFFFFFFF), "truncated"),
        BadFile("announces 100 million", lambda: _patched_count(100_000_000), "truncated"),
        BadFile("announces too few", lambda: _patched_count(9), "count_mismatch"),
        BadFile("announces far too few", lambda: _patched_count(3), "unknown_format"),
        BadFile("announces none", lambda: bytes(84), "no_faces"),
        BadFile("header only", lambda: whole()[:84], "truncated"),
        BadFile("empty", lambda: b"", "empty"),
        BadFile("half a header", lambda: bytes(50), "truncated"),
        BadFile("not a number", lambda: _with(np.nan), "not_finite"),
        BadFile("infinite", lambda: _with(np.inf), "not_finite"),
        BadFile("largest float", lambda: _with(3e38), "too_far"),
        BadFile(
            "faces without area",
            lambda: binary_stl(np.vstack([wheel_corners(), wheel_corners()[:50][:, [0, 0, 1]]])),
            expect=_SOUND | {"zero_area_faces": 50},
        ),
        BadFile(
            "every face twice",
            lambda: binary_stl(np.vstack([wheel_corners(), wheel_corners()])),
            expect=_SOUND | {"twin_faces": _FACES},
        ),
        BadFile("no thickness", lambda: binary_stl(np.array([[[0, 0, 0], [9, 0, 0], [0, 9, 0]]] * 2, float)), "flat"),
        BadFile("one point", lambda: _soup(200_000, "one point"), "flat"),
        BadFile("triangle soup", lambda: _soup(200_000, "soup"), "too_many_bodies"),
        BadFile("all share an edge", lambda: _soup(100_000, "one edge"), "too_many_bodies"),
        BadFile("twenty thousand boxes", lambda: _many_boxes(20_000), "too_many_bodies"),
        BadFile("noise", lambda: np.random.default_rng(3).bytes(10_000_000), "truncated"),
        BadFile("above the size limit", lambda: bytes(26 * 1024 * 1024), "too_big"),
        BadFile("too many triangles", lambda: binary_stl(np.zeros((500_001, 3, 3))), "too_many_faces"),
        BadFile("large and honest", lambda: binary_stl(sphere_corners(401, 410)), expect={"faces": 328_000}),
        BadFile("zip by name only", lambda: b"PK\x03\x04" + bytes(2000), "archive_broken"),
        BadFile("a picture", lambda: b"\x89PNG\r\n\x1a\n" + bytes(200), "other_format"),
    ]


def body_files() -> list[BadFile]:
    def cube(x: float = 0, y: float = 0) -> m3.Manifold:
        return box(20, 20, 20, at=(x, y, 0))

    two = {"bodies": 2, "watertight": True}
    return [
        BadFile(
            "overlapping bodies",
            lambda: binary_stl(corners_of(cube(), cube(10))),
            expect=two | {"overlapping_bodies": True, "volume_mm3": 12_000.0},
        ),
        BadFile(
            "an island",
            lambda: binary_stl(corners_of(cube(), m3.Manifold.sphere(2, 32).translate((0, 0, 40)))),
            expect=two | {"overlapping_bodies": False},
        ),
        BadFile(
            "solid within a solid",
            lambda: binary_stl(corners_of(cube(), box(5, 5, 5, at=(5, 5, 5)))),
            expect=two | {"overlapping_bodies": True, "volume_mm3": 8_000.0},
        ),
        BadFile(
            "cavity",
            lambda: binary_stl(np.vstack([corners_of(cube()), corners_of(box(5, 5, 5, at=(5, 5, 5)))[:, ::-1]])),
            expect=two | {"overlapping_bodies": False, "turned_bodies": 0, "volume_mm3": 7_875.0},
        ),
        BadFile(
            "touching along an edge",
            lambda: binary_stl(corners_of(cube(), cube(20, 20))),
            expect=two | {"touching_edges": 1, "overlapping_bodies": False, "volume_mm3": 16_000.0},
        ),
        BadFile(
            "touching at a face",
            lambda: binary_stl(corners_of(cube(), cube(20))),
            expect=two | {"overlapping_bodies": False, "volume_mm3": 16_000.0},
        ),
    ]


def text_files() -> list[BadFile]:
    same: Callable[[str], str] = str
    return [
        BadFile("text", _text(same), expect=_SOUND),
        BadFile("text, decimal commas", _text(lambda t: t.replace(".", ",")), expect=_SOUND, note="decimal_commas"),
        BadFile("text cut in the middle", _text(lambda t: t[: len(t) // 2]), "truncated"),
        BadFile("text cut after a facet", _text(lambda t: t[: t.rindex("endfacet") + 9]), "truncated"),
        BadFile("text cut inside a number", _text(lambda t: t[: t.rindex("vertex") + 9]), "truncated"),
        BadFile("text in capitals", _text(str.upper), expect=_SOUND),
        BadFile("text, Windows line ends", _text(lambda t: t.replace("\n", "\r\n")), expect=_SOUND),
        BadFile("text, old Mac line ends", _text(lambda t: t.replace("\n", "\r")), expect=_SOUND),
        BadFile("text without line ends", _text(lambda t: t.replace("\n", " ")), expect=_SOUND),
        BadFile("text, nan among corners", _text(lambda t: t.replace("vertex ", "vertex nan ", 1)), "not_finite"),
        BadFile("text, -1.#IND normal", _text(lambda t: t.replace("normal 0", "normal -1.#IND", 9)), expect=_SOUND),
        BadFile("text, UTF-16", _text(same, "utf-16"), expect=_SOUND),
        BadFile("text, UTF-16 without mark", _text(same, "utf-16-be"), expect=_SOUND),
        BadFile("text, byte order mark", _text(same, "utf-8-sig"), expect=_SOUND),
        BadFile("text after blank lines", _text(lambda t: "  \n" + t), expect=_SOUND),
        BadFile("text, two solids", _two_solids, expect={"objects": 2, "bodies": 2, "faces": 2 * _FACES}),
        BadFile("text, solid without facets", lambda: b"solid x\nendsolid x\n", "no_faces"),
        BadFile("text, four corners", lambda: _QUAD.encode(), "not_triangles"),
        BadFile("text, letters for numbers", lambda: _WORDS.encode(), "garbled"),
        BadFile("text, endless first line", lambda: b"solid " + b"A" * 20_000_000, "truncated"),
        BadFile(
            "text, long first line",
            _text(lambda t: t.replace("solid part", "solid " + "A" * 5_000_000, 1)),
            expect=_SOUND,
        ),
        BadFile("text, facet missing its end", _text(lambda t: t.replace("endfacet", "", 1)), "garbled"),
        BadFile("text, endsolid missing between", _text(lambda t: t.replace("endsolid part", "") + t), "garbled"),
        BadFile("a letter", lambda: b"hello world, not a mesh", "unknown_format"),
        BadFile("a web page", lambda: b"<html>" + b"x" * 500 + b"</html>", "unknown_format"),
    ]


def obj_files() -> list[BadFile]:
    cube = text_obj(cube_corners())
    corner = "v 0 0 0\nv 1 0 0\nv 1 1 0\n"
    ring = 200_000
    ngon = "".join(f"v {i / 100} {i % 7} 0\n" for i in range(ring)) + "f " + " ".join(map(str, range(1, ring + 1)))
    hexahedron = (
        "v 0 0 0\nv 20 0 0\nv 20 20 0\nv 0 20 0\nv 0 0 20\nv 20 0 20\nv 20 20 20\nv 0 20 20\n"
        "f -8/1/1 -5 -6 -7\nf 5 6 7 8\nf 1 2 6 5\nf 2//3 3//3 7//3 6//3\nf 3 4 8 7\nf 4 1 5 \\\n 8\n"
    )
    sound = {"watertight": True, "faces": 12, "volume_mm3": 8_000.0}
    return [
        BadFile("obj", cube.encode, expect=sound),
        BadFile("obj, quads and negative indices", hexahedron.encode, expect=sound),
        BadFile("obj, decimal commas", lambda: cube.replace(".", ",").encode(), expect=sound),
        BadFile("obj, old Mac line ends", lambda: cube.replace("\n", "\r").encode(), expect=sound),
        BadFile("obj, UTF-16", lambda: cube.encode("utf-16"), expect=sound),
        BadFile(
            "obj naming other files",
            lambda: ("mtllib ../../../../etc/passwd\nmtllib http://127.0.0.1:9/x.mtl\nusemtl a\n" + cube).encode(),
            expect=sound,
        ),
        BadFile("obj, one triangle", (corner + "f 1 2 3\n").encode, "flat"),
        BadFile("obj, corner out of range", (corner + "f 1 2 99999999\n").encode, "bad_index"),
        BadFile("obj, corner beyond all numbers", (corner + "f 1 2 999999999999999999999\n").encode, "bad_index"),
        BadFile("obj, negative out of range", (corner + "f -1 -2 -3000000\n").encode, "bad_index"),
        BadFile("obj, corner zero", (corner + "f 0 1 2\n").encode, "garbled"),
        BadFile("obj, face of two", (corner + "f 1 2\nf 1 2 3\n").encode, "bad_face"),
        BadFile("obj, corners only", corner.encode, "no_faces"),
        BadFile("obj, faces only", lambda: b"f 1 2 3\n", "bad_index"),
        BadFile("obj, not a number", (corner.replace("1 1 0", "1 nan 0") + "f 1 2 3\n").encode, "not_finite"),
        BadFile("obj, beyond all numbers", (corner.replace("1 1 0", "1 1e999 0") + "f 1 2 3\n").encode, "not_finite"),
        BadFile("obj, quad far away", (corner + "v 1e300 0 0\nf 1 2 3 4\n").encode, "too_far"),
        BadFile("obj, two coordinates", (corner.replace("1 1 0", "1 1") + "f 1 2 3\n").encode, "garbled"),
        BadFile("obj, one polygon of 200,000", ngon.encode, "flat"),
    ]


def every_mesh_file() -> list[BadFile]:
    return [*binary_files(), *body_files(), *text_files(), *obj_files()]
