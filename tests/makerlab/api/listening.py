"""A real HTTP server on loopback that takes messages, keeps them, and answers as it is told."""

from __future__ import annotations

import contextlib
import socket
import threading
from dataclasses import dataclass
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self

from makerlab.api.sending import Target


@dataclass
class Got:
    """One message as it came in."""

    path: str
    headers: Message
    body: str


class Listener:
    """Answers with ``answers`` one after the other, the last for all further ones."""

    def __init__(self, answers: list[int] | None = None, location: str = "", drips: bool = False) -> None:
        self.answers, self.location, self.drips = list(answers or [204]), location, drips
        self.got: list[Got] = []
        self.over = threading.Event()
        listener = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"])).decode()
                listener.got.append(Got(self.path, self.headers, body))
                if listener.drips:
                    listener.drip(self)
                    return
                self.send_response(listener.answers.pop(0) if len(listener.answers) > 1 else listener.answers[0])
                if listener.location:
                    self.send_header("Location", listener.location)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_args: Any) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = False
        self.server.handle_error = lambda *_args: None  # type: ignore[method-assign]  # one that talks no HTTP
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.05,))

    def drip(self, handler: BaseHTTPRequestHandler) -> None:
        """An answer that never ends, until the other side is gone or the test is over."""
        with contextlib.suppress(OSError):
            handler.wfile.write(b"HTTP/1.1 200 OK\r\nX: ")
            while not self.over.wait(0.05):
                handler.wfile.write(b"x")
                handler.wfile.flush()

    @property
    def port(self) -> int:
        return int(self.server.server_address[1])

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/told"

    @property
    def target(self) -> Target:
        return Target("127.0.0.1", self.port, "127.0.0.1", "/told", False)

    def only(self, host: str, port: int) -> list[Any]:
        """A name server that knows this address alone; whoever asks for a name is found out."""
        if host != "127.0.0.1":
            raise AssertionError(f"{host} was looked up")
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (host, port))]

    def __enter__(self) -> Self:
        self.thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        self.over.set()
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()
