"""One layer of a part or a plate as its page shows it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext as _

from lessons.told import reworded
from makerlab.work.child import ChildFailed
from makerlab.work.registry import GiveUp
from submissions.wording import line_words

Layer = dict[str, Any]


def asked_layer(request: HttpRequest) -> int:
    """The layer asked for, from 0; the first when it makes no sense."""
    asked = request.GET.get("layer", "")
    return int(asked) - 1 if asked.isascii() and asked.isdecimal() and len(asked) < 7 else 0


def shown_layer(draw: Callable[[], Layer]) -> Layer:
    """What ``draw`` answers (fields of meshcheck.inside.LayerView, or ``unknown``) with numbers from 1 and a legend;
    the reason when it cannot be drawn now."""
    try:
        view = draw()
    except (ChildFailed, GiveUp, FileNotFoundError):
        return {"unknown": _("This layer cannot be drawn now. Try again in a moment.")}
    if "layer" not in view:
        return reworded(view)
    above = view["overhang_layer"]
    return {
        **view,
        "number": view["layer"] + 1,
        "overhang_number": None if above is None else above + 1,
        "legend": [(kind.replace("_", "-"), line_words(kind)) for kind, _words in reversed(view["kinds"])],
    }
