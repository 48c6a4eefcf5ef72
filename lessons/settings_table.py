"""Every print setting with its words: what is usual in a classroom, on whose word, and what more of it does."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Words = str | Promise
SOURCE = _("common practice, no source")
LAYER_LIMIT = _("at most 0.8 of the nozzle")


@dataclass(frozen=True, slots=True)
class Setting:
    """One field of PrintSettings for people. ``kind``: mm, count, percent, speed or choice. ``usual``: what classrooms
    use (SOURCE says on whose word). ``effect``: what more of it does."""

    name: str
    label: Words
    kind: str
    usual: Words = ""
    effect: Words = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Settings that are thought of together."""

    title: Words
    settings: tuple[Setting, ...]


GROUPS = (
    Group(
        _("Filament and nozzle"),
        (
            Setting(
                "material",
                _("Material"),
                "choice",
                _("PLA"),
                _("Low in fumes beside the others. Only printers with it on a spool are planned without a swap."),
            ),
            Setting("nozzle_mm", _("Nozzle"), "mm", _("0.4 mm"), _("Only printers with this nozzle are planned.")),
        ),
    ),
    Group(
        _("Layers and lines"),
        (
            Setting(
                "layer_height_mm",
                _("Layer height"),
                "mm",
                _("0.12 to 0.28 mm"),
                _("Thinner layers look finer and take longer."),
            ),
            Setting(
                "first_layer_mm", _("First layer"), "mm", LAYER_LIMIT, _("A thick first layer forgives an uneven bed.")
            ),
            Setting(
                "line_width_mm",
                _("Line width"),
                "mm",
                _("0.40 to 0.48 mm; 0.8 to 2 times the nozzle"),
                _("Thinner than two lines, a wall may not print."),
            ),
        ),
    ),
    Group(
        _("Walls and filling"),
        (
            Setting(
                "walls",
                _("Walls"),
                "count",
                _("2 to 3, which is 0.8 to 1.2 mm"),
                _("More walls are stronger and heavier."),
            ),
            Setting(
                "top_layers",
                _("Top skin layers"),
                "count",
                _("3 to 5, at least 0.8 mm"),
                _("Too few leave holes in the top."),
            ),
            Setting("bottom_layers", _("Bottom skin layers"), "count", _("3 to 5, at least 0.8 mm")),
            Setting(
                "infill_share",
                _("Infill"),
                "percent",
                _("10 to 20 %; 100 % only for tiny parts"),
                _("More is heavier and takes longer."),
            ),
        ),
    ),
    Group(
        _("Holding on and holding up"),
        (
            Setting(
                "raft_layers",
                _("Raft layers"),
                "count",
                _("none"),
                _("Throw-away layers under the whole part, for parts that come off the bed."),
            ),
            Setting(
                "brim_lines",
                _("Brim lines"),
                "count",
                _("none; 5 to 10 for small feet"),
                _("A ring on the first layer, for grip; it is cut off by hand."),
            ),
            Setting(
                "support",
                _("Support"),
                "choice",
                _("where it is needed"),
                _("Holds up what leans out more than 45° from upright."),
            ),
        ),
    ),
    Group(
        _("Speeds"),
        (
            Setting(
                "wall_mm_s",
                _("Walls"),
                "speed",
                _("40 to 60 mm/s; newer printers 100 to 250"),
                _("The outer wall; inner walls keep the printer's own proportion to it."),
            ),
            Setting(
                "infill_mm_s",
                _("Filling"),
                "speed",
                _("40 to 60 mm/s; newer printers 100 to 250"),
                _("The filling; skins and support keep the printer's own proportion to it."),
            ),
            Setting("first_layer_mm_s", _("First layer"), "speed", _("about 20 mm/s"), _("Slow sticks better.")),
            Setting(
                "travel_mm_s",
                _("Travel"),
                "speed",
                _("100 to 150 mm/s; newer printers more"),
                _("Moves on which nothing is laid down."),
            ),
        ),
    ),
)
SETTINGS = {setting.name: setting for group in GROUPS for setting in group.settings}
SUPPORT_WORDS = {
    "auto": _("where it is needed"),
    "on": _("wherever it leans out"),
    "off": _("none"),
}
