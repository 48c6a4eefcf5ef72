"""Rebuild the invented school's meshes from our own parametric parts.

    python demo_fixtures/build.py            write demo_fixtures/meshes and students.json
    python demo_fixtures/build.py --check    say which stored files differ from a rebuild; exit 1 if any does

The stored files are what BUILT_WITH makes, byte for byte. Another release of manifold3d, or another kind of
processor, may divide a flat face into other triangles; the shape is the same then, and the tests compare that.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
if __name__ == "__main__":  # run as a file, the repository's root is not on the path
    sys.path.insert(0, str(HERE.parent))

from lessons.parts import (  # noqa: E402
    GEARS,
    axle_gauge,
    axle_holder,
    chassis,
    hoist_bracket,
    hoist_crank,
    hoist_drum,
    hull,
    launcher_arm,
    launcher_other_side,
    launcher_side,
    pitch_gauge,
    turbine_blade,
    turbine_hub,
    turbine_nacelle,
    wheel,
)
from lessons.parts.club_files import CLUB_FILES  # noqa: E402
from lessons.parts.faults import manifest_entry, student_files  # noqa: E402
from lessons.parts.files import stl_binary  # noqa: E402
from lessons.parts.hull_files import HULL_FILES  # noqa: E402

BUILT_WITH = {"manifold3d": "3.5.4", "processor": "x86_64"}

KIT_PARTS = {
    "chassis": chassis,
    "wheel": wheel,
    "axle-holder": axle_holder,
    "axle-gauge": axle_gauge,
    "hull": hull,
    "hoist-drum": hoist_drum,
    "hoist-crank": hoist_crank,
    "hoist-bracket": hoist_bracket,
    **GEARS,
    "turbine-blade": turbine_blade,
    "turbine-hub": turbine_hub,
    "turbine-nacelle": turbine_nacelle,
    "pitch-gauge": pitch_gauge,
    "launcher-arm": launcher_arm,
    "launcher-side": launcher_side,
    "launcher-other-side": launcher_other_side,
}


def built_files() -> dict[str, bytes]:
    """Every generated file: path below ``demo_fixtures`` with forward slashes, and its bytes."""
    files = {f"meshes/kit/{name}.stl": stl_binary(part()) for name, part in KIT_PARTS.items()}
    files |= {f"meshes/hulls/{name}.stl": stl_binary(drawn()) for name, drawn in HULL_FILES.items()}
    files |= {f"meshes/club/{name}.stl": stl_binary(drawn()) for name, drawn in CLUB_FILES.items()}
    students = student_files()
    files |= {f"meshes/students/{student.name}": student.content() for student in students}
    manifest = {"lesson": "coasting-mail-cart", "files": [manifest_entry(student) for student in students]}
    files["students.json"] = (json.dumps(manifest, indent=2, ensure_ascii=False) + "\n").encode("utf-8")
    return files


def differing(files: dict[str, bytes]) -> list[str]:
    """Paths whose stored bytes are not these, and stored meshes nobody builds any more."""
    stored = {path.relative_to(HERE).as_posix(): path for path in (HERE / "meshes").rglob("*") if path.is_file()}
    stored["students.json"] = HERE / "students.json"
    changed = [
        name for name, content in files.items() if not (HERE / name).is_file() or (HERE / name).read_bytes() != content
    ]
    return sorted(changed) + sorted(set(stored) - set(files))


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Rebuild the invented school's meshes.")
    parser.add_argument("--check", action="store_true", help="write nothing, exit 1 when stored files differ")
    options = parser.parse_args(arguments)
    files = built_files()
    changed = differing(files)
    for name in changed:
        print(("differs: " if options.check else "written: ") + name)
    if options.check:
        return 1 if changed else 0
    for name in changed:
        path = HERE / name
        if name not in files:
            path.unlink()
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(files[name])
    print(f"{len(files)} files, {sum(map(len, files.values())) / 1e6:.2f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
