"""What filament is called, the same on every page: "white PLA"; in Spanish "PLA blanco"."""

from __future__ import annotations

from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import pgettext_lazy

# the usual names of colours; any other is told as it was typed
COLOURS: dict[str, str | Promise] = {
    "black": pgettext_lazy("colour of filament", "black"),
    "blue": pgettext_lazy("colour of filament", "blue"),
    "brown": pgettext_lazy("colour of filament", "brown"),
    "clear": pgettext_lazy("colour of filament", "clear"),
    "gold": pgettext_lazy("colour of filament", "gold"),
    "gray": pgettext_lazy("colour of filament", "grey"),
    "green": pgettext_lazy("colour of filament", "green"),
    "grey": pgettext_lazy("colour of filament", "grey"),
    "natural": pgettext_lazy("colour of filament", "natural"),
    "orange": pgettext_lazy("colour of filament", "orange"),
    "pink": pgettext_lazy("colour of filament", "pink"),
    "purple": pgettext_lazy("colour of filament", "purple"),
    "red": pgettext_lazy("colour of filament", "red"),
    "silver": pgettext_lazy("colour of filament", "silver"),
    "white": pgettext_lazy("colour of filament", "white"),
    "yellow": pgettext_lazy("colour of filament", "yellow"),
}


def filament(colour: str, material: str) -> str:
    """Colour and material in the reader's language and order."""
    shown = COLOURS.get(colour.strip().casefold(), colour)
    return _("%(colour)s %(material)s") % {"colour": shown, "material": material}


def filament_of(thing: Any) -> str:
    """Of whatever has a colour and a material: a spool, a plate, a part."""
    get = thing.get if isinstance(thing, dict) else lambda name: getattr(thing, name)
    return filament(str(get("colour")), str(get("material")))
