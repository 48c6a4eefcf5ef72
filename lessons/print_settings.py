"""The print settings in force: the classroom defaults, over them the kit part's own, over them what the teacher changed
for one class. They are put together here and nowhere else."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from meshcheck.settings import PrintSettings

if TYPE_CHECKING:
    from lessons.models import Assignment, KitPart

Values = dict[str, Any]


def classroom_defaults() -> Values:
    """Every field of PrintSettings as it is where nobody chose otherwise."""
    return asdict(PrintSettings())


def own_changes(kit_part: KitPart, assignment: Assignment | None = None) -> Values:
    """What was chosen for the kit part, or, with an assignment, what was changed for that class."""
    if assignment is None:
        return {**kit_part.settings, "material": kit_part.material}
    return dict(assignment.print_settings.get(kit_part.code) or {})


def values_beneath(kit_part: KitPart, assignment: Assignment | None = None) -> Values:
    """Every field as it would be without those changes: the defaults, or the kit part's for an assignment."""
    defaults = classroom_defaults()
    return defaults if assignment is None else {**defaults, **own_changes(kit_part)}


def values_in_force(kit_part: KitPart, assignment: Assignment | None = None) -> Values:
    """Every field of PrintSettings as it counts for the kit part, in one class when an assignment is given."""
    return {**values_beneath(kit_part, assignment), **own_changes(kit_part, assignment)}


def in_force(kit_part: KitPart, assignment: Assignment | None = None) -> PrintSettings:
    """The settings this part is printed with. Raises ValueError or TypeError when they cannot work together."""
    return PrintSettings(**values_in_force(kit_part, assignment))


def fingerprint(changes: Mapping[str, Any]) -> str:
    """Tells one set of changes from another: what a form saw, against what stands there now."""
    return hashlib.sha256(json.dumps(changes, sort_keys=True).encode()).hexdigest()[:16]
