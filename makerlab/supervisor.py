"""Keeps the embedded worker alive beside the web server."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

MANAGE = Path(__file__).resolve().parent.parent / "manage.py"
RESTART_S = 1.0
STOP_S = 15.0


class WorkerSupervisor:
    """Starts ``manage.py worker`` as a process of its own and starts it again when it dies.

    ``say`` gets every line the worker prints. Jobs of a killed worker are given back by the next one.
    """

    def __init__(self, say: Callable[[str], None], arguments: list[str] | None = None) -> None:
        self._say = say
        self._command = worker_command(["--parent", str(os.getpid()), *(arguments or [])])
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._keep_running, name="worker-supervisor", daemon=True)
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Ask the worker to finish its job and end; kill it when it does not."""
        self._stop.set()
        process = self.process
        if process is not None and process.poll() is None:
            process.terminate() if os.name == "nt" else process.send_signal(signal.SIGTERM)
            try:
                process.wait(STOP_S)
            except subprocess.TimeoutExpired:
                process.kill()
        self._thread.join(STOP_S)

    def _keep_running(self) -> None:
        while not self._stop.is_set():
            # its own session: Ctrl-C in the terminal reaches only us, and we tell the worker
            self.process = subprocess.Popen(
                self._command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True
            )
            assert self.process.stdout is not None
            for line in self.process.stdout:
                self._say(line.rstrip())
            code = self.process.wait()
            if not self._stop.is_set():
                self._say(f"The worker ended (code {code}); starting it again.")
                self._stop.wait(RESTART_S)


def worker_command(arguments: list[str]) -> list[str]:
    return [sys.executable, str(MANAGE), "worker", *arguments]
