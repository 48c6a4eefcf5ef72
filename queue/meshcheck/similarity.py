"""Is it the same design again? Compared by what turning, moving and other triangles do not change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from meshcheck.types import Basics, Signature, Unknown

# Rounding to float32 or two decimals, and a circle exported with 96 instead of 128 corners (0.03 % less area), stay
# within this share. A part that weighs one percent more does not, nor does one whose hub is 0.4 mm narrower. The same
# drawing exported half as fine (64 instead of 128 corners: 0.12 %) counts as another one: a false match is worse.
SAME_SHARE = 0.001


def signature(basics: Basics) -> Signature | Unknown:
    """The signature of one part; Unknown where it encloses no volume."""
    if isinstance(basics.volume_mm3, Unknown):
        return basics.volume_mm3
    if isinstance(basics.inertia_mm5, Unknown):
        return basics.inertia_mm5
    moments = np.linalg.eigvalsh(np.array(basics.inertia_mm5))
    a, b, c = np.sqrt(np.maximum(moments, 0) / basics.volume_mm3)
    return Signature(basics.volume_mm3, basics.area_mm2, (float(a), float(b), float(c)))


def is_same_design(a: Signature, b: Signature, share: float = SAME_SHARE) -> bool:
    """Whether two parts agree in all five figures within ``share``. A part and its mirror image agree too."""
    return all(abs(x - y) <= share * max(abs(x), abs(y)) for x, y in zip(_figures(a), _figures(b), strict=True))


def _figures(signature: Signature) -> Sequence[float]:
    return (signature.volume_mm3, signature.area_mm2, *signature.gyration_mm)


def signature_json(signature: Signature) -> dict[str, Any]:
    return {
        "volume_mm3": signature.volume_mm3,
        "area_mm2": signature.area_mm2,
        "gyration_mm": list(signature.gyration_mm),
    }


def signature_from_json(values: Mapping[str, Any]) -> Signature:
    """The signature as a report holds it. KeyError or ValueError where it is none."""
    a, b, c = (float(value) for value in values["gyration_mm"])
    return Signature(float(values["volume_mm3"]), float(values["area_mm2"]), (a, b, c))
