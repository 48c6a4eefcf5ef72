"""A browser without a screen, many of which fit in one process: it keeps its cookies, one connection and the token of
the form it last saw, and notes how long each answer took."""

from __future__ import annotations

import asyncio
import contextlib
import re
import secrets
import time
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="([^"]+)"')
GIVEN_UP_S = 120.0
HTMX = {"HX-Request": "true"}


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    text: str


@dataclass
class Notes:
    """Seconds by step, and what went wrong: a status of 500 or above, or no answer."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    errors: list[str] = field(default_factory=list)


class Visitor:
    def __init__(self, ports: list[int], notes: Notes, host: str = "127.0.0.1") -> None:
        self.ports, self.notes, self.host = ports, notes, host
        self.port = secrets.choice(ports)  # as the proxy spreads them
        self.cookies: dict[str, str] = {}
        self.token = ""
        self.line: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def get(self, step: str, path: str, **headers: str) -> Answer:
        return await self._noted(step, "GET", path, b"", headers)

    async def post(self, step: str, path: str, values: Mapping[str, str]) -> Answer:
        body = urlencode({"csrfmiddlewaretoken": self.token, **values}).encode()
        return await self._noted(step, "POST", path, body, {"Content-Type": "application/x-www-form-urlencoded"})

    async def upload(self, step: str, path: str, name: str, content: bytes) -> Answer:
        edge = secrets.token_hex(16)
        head = (
            f'--{edge}\r\nContent-Disposition: form-data; name="csrfmiddlewaretoken"\r\n\r\n{self.token}\r\n'
            f'--{edge}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n\r\n'
        )
        body = head.encode() + content + f"\r\n--{edge}--\r\n".encode()
        return await self._noted(step, "POST", path, body, {"Content-Type": f"multipart/form-data; boundary={edge}"})

    async def leave(self) -> None:
        if self.line:
            writer = self.line[1]
            self.line = None
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def _noted(self, step: str, method: str, path: str, body: bytes, headers: dict[str, str]) -> Answer:
        begun = time.perf_counter()
        try:
            answer = await asyncio.wait_for(self._asked(method, path, body, headers), GIVEN_UP_S)
        except (OSError, asyncio.IncompleteReadError, TimeoutError) as error:
            self.notes.errors.append(f"{step}: {type(error).__name__}")
            await self.leave()
            raise
        self.notes.seconds[step].append(time.perf_counter() - begun)
        if answer.status >= 500:
            self.notes.errors.append(f"{step}: {answer.status}")
        return answer

    async def _asked(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> Answer:
        """Once more on a new connection where the server had closed the kept one before it was asked."""
        kept = self.line is not None
        try:
            return await self._exchange(method, path, body, headers)
        except (ConnectionError, asyncio.IncompleteReadError):
            if not kept:
                raise
            await self.leave()
            return await self._exchange(method, path, body, headers)

    async def _exchange(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> Answer:
        if self.line is None:
            self.line = await asyncio.open_connection("127.0.0.1", self.port, limit=2**20)
        reader, writer = self.line
        sent = {
            "Host": self.host,
            "X-Forwarded-Proto": "https",
            "X-Forwarded-For": "203.0.113.7, 127.0.0.1",
            "Referer": f"https://{self.host}/",
            "Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items()),
            "Content-Length": str(len(body)),
            **headers,
        }
        head = "".join(f"{name}: {value}\r\n" for name, value in sent.items())
        writer.write(f"{method} {path} HTTP/1.1\r\n{head}\r\n".encode() + body)
        await writer.drain()
        status, answered, cookies = await _head(reader)
        self.cookies |= cookies
        text = (await _body(reader, answered, status)).decode("utf-8", "replace")
        if found := TOKEN.search(text):
            self.token = found[1]
        if answered.get("connection", "").lower() == "close":
            await self.leave()
        return Answer(status, answered, text)


async def _head(reader: asyncio.StreamReader) -> tuple[int, dict[str, str], dict[str, str]]:
    """Status, headers by lower-case name, and the cookies that were set."""
    lines = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
    headers: dict[str, str] = {}
    cookies: dict[str, str] = {}
    for line in filter(None, lines[1:]):
        name, _, value = line.partition(":")
        headers[name.lower()] = value.strip()
        if name.lower() == "set-cookie":
            cookie, _, held = value.strip().partition(";")[0].partition("=")
            cookies[cookie] = held
    return int(lines[0].split()[1]), headers, cookies


async def _body(reader: asyncio.StreamReader, headers: Mapping[str, str], status: int) -> bytes:
    if headers.get("transfer-encoding") == "chunked":
        found = b""
        while size := int((await reader.readline()).split(b";")[0], 16):
            found += await reader.readexactly(size)
            await reader.readexactly(2)
        await reader.readline()
        return found
    if status in (204, 304):
        return b""
    return await reader.readexactly(int(headers.get("content-length", "0")))
