"""What a page needs to show a measured part: addresses, the picture in words, the legend, and the viewer's data."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy

from lessons.models import MeasuredFile
from makerlab.components.figures import millimetres
from meshcheck.shown.reasons import NAMES

ASK_ABOVE_BYTES = 1_000_000  # a mesh larger than this is fetched only when somebody asks to see it
LEGEND = {  # in the order of what weighs most; the name is also the pattern's
    "crossing": (lazy("skin crosses itself"), lazy("Where the skin crosses itself it is chequered.")),
    "open": (lazy("beside a gap in the skin"), lazy("Beside a gap in the skin it has dark stripes.")),
    "thin": (lazy("wall too thin"), lazy("Walls that are too thin are cross-hatched in red.")),
    "steep": (lazy("steep underside"), lazy("Steep undersides have red stripes.")),
    "resting": (lazy("rests on the bed"), lazy("What rests on the bed is dotted.")),
}


@dataclass(frozen=True, slots=True)
class PartView:
    """``data`` goes to the viewer as JSON; ``legend`` is (name, words, flag bit) of what is pointed out; ``before`` is
    address, name and data of the version shown as a ghost."""

    mesh_url: str
    picture_url: str
    words: str
    legend: list[tuple[str, str, int]]
    data: dict[str, Any]
    faces: int
    faces_measured: int
    mesh_bytes: int
    hole: str
    before: dict[str, Any] | None

    @property
    def asks(self) -> bool:
        """Whether it is so big that it is fetched only when somebody asks."""
        return self.mesh_bytes > ASK_ABOVE_BYTES

    @property
    def json(self) -> str:
        return json.dumps(self.data)

    @property
    def before_json(self) -> str:
        return json.dumps(self.before["data"]) if self.before else ""

    @property
    def is_simpler(self) -> bool:
        return self.faces < self.faces_measured


def part_view(
    item: MeasuredFile, name: str, before: MeasuredFile | None = None, head: str = "", before_name: str = ""
) -> PartView | None:
    """``name`` begins the URL names of the item's mesh and picture. ``before`` is shown as a ghost, called ``head``;
    ``before_name`` begins its URL names where it is an item of another kind. None when nothing is shown of the item."""
    facts = item.shown
    if not facts:
        return None
    hole = _hole(item)
    return PartView(
        mesh_url=reverse(f"{name}-mesh", args=[item.pk]),
        picture_url=reverse(f"{name}-picture", args=[item.pk]),
        words=in_words(item),
        legend=[(key, str(LEGEND[key][0]), NAMES[key]) for key in LEGEND if facts["flags"].get(key)],
        data={"hole": hole, "bed": facts.get("bed_mm"), "below": facts["from_below"], "key": facts["key"]},
        faces=facts["faces"],
        faces_measured=facts["faces_measured"],
        mesh_bytes=facts["bytes"],
        hole=millimetres(hole["diameter"]) if hole else "",
        before=_ghost(before, before_name or name, head) if before is not None else None,
    )


def _ghost(item: MeasuredFile, name: str, head: str) -> dict[str, Any] | None:
    if not item.shown:
        return None
    return {"url": reverse(f"{name}-mesh", args=[item.pk]), "head": head, "data": {"hole": _hole(item)}}


def _hole(item: MeasuredFile) -> dict[str, Any] | None:
    """The first hole as the viewer draws it, in mm."""
    holes = (item.report or {}).get("holes")
    if not holes:
        return None
    hole = holes[0]
    return {
        "diameter": hole["diameter_mm"], "depth": hole["depth_mm"], "axis": hole["axis"], "centre": hole["centre_mm"],
    }  # fmt: skip


def in_words(item: MeasuredFile) -> str:
    """The picture in words: from where it is seen, the size, the hole and what is pointed out."""
    facts, report = item.shown or {}, item.report or {}
    words = [_("The part seen from below.") if facts.get("from_below") else _("The part seen from above.")]
    if report.get("bbox_mm"):
        x, y, z = (millimetres(side, 1) for side in report["bbox_mm"])
        words.append(_("It is %(x)s wide, %(y)s deep and %(z)s high.") % {"x": x, "y": y, "z": z})
    hole = _hole(item)
    if hole:
        words.append(_("The hole measures %(across)s.") % {"across": millimetres(hole["diameter"])})
    pointed_out = [str(sentence) for key, (_name, sentence) in LEGEND.items() if facts.get("flags", {}).get(key)]
    return " ".join([*words, *pointed_out])
