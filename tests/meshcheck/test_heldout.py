"""Whole checks on random files: never an exception, never a wrong hole without saying that it is unsure.

What is true of each file is known from how it was made (``heldout``).
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from meshcheck.check import check_part
from meshcheck.picture import draw
from meshcheck.report import report_json
from meshcheck.types import Gauge, Hole, Report, Verdict, known

from .heldout import HeldOut, held_out

# Clean walls within 5e-3 mm (six digits of text 120 mm from the origin leave 1e-3), uneven ones by their unevenness.
CLEAN_MM = 5e-3


def checked(file: HeldOut) -> Report:
    gauge = Gauge(hole_diameter_mm=file.bore_mm) if file.bore_mm else None
    report = check_part(file.data, file.name, gauge=gauge, unit=file.unit)
    json.dumps(report_json(report), allow_nan=False)
    assert draw(report)
    return report


def wrong(file: HeldOut, hole: Hole) -> list[str]:
    """What a hole says that is not so."""
    assert file.bore_mm is not None
    slack = 2 * file.unevenness_mm
    off = {
        "diameter": abs(hole.diameter_mm - file.bore_mm) > CLEAN_MM + slack,
        "depth": abs(hole.depth_mm - file.depth_mm) > 0.02 + slack,
        "through": hole.through != file.through,
        "obstructed": hole.obstructed,
        "centre": abs((known(hole.eccentricity_mm) or 0.0) - file.eccentricity_mm) > 0.02 + slack,
        # a thinned circle has longer sides than it was drawn with: then less passes, and that is true
        "free width": hole.free_diameter_mm > file.bore_mm * np.cos(np.pi / file.bore_facets) + CLEAN_MM + slack,
    }
    return [name for name, is_off in off.items() if is_off]


def hold(seeds: range) -> None:
    for seed in seeds:
        file = held_out(seed)
        report = checked(file)
        assert report.verdict is not Verdict.REJECTED, file.told
        assert report.basics is not None
        volume = known(report.basics.volume_mm3)
        if volume is not None:
            slack = 1e-3 + 3 * file.unevenness_mm * report.basics.area_mm2 / file.volume_mm3
            assert volume == pytest.approx(file.volume_mm3, rel=slack), file.told
        else:  # rounding to two decimals may make fine triangles run into each other; then it is said
            assert report.verdict in (Verdict.ADVICE, Verdict.MUST_FIX)
        if file.bore_mm is None:
            continue
        hubs = [hole for hole in report.holes if hole.hub] if isinstance(report.holes, tuple) else []
        assert hubs, file.told
        assert not hubs[0].certain or not wrong(file, hubs[0]), (wrong(file, hubs[0]), file.told)


def test_twenty_files() -> None:
    """``tests/bench/mesh/test_search.py`` tries hundreds."""
    hold(range(100, 120))


def test_files_that_were_once_wrong() -> None:
    """Kept from earlier searches: noise that hid part of a wall, a wide wheel whose spokes outweigh its
    flat sides, rounding at the end of a hole taken for a floor, an uneven floor taken for something in the way."""
    for seed in (1110, 1381, 7017, 7129, 7140, 31291, 1900995):
        hold(range(seed, seed + 1))


def test_the_same_seed_makes_the_same_file() -> None:
    assert held_out(5).data == held_out(5).data
    assert held_out(5).data != held_out(6).data
