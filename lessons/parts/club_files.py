"""The wheels the teams of the invented club drew, printed and timed on its last lab day: one lighter, one heavier."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from lessons.parts.solids import MeshArrays
from lessons.parts.wheel import STARTING_WHEEL, wheel

COARSE = replace(STARTING_WHEEL, facets=64, bore_facets=48)  # smaller files
THIN = replace(COARSE, rim_mm=3.6, width_mm=6.4, spoke_width_mm=4.0, spoke_height_mm=6.4)
CURVED = replace(COARSE, spokes=6, spoke_width_mm=5.0, spoke_shape="curved")
FOUR_SPOKES = replace(COARSE, rim_mm=4.0, spokes=4)
THREE_SPOKES = replace(COARSE, rim_mm=4.6, spokes=3, spoke_width_mm=7.0)

CLUB_FILES: dict[str, Callable[[], MeshArrays]] = {
    "snails-wheel-1": lambda: wheel(THIN),
    "wasps-wheel-1": lambda: wheel(CURVED),
    "gudgeons-wheel-1": lambda: wheel(FOUR_SPOKES),
    "linnets-wheel-1": lambda: wheel(THREE_SPOKES),
}
