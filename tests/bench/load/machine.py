"""What the processes of a profile take while a rush goes on."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import median

import psutil

EVERY_S = 0.5
MB = 1e6


@dataclass
class Taken:
    """CPU seconds; resident memory in bytes at the start, at its highest and at the end, children counted."""

    cpu_s: float = 0.0
    first_bytes: int = 0
    most_bytes: int = 0
    last_bytes: int = 0
    samples: list[int] = field(default_factory=list)  # the same, each time it was looked at
    seen: dict[int, float] = field(default_factory=dict)  # CPU by process, as it was last seen

    @property
    def growth(self) -> float:
        """How much more memory the last tenth of the time took than the second tenth (the first warms up), as a share:
        0.1 is a tenth more. Medians."""
        tenth = len(self.samples) // 10
        if tenth == 0:
            raise ValueError("looked at less than ten times")
        return median(self.samples[-tenth:]) / median(self.samples[tenth : 2 * tenth]) - 1


class Watch:
    """Looks at named processes and all below them, twice a second, until it is stopped."""

    def __init__(self, processes: Mapping[str, int]) -> None:
        self.processes = dict(processes)
        self.taken = {name: Taken() for name in processes}
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._look_again, daemon=True)

    def __enter__(self) -> Watch:
        self.thread.start()
        return self

    def __exit__(self, *_why: object) -> None:
        self.over.set()
        self.thread.join()
        for taken in self.taken.values():
            taken.cpu_s = sum(taken.seen.values())

    def _look_again(self) -> None:
        begun: dict[int, float] = {}
        while True:
            for name, pid in self.processes.items():
                self._look(self.taken[name], pid, begun)
            if self.over.wait(EVERY_S):
                return

    def _look(self, taken: Taken, pid: int, begun: dict[int, float]) -> None:
        resident = 0
        for process in _family(pid):
            try:
                times, resident = process.cpu_times(), resident + process.memory_info().rss
            except psutil.NoSuchProcess:
                continue
            spent = times.user + times.system
            first = begun.setdefault(process.pid, spent if process.pid == pid else 0.0)
            taken.seen[process.pid] = spent - first
        if resident:
            taken.first_bytes = taken.first_bytes or resident
            taken.most_bytes, taken.last_bytes = max(taken.most_bytes, resident), resident
            taken.samples.append(resident)


def _family(pid: int) -> list[psutil.Process]:
    try:
        parent = psutil.Process(pid)
        return [parent, *parent.children(recursive=True)]
    except psutil.NoSuchProcess:
        return []
