"""A report as plain values: what is stored, sent and printed."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

from meshcheck.basics import inertia_kg_m2
from meshcheck.footprint import footprint
from meshcheck.orientation import turned
from meshcheck.similarity import signature_json
from meshcheck.types import (
    Bridge,
    Estimate,
    Finding,
    Hole,
    HubDeviation,
    Report,
    SmallFeature,
    Topology,
    Unknown,
    known,
)
from telling import as_data, told

DECIMALS = 6
SAID = ("title", "figure", "why", "mend", "limit_source")  # the texts of a finding


def report_json(report: Report) -> dict[str, Any]:
    """The report with the keys of the command line's JSON, and what the pages need beside them.

    Unknown quantities are None; a finding says why. Numbers are rounded to six decimals.
    """
    facts: dict[str, Any] = {
        "file": report.file,
        "verdict": report.verdict.value,
        "reason": report.reason,
        "reason_said": as_data(report.reason),
        "units": report.unit.value if report.unit else None,
        "unit_reason": report.unit_reason,
        "unit_reason_said": as_data(report.unit_reason),
        "unit_proposed": report.unit_proposed.value if report.unit_proposed else None,
        "format": report.format,
        **_shape(report),
        "min_wall_mm": _plain(known(report.walls.thinnest_mm)) if report.walls else None,
        "holes": [_hole(hole) for hole in report.holes] if isinstance(report.holes, tuple) else None,
        "hub": _hub(report.hub),
        **_printing(report.estimate),
        "copies_in_file": report.copies_in_file,
        "bridges": _parts(report.support.bridges) if report.support else None,
        "small_features": _parts(report.small_features),
        "pose": _pose(report),
        "posed": report.posed,
        "signature": None if isinstance(report.signature, Unknown) else signature_json(report.signature),
        "spin": None if isinstance(report.spin, Unknown) else dataclasses.asdict(report.spin),
        "outside": None if isinstance(report.outside, Unknown) else dataclasses.asdict(report.outside),
        "findings": [finding_json(finding) for finding in report.findings],
        "seconds": _plain(report.seconds),
    }
    return facts


def _shape(report: Report) -> dict[str, Any]:
    topology, basics, support = report.topology, report.basics, report.support
    inertia = inertia_kg_m2(basics, report.density_g_cm3) if basics else Unknown(told("not measured"))
    outline = footprint(report.mesh) if report.mesh is not None and len(report.mesh.faces) else None
    return {
        **_topology(topology),
        "volume_mm3": _plain(known(basics.volume_mm3)) if basics else None,
        "area_mm2": _plain(basics.area_mm2) if basics else None,
        "bbox_mm": _plain(basics.size_mm) if basics else None,
        "centre_of_mass_mm": _plain(known(basics.centre_of_mass_mm)) if basics else None,
        "inertia_kg_m2": _exact(known(inertia)),
        "overhang_area_mm2": _plain(support.overhang_area_mm2) if support else None,
        "support_volume_mm3": _plain(known(support.volume_mm3)) if support else None,
        "footprint": dataclasses.asdict(outline) if outline else None,
        "self_crossing": _crossing(report),
    }


def _crossing(report: Report) -> dict[str, Any] | None:
    """How far the skin passes through itself; None where that is not known."""
    found, basics = report.crossings, report.basics
    if found is None or basics is None:
        return None
    return {
        "length_mm": _plain(found.length_mm),
        "doubled_mm3": _plain(basics.doubled_mm3),
        "inverted_mm3": _plain(basics.inverted_mm3),
        "place_mm": _plain(found.place_mm),
        "complete": found.complete,
    }


def _topology(topology: Topology | None) -> dict[str, Any]:
    names = ("faces", "watertight", "winding_consistent", "bodies")
    return {name: getattr(topology, name) if topology else None for name in names}


def _printing(estimate: Estimate | Unknown) -> dict[str, Any]:
    known_estimate = known(estimate)
    names = ("mass_g", "filament_m", "duration_s", "layers", "support_g", "raft_brim_g", "cool_down_s")
    return {name: _plain(getattr(known_estimate, name)) if known_estimate else None for name in names}


def _hole(hole: Hole) -> dict[str, Any]:
    return {
        "diameter_mm": _plain(hole.diameter_mm),
        "free_diameter_mm": _plain(hole.free_diameter_mm),
        "depth_mm": _plain(hole.depth_mm),
        "through": hole.through,
        "axis": _plain(hole.axis),
        "eccentricity_mm": _plain(known(hole.eccentricity_mm)),
        "roundness_mm": _plain(hole.roundness_mm),
        "centre_mm": _plain(hole.centre_mm),
        "certain": hole.certain,
        "shape": {name: _plain(value) for name, value in dataclasses.asdict(hole.shape).items()},
    }


def _hub(hub: HubDeviation | Unknown | None) -> dict[str, Any] | None:
    """How far the hub is from the kit part's; None where nothing was compared."""
    if not isinstance(hub, HubDeviation):
        return None
    return {
        "largest_mm": _plain(hub.largest_mm),
        "place_mm": _plain(hub.place_mm),
        "spacing_mm": _plain(hub.spacing_mm),
        "outside_mm": _plain(known(hub.outside_mm)),
    }


def _parts(values: Iterable[Bridge | SmallFeature]) -> list[dict[str, Any]]:
    return [{name: _plain(value) for name, value in dataclasses.asdict(part).items()} for part in values]


def _pose(report: Report) -> dict[str, Any] | None:
    """How to lay the part: ``turn`` is a 3 x 3 rotation of the file's frame (rows), the unit matrix where the part lies
    well as it is. Size and footprint are those of the part so laid. None where nobody can tell."""
    if isinstance(report.turn, Unknown) or report.mesh is None:
        return None
    pose = report.turn.pose
    mesh = turned(report.mesh, pose.rotation)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    return {
        "turn": [list(row) for row in pose.rotation],  # every digit: rounding would bend the part
        "why": report.turn.why,
        "saves_g": _plain(report.turn.saves_g),
        "saves_min": _plain(report.turn.saves_min),
        "bbox_mm": [_plain(float(side)) for side in high - low],
        "footprint": dataclasses.asdict(footprint(mesh)),
        **{name: _plain(getattr(pose, name)) for name in ("tip_deg", "contact_mm2", "support_mm3")},
    }


def finding_json(finding: Finding) -> dict[str, Any]:
    """A finding as plain values; ``said`` holds each of its texts as ``telling.as_data`` gives it."""
    plain = dataclasses.asdict(finding)
    return {**plain, "level": finding.level.value, "said": {name: as_data(getattr(finding, name)) for name in SAID}}


def _plain(value: Any) -> Any:
    """Floats rounded, tuples as lists, None and whole numbers as they are."""
    if isinstance(value, float):
        return round(value, DECIMALS)
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    return value


def _exact(value: Any) -> Any:
    """For tensors whose figures are far below one: all digits, tuples as lists."""
    return [_exact(part) for part in value] if isinstance(value, tuple) else value
