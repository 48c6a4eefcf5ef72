"""The command line: exit status, table, JSON and wrong usage. It must not touch a database."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STUDENTS = "demo_fixtures/meshes/students"
KEYS = [
    "file",
    "verdict",
    "reason",
    "units",
    "faces",
    "watertight",
    "winding_consistent",
    "bodies",
    "volume_mm3",
    "area_mm2",
    "bbox_mm",
    "centre_of_mass_mm",
    "inertia_kg_m2",
    "overhang_area_mm2",
    "support_volume_mm3",
    "min_wall_mm",
    "holes",
    "mass_g",
    "filament_m",
    "duration_s",
    "layers",
    "findings",
]
HOLE_KEYS = ["diameter_mm", "free_diameter_mm", "depth_mm", "through", "axis", "eccentricity_mm", "roundness_mm"]


def checkpart(*arguments: str, var: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "MAKERLAB_VAR": str(var), "DATABASE_URL": "postgres://nobody@127.0.0.1:1/none"}
    command = [sys.executable, "manage.py", "checkpart", *arguments]
    return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        ([f"{STUDENTS}/otters-wheel-3.stl", "--part", "wheel"], 0, "ok. Ready to print"),
        ([f"{STUDENTS}/newts-wheel-1.stl", "--part", "wheel"], 0, "advice"),
        ([f"{STUDENTS}/voles-wheel-2.stl", "--hole-mm", "3.2"], 1, "must fix"),
        ([f"{STUDENTS}/newts-cut-off.stl"], 1, "rejected"),
        ([f"{STUDENTS}/nobody.stl"], 2, "no such file"),
        ([f"{STUDENTS}/otters-wheel-3.stl", "--part", "sail"], 2, "invalid choice"),
        ([f"{STUDENTS}/otters-wheel-3.stl", "--hole-mm", "-1"], 2, "above 0"),
        ([f"{STUDENTS}/otters-wheel-3.stl", "--infill", "7"], 2, "infill must be between"),
        ([], 2, "required"),
    ],
)
def test_exit_status_and_words(arguments, status, said, tmp_path):
    done = checkpart(*arguments, var=tmp_path)
    assert done.returncode == status, done.stderr
    assert said in done.stdout + done.stderr
    assert "Traceback" not in done.stderr


def test_json_has_every_key_and_null_for_unknown(tmp_path):
    files = [f"{STUDENTS}/{name}.stl" for name in ("terns-wheel-1", "voles-wheel-1", "newts-cut-off")]
    done = checkpart(*files, "--part", "wheel", "--json", var=tmp_path)
    four, open_one, cut_off = json.loads(done.stdout)
    assert done.returncode == 1
    for report in (four, open_one, cut_off):
        assert set(KEYS) <= set(report)
    assert len(four["holes"]) == 4
    assert all(set(HOLE_KEYS) <= set(hole) for hole in four["holes"])
    assert open_one["volume_mm3"] is None
    assert open_one["watertight"] is False
    assert cut_off["faces"] is None
    assert [report["verdict"] for report in (four, open_one, cut_off)] == ["ok", "must_fix", "rejected"]
