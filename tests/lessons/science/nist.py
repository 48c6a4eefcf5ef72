"""NIST Statistical Reference Datasets, read from the files that scipy's own wheel carries for its tests."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import scipy.stats
from numpy.typing import NDArray

_DATA = Path(scipy.stats.__file__).parent / "tests" / "data"


def norris() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """x and y (36,) of Norris, "Calibration of Ozone Monitors"; data stand in lines 61 to 96 of the file."""
    table = np.loadtxt((_DATA / "nist_linregress" / "Norris.dat").read_text().splitlines()[60:96])
    return table[:, 1], table[:, 0]


def sirstv() -> list[list[float]]:
    """Five instruments, five readings each (Ehrstein and Croarkin); data stand in lines 61 to 85 of the file."""
    table = np.loadtxt((_DATA / "nist_anova" / "SiRstv.dat").read_text().splitlines()[60:85])
    return [list(map(float, table[table[:, 0] == group, 1])) for group in range(1, 6)]
