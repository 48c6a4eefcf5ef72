"""What the estimate costs in time, beside its bars and beside peers in the same run. Prints; never gates on a clock.

Run with ``pytest tests/bench/estimate -s -m bench``. CPU seconds of one core, best of several; the first call, which
loads compiled code, is left out.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from meshcheck.estimate import estimate, estimate_on_each
from meshcheck.gcode.dialect import DIALECTS
from meshcheck.gcode.reader import read_gcode
from meshcheck.layers.cut import cut
from meshcheck.materials import MATERIALS
from meshcheck.motion import move_seconds
from meshcheck.overhang import overhang
from meshcheck.types import Machine, Mesh, PrintSettings
from planning.calibration import FinishedRun, calibrate, find_drift
from tests.meshcheck.parts import Outline, mesh_of, wheel
from tests.meshcheck.test_motion import _integrate

pytestmark = pytest.mark.bench


def best_s(work: Callable[[], object], runs: int = 3) -> float:
    work()
    spent = []
    for _ in range(runs):
        started = time.process_time()
        work()
        spent.append(time.process_time() - started)
    return min(spent)


def tell(what: str, measured: str, bar: str, ratio: float | None = None, beside: str = "") -> None:
    """One line: what, measured, bar, and how many times better than the bar it is (below 1: worse)."""
    times = "" if ratio is None else f"{ratio:.1f} x"
    print(f"\n{what:<58} {measured:>14}   bar {bar:<14} {times:>9}   {beside}")


def star(twist_deg: float = 90.0, lean_deg: float = 0.0) -> Mesh:
    """A twisted star of 200,000 triangles, 100 mm tall: no two of its layers are alike."""
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 22 + 5 * np.sin(7 * turn)
    outline = Outline([np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)])
    return mesh_of(outline.extrude(100, 248, twist_deg, (0.6, 0.6)).rotate((0, lean_deg, 0)))


def test_cutting_beside_trimesh() -> None:
    for level, layers in ((4, 100), (5, 100), (6, 200)):
        shape = trimesh.creation.icosphere(level, 10.0)
        heights = np.linspace(-9.95, 9.95, layers)
        faces = np.asarray(shape.faces, np.int32)
        mesh = Mesh(np.asarray(shape.vertices), faces, np.zeros(len(faces), np.int32))
        ours = best_s(lambda mesh=mesh, heights=heights: cut(mesh, heights), 5)
        theirs = best_s(lambda shape=shape, heights=heights: shape.section_multiplane([0, 0, 0], [0, 0, 1], heights), 1)
        figure = f"{ours * 1e3:.1f} ms"
        tell(
            f"cut {len(faces):,} triangles at {layers} heights",
            figure,
            "peer / 50",
            theirs / ours / 50,
            f"trimesh section_multiplane {theirs * 1e3:.0f} ms: {theirs / ours:.0f} x ours",
        )
        assert len(cut(mesh, heights).area_mm2) == layers


def test_planner_beside_the_integrator() -> None:
    """The integrator knows nothing of trapezoids and is slow: it is the check, its time only shows the distance."""
    rng = np.random.default_rng(1)
    points = np.cumsum(rng.normal(size=(201, 2)) * 3, axis=0)
    speed = rng.uniform(20, 120, 200)
    ours = best_s(lambda: [move_seconds(points, speed, 1000, 0.013) for _ in range(200)]) / 200
    rest = np.zeros(201, np.bool_)
    started = time.process_time()
    other = _integrate(points, speed, 1000, 0.013, rest)
    theirs = time.process_time() - started
    apart = float(move_seconds(points, speed, 1000, 0.013).sum()) / other - 1
    tell("200 moves beside the integrator", f"{abs(apart):.1e}", "1e-5 apart", 1e-5 / max(abs(apart), 1e-12))
    tell("plan 200 moves", f"{ours * 1e6:.0f} µs", "(none)", beside=f"integrator {theirs:.1f} s")
    turn = np.arange(1_000_001) * 0.01
    circle = np.stack([20 * np.cos(turn), 20 * np.sin(turn)], axis=1)
    million = best_s(lambda: move_seconds(circle, np.full(1_000_000, 60.0), 1000, 0.013))
    tell("plan 1,000,000 moves", f"{million:.3f} s", "0.2 s", 0.2 / million)


def test_whole_estimates() -> None:
    settings, machine = PrintSettings(), Machine()
    hub = mesh_of(wheel(hub_width=12))
    lying = best_s(lambda: estimate(hub, settings, machine, None), 8)
    tell("wheel, lying", f"{lying * 1e3:.0f} ms", "50 ms", 0.05 / lying)
    upright = mesh_of(wheel(hub_width=12).rotate((90, 0, 0)))
    support = overhang(upright, watertight=True)
    spent = best_s(lambda: estimate(upright, settings, machine, support))
    tell("wheel, upright, 300 layers, with support", f"{spent * 1e3:.0f} ms", "(none)")
    for name, part in (("twisted star", star()), ("leaning twisted star with support", star(lean_deg=60.0))):
        support = overhang(part, watertight=True)
        found = estimate(part, settings, machine, support)
        spent = best_s(lambda part=part, support=support: estimate(part, settings, machine, support), 2)
        tell(f"{name}, {len(part.faces):,} triangles, {found.layers} layers", f"{spent:.2f} s", "1.5 s", 1.5 / spent)


def test_plates_for_several_machines() -> None:
    hub = mesh_of(wheel(hub_width=12))
    placed = [(hub, 70.0 * (k % 3), 70.0 * (k // 3), 0.0) for k in range(9)]
    spent = {}
    for kinds in (1, 5):
        machines = {str(k): Machine(wall_mm_s=40.0 + k) for k in range(kinds)}
        spent[kinds] = best_s(
            lambda machines=machines: estimate_on_each(placed, PrintSettings(), machines, [None] * 9), 5
        )
    tell(
        "nine wheels on five kinds of machine",
        f"{spent[5] * 1e3:.0f} ms",
        "(none)",
        beside=f"on one kind {spent[1] * 1e3:.0f} ms: {spent[5] / spent[1]:.1f} x for five",
    )


def _words(lines: int) -> bytes:
    k = np.arange(lines)
    radius = 20 + np.sin(k / 50)
    x, y = 100 + radius * np.cos(k / 20), 100 + radius * np.sin(k / 20)
    body = "\n".join(f"G1 X{a:.3f} Y{b:.3f} E{0.03 * i:.5f}" for i, (a, b) in enumerate(zip(x, y, strict=True)))
    return f"G21\nG90\nM109 S210\nG28\nF1800\n{body}\n".encode()


def test_machine_words() -> None:
    data = _words(1_000_000)
    spent = best_s(lambda: read_gcode(data, DIALECTS["printer-ms"], Machine(), MATERIALS["PLA"]), 2)
    small = data[: len(data) // 20].rsplit(b"\n", 1)[0]
    started = time.process_time()
    for line in small.decode().splitlines():  # the least any reader must do: take lines apart in plain Python
        {word[0]: float(word[1:]) for word in line.split()}
    plain = (time.process_time() - started) * len(data) / len(small)
    tell(
        f"1,000,005 lines of machine words, {len(data) / 1e6:.0f} MB",
        f"{spent:.2f} s",
        "5 s",
        5 / spent,
        f"{1 / spent:.2f} million lines/s; only splitting them in plain Python {plain:.1f} s",
    )


def test_calibration() -> None:
    rng = np.random.default_rng(3)
    runs = [FinishedRun(e, e * 1.1 * (1 + 0.05 * rng.normal())) for e in rng.uniform(1800, 20_000, 60)]
    tell("calibrate 60 runs", f"{best_s(lambda: calibrate(runs), 8) * 1e3:.1f} ms", "(none)")
    tell("look for drift in 60 runs", f"{best_s(lambda: find_drift(runs), 5) * 1e3:.1f} ms", "(none)")
