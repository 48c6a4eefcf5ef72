"""Does the background work of the embedded profile until stopped."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from types import FrameType
from typing import Any

import psutil
from django.core.management.base import BaseCommand, CommandParser

from makerlab.work import child
from makerlab.work.loop import run_forever
from makerlab.work.warmup import warm_up

READY = "The worker is ready."


class Command(BaseCommand):
    help = "Measure parts and plan rooms in the background. Stop it with Ctrl-C; a job in hand is finished first."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--parent", type=int, metavar="PID", help="end when this process has ended")
        parser.add_argument("--cold", action="store_true", help="do not compile the numerical kernels first")

    def handle(self, *args: Any, **options: Any) -> None:
        stop = threading.Event()

        def ask_to_stop(number: int, frame: FrameType | None) -> None:
            stop.set()

        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, ask_to_stop)
        if not options["cold"]:
            warm_up(self.say, stop)
            child.run("makerlab.work.child:ping", {})
        if not stop.is_set():
            self.say(READY)
            run_forever(stop, keep_on=self.parent_lives(options["parent"]))

    def parent_lives(self, process_id: int | None) -> Callable[[], bool]:
        """Whether the process that started us is still there; one without a parent always goes on."""
        if process_id is None:
            return lambda: True
        parent = psutil.Process(process_id)
        return lambda: parent.is_running()

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
