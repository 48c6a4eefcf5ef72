"""One command for a newcomer: the invented school, the web server and a worker."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
import webbrowser
from typing import Any

import waitress
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.serving import OPTIONS
from makerlab.supervisor import MANAGE, WorkerSupervisor

HOST = "127.0.0.1"


class Command(BaseCommand):
    help = "Set up the invented school if there is none, then run the web server and one worker. Ctrl-C stops both."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--reset", action="store_true", help="forget everything in the demo's folder first")
        parser.add_argument("--no-open", action="store_true", help="do not open the browser")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.HTTPS or os.environ.get("DATABASE_URL") or settings.ENVIRONMENT.s3_bucket:
            raise CommandError(
                "The demo runs on its own SQLite database and its own files; unset MAKERLAB_HTTPS, DATABASE_URL and "
                "MAKERLAB_S3_BUCKET."
            )
        os.environ["MAKERLAB_DEMO"] = "1"
        settings.DEMO = True
        server = self.server(options["port"])
        if options["reset"]:
            self.reset()
        settings.VAR.mkdir(parents=True, exist_ok=True)
        call_command("migrate", verbosity=0)
        # a process of its own: the web server never loads the numerical engine
        subprocess.run([sys.executable, str(MANAGE), "load_demo"], check=True)
        self.serve(server, f"http://{HOST}:{options['port']}/", open_browser=not options["no_open"])

    def server(self, port: int) -> Any:
        """Bind first, so that a taken port is told before minutes of preparation."""
        from makerlab.wsgi import application

        try:
            largest = max(settings.UPLOAD_MAX_BYTES, settings.PACKAGE_MAX_BYTES, settings.PREPARED_MAX_BYTES) + 65536
            return waitress.create_server(application, host=HOST, port=port, max_request_body_size=largest, **OPTIONS)
        except OSError as error:
            raise CommandError(f"Port {port} cannot be used ({error}). Try another one: --port 8001") from error

    def reset(self) -> None:
        for name in ("makerlab.sqlite3", "makerlab.sqlite3-wal", "makerlab.sqlite3-shm"):
            (settings.VAR / name).unlink(missing_ok=True)
        shutil.rmtree(settings.MEDIA_ROOT, ignore_errors=True)

    def serve(self, server: Any, address: str, open_browser: bool) -> None:
        stop = threading.Event()
        # set by hand: a shell that starts us in the background lets us ignore Ctrl-C, and a service manager sends TERM
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: stop.set())
        supervisor = WorkerSupervisor(self.say)
        supervisor.start()
        threading.Thread(target=server.run, name="web", daemon=True).start()
        self.say(f"Makerlab runs at {address}")
        self.say("Sign in there as student, teacher, technician or administrator by one click. Ctrl-C stops it.")
        if open_browser:
            webbrowser.open(address)
        while not stop.wait(1.0):  # a wait without end cannot be interrupted on Windows
            pass
        self.say("Stopping ...")
        server.close()
        supervisor.stop()

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
