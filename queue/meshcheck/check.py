"""The front door: everything one check says about one file."""

from __future__ import annotations

import time

from meshcheck.findings import from_rejection, worst
from meshcheck.materials import MATERIALS
from meshcheck.measuring import measure_part
from meshcheck.orientation import Rotation
from meshcheck.reading import read_mesh
from meshcheck.statements import in_order, sentence, statements
from meshcheck.types import (
    Gauge,
    Level,
    Limits,
    Machine,
    Mesh,
    MeshRejected,
    PrintSettings,
    Report,
    Unit,
    Verdict,
)

VERDICTS = {Level.PASSES: Verdict.OK, Level.ADVICE: Verdict.ADVICE, Level.MUST_FIX: Verdict.MUST_FIX}


def check_part(
    data: bytes,
    name: str,
    *,
    gauge: Gauge | None = None,
    settings: PrintSettings | None = None,
    machine: Machine | None = None,
    limits: Limits | None = None,
    unit: Unit | None = None,
    pose: Rotation | None = None,
    kit_mesh: Mesh | None = None,
) -> Report:
    """Read, measure and judge one file.

    ``gauge`` is what a redesigned part must keep, ``limits`` what the assignment allows for one part (a file that
    holds four wheels may weigh four times as much), ``unit`` what the student said the file is drawn in, ``pose`` how
    it is laid for printing where not as it is drawn, ``kit_mesh`` the kit's own part, whose hub is compared. Never
    raises for what a file holds: a file that cannot be read is a report with the verdict ``rejected``.
    """
    began = time.perf_counter()
    settings, machine, limits = settings or PrintSettings(), machine or Machine(), limits or Limits()
    try:
        found = measure_part(read_mesh(data, name), gauge, settings, machine, limits, unit, pose, kit_mesh)
    except MeshRejected as rejected:
        return _rejection(name, rejected, began)
    findings = in_order(statements(found, gauge, settings, limits))
    level = worst(findings)
    return Report(
        file=name,
        verdict=VERDICTS[level],
        reason=sentence(level, findings),
        findings=findings,
        unit=found.judged.unit,
        unit_reason=found.judged.reason,
        unit_proposed=found.judged.proposed,
        format=found.raw.format,
        topology=found.topology,
        basics=found.basics,
        support=found.support,
        walls=found.walls,
        crossings=found.crossings,
        holes=found.holes,
        hub=found.hub,
        estimate=found.estimate,
        density_g_cm3=MATERIALS[settings.material].density_g_cm3,
        copies_in_file=found.copies,
        small_features=found.small,
        turn=found.turn,
        signature=found.signature,
        spin=found.spin,
        outside=found.outside,
        posed=pose is not None,
        mesh=found.mesh,
        seconds=time.perf_counter() - began,
    )


def _rejection(name: str, rejected: MeshRejected, began: float) -> Report:
    seconds = time.perf_counter() - began
    findings = (from_rejection(rejected),)
    return Report(file=name, verdict=Verdict.REJECTED, reason=rejected.message, findings=findings, seconds=seconds)
