"""What goes into a check and what comes out of it: frozen values, units in the names.

Lengths are millimetres, areas mm2, volumes mm3, masses grams, times seconds, angles degrees
unless a name says otherwise. A quantity that could not be measured is an ``Unknown`` with
its reason, never a zero.
"""

from __future__ import annotations

from meshcheck.settings import Machine as Machine
from meshcheck.settings import PrintSettings as PrintSettings
from meshcheck.settings import settings_problems as settings_problems
from meshcheck.types.bore import BoreKind as BoreKind
from meshcheck.types.bore import BoreShape as BoreShape
from meshcheck.types.bore import HubDeviation as HubDeviation
from meshcheck.types.measured import Basics as Basics
from meshcheck.types.measured import Bridge as Bridge
from meshcheck.types.measured import Crossings as Crossings
from meshcheck.types.measured import Hole as Hole
from meshcheck.types.measured import Outside as Outside
from meshcheck.types.measured import Signature as Signature
from meshcheck.types.measured import SmallFeature as SmallFeature
from meshcheck.types.measured import Spin as Spin
from meshcheck.types.measured import Support as Support
from meshcheck.types.measured import Walls as Walls
from meshcheck.types.mesh import Mesh as Mesh
from meshcheck.types.mesh import RawMesh as RawMesh
from meshcheck.types.mesh import Topology as Topology
from meshcheck.types.plain import MM_PER_UNIT as MM_PER_UNIT
from meshcheck.types.plain import FloatArray as FloatArray
from meshcheck.types.plain import IntArray as IntArray
from meshcheck.types.plain import Level as Level
from meshcheck.types.plain import MeshRejected as MeshRejected
from meshcheck.types.plain import Note as Note
from meshcheck.types.plain import Unit as Unit
from meshcheck.types.plain import Unknown as Unknown
from meshcheck.types.plain import Vector as Vector
from meshcheck.types.plain import Verdict as Verdict
from meshcheck.types.plain import known as known
from meshcheck.types.printed import Estimate as Estimate
from meshcheck.types.printed import Material as Material
from meshcheck.types.printed import Pose as Pose
from meshcheck.types.printed import PrintedBody as PrintedBody
from meshcheck.types.printed import Turn as Turn
from meshcheck.types.report import Finding as Finding
from meshcheck.types.report import Report as Report
from meshcheck.types.report import Scale as Scale
from meshcheck.types.wanted import Gauge as Gauge
from meshcheck.types.wanted import Limits as Limits
