"""Versions of a design side by side with the kit's own part: what changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy

from lessons.models import KitPart, MeasuredFile
from lessons.part_view import PartView, part_view
from makerlab.components.figures import grams, hours_and_minutes, millimetres, with_unit
from submissions.models import Submission

GRAM_CM2_PER_KG_M2 = 1e7
VERSIONS_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Row:
    """One measure: its name, a text for each column, and in words how the last differs from the one before."""

    name: str
    cells: list[str]
    change: str


@dataclass(frozen=True, slots=True)
class Table:
    """Columns are the kit's part, when it is measured, and the newest versions; the last is the one looked at."""

    heads: list[str]
    rows: list[Row]
    items: list[MeasuredFile]
    pictures: list[str]  # addresses of the small pictures, empty where there is none


@dataclass(frozen=True, slots=True)
class Measure:
    """How one figure is taken from a file and written. ``less`` and ``more`` name the change."""

    name: Any
    value: Callable[[MeasuredFile], float | None]
    text: Callable[[float | None], str]
    less: Any
    more: Any


def spin_inertia_gcm2(item: MeasuredFile) -> float | None:
    """Moment of inertia about the axis of the first hole, as a solid of the print's material, in g cm2; None without
    a hole or a closed skin."""
    report = item.report or {}
    tensor, holes = report.get("inertia_kg_m2"), report.get("holes")
    if not tensor or not holes or (item.copies_in_file or 1) > 1:
        return None
    axis = holes[0]["axis"]
    about = sum(axis[i] * tensor[i][j] * axis[j] for i in range(3) for j in range(3))
    return float(about) * GRAM_CM2_PER_KG_M2


def hole_mm(item: MeasuredFile) -> float | None:
    """Diameter of the first hole."""
    holes = (item.report or {}).get("holes")
    return float(holes[0]["diameter_mm"]) if holes else None


def of_one(value: float | None, item: MeasuredFile) -> float | None:
    """The share of one copy, where a file holds several of them."""
    return None if value is None else value / max(1, item.copies_in_file)


def if_alone(value: float | None, item: MeasuredFile) -> float | None:
    """A side of the file's box is a side of the part only when the part is alone in it."""
    return value if item.copies_in_file <= 1 else None


def _inertia_text(value: float | None) -> str:
    return with_unit(value, "g·cm²", 1)


SIZE, HEIGHT = (lazy("smaller"), lazy("larger")), (lazy("lower"), lazy("higher"))
MASS, AMOUNT = (lazy("lighter"), lazy("heavier")), (lazy("less"), lazy("more"))
BORE = (lazy("narrower"), lazy("wider"))

MEASURES = (
    Measure(lazy("Width"), lambda item: if_alone(item.width_mm, item), millimetres, *SIZE),
    Measure(lazy("Depth"), lambda item: if_alone(item.depth_mm, item), millimetres, *SIZE),
    Measure(lazy("Height"), lambda item: item.height_mm, millimetres, *HEIGHT),
    Measure(lazy("Mass of one"), lambda item: of_one(item.mass_g, item), grams, *MASS),
    Measure(lazy("Spin inertia"), spin_inertia_gcm2, _inertia_text, *AMOUNT),
    Measure(lazy("Hole"), hole_mm, millimetres, *BORE),
    Measure(lazy("To print one"), lambda item: of_one(item.duration_s, item), hours_and_minutes, *AMOUNT),
)


def side_by_side(kit_part: KitPart, versions: Sequence[Submission], looked_at: Submission) -> Table | None:
    """The kit's part, the versions before the one looked at, and that one. None when there is nothing to compare."""
    measured = [version for version in versions if version.version <= looked_at.version and version.report]
    shown = measured[-VERSIONS_SHOWN:]
    items: list[MeasuredFile] = [*([kit_part] if kit_part.report else []), *shown]
    if len(items) < 2 or not shown or shown[-1].pk != looked_at.pk:
        return None
    heads = [_("Starting part") if isinstance(item, KitPart) else _version_head(item) for item in items]
    rows = [_row(measure, items) for measure in MEASURES]
    return Table(heads, [row for row in rows if row is not None], items, [_small_picture(item) for item in items])


def _small_picture(item: MeasuredFile) -> str:
    name = "lessons:kit-part-small" if isinstance(item, KitPart) else "submissions:submission-small"
    return reverse(name, args=[item.pk]) if item.shown else ""


def version_view(item: Submission, versions: Sequence[Submission]) -> PartView | None:
    """The version in 3D, with the one before it, of the same design, as a ghost."""
    earlier = [version for version in versions if version.version < item.version and version.shown]
    before = max(earlier, key=lambda version: version.version, default=None)
    return part_view(item, "submissions:submission", before, _version_head(before) if before else "")


def view_over_kit(item: Submission) -> PartView | None:
    """The version in 3D with the kit's own part as a ghost."""
    return part_view(item, "submissions:submission", item.kit_part, _("Starting part"), "lessons:kit-part")


def _version_head(item: MeasuredFile) -> str:
    assert isinstance(item, Submission)
    return _("Version %(number)d") % {"number": item.version}


def _row(measure: Measure, items: Sequence[MeasuredFile]) -> Row | None:
    values = [measure.value(item) for item in items]
    if all(value is None for value in values):
        return None
    return Row(str(measure.name), [measure.text(value) for value in values], _change(measure, values[-2], values[-1]))


def _change(measure: Measure, before: float | None, now: float | None) -> str:
    """``3.3 g lighter``, or ``the same`` when the texts would not tell them apart."""
    if before is None or now is None:
        return ""
    if measure.text(before) == measure.text(now):
        return _("the same")
    word = measure.less if now < before else measure.more
    return f"{measure.text(abs(now - before))} {word}"
