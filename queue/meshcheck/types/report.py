"""What one check says."""

from __future__ import annotations

from dataclasses import dataclass

from meshcheck.types.bore import HubDeviation
from meshcheck.types.measured import Basics, Crossings, Hole, Outside, Signature, SmallFeature, Spin, Support, Walls
from meshcheck.types.mesh import Mesh, Topology
from meshcheck.types.plain import Level, Unit, Unknown, Verdict
from meshcheck.types.printed import Estimate, Turn
from telling import told

_NOT_ESTIMATED, _NOT_MEASURED = Unknown(told("not estimated")), Unknown(told("not measured"))


@dataclass(frozen=True, slots=True)
class Scale:
    """A measured figure beside the band that is allowed, for the ruler drawing. One bound may be None."""

    value: float
    low: float | None
    high: float | None
    unit: str
    decimals: int = 2


@dataclass(frozen=True, slots=True)
class Finding:
    """One statement about the part, in a student's words."""

    code: str
    level: Level
    title: str
    figure: str  # the measured figure with its unit, and the limit: "2.95 mm, allowed 3.15 to 3.30 mm"
    why: str = ""
    mend: str = ""
    limit_source: str = ""
    scale: Scale | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """Everything one check says about one file. ``mesh`` is None when the file was rejected."""

    file: str
    verdict: Verdict
    reason: str
    findings: tuple[Finding, ...]
    unit: Unit | None = None  # the unit the numbers were taken in
    unit_reason: str = ""
    unit_proposed: Unit | None = None  # set when another unit fits better
    format: str = ""
    topology: Topology | None = None
    basics: Basics | None = None
    support: Support | None = None
    walls: Walls | None = None
    crossings: Crossings | None = None  # None where the skin is not closed
    holes: tuple[Hole, ...] | Unknown = ()
    hub: HubDeviation | Unknown | None = None  # from the kit part's; None where there is none to compare
    estimate: Estimate | Unknown = _NOT_ESTIMATED
    density_g_cm3: float = 1.24
    copies_in_file: int = 1  # how many of the part the file holds, by its hub holes
    small_features: tuple[SmallFeature, ...] = ()
    turn: Turn | Unknown = _NOT_MEASURED
    signature: Signature | Unknown = _NOT_MEASURED
    spin: Spin | Unknown = _NOT_MEASURED
    outside: Outside | Unknown = _NOT_MEASURED
    posed: bool = False  # measured lying otherwise than it is drawn
    mesh: Mesh | None = None
    seconds: float = 0.0
