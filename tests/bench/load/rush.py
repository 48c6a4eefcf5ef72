"""The morning bell: 120 students sign in and upload within a minute, 300 pages ask again and again, the teacher reviews
and the technician's bench is open. What is asked, and how often, is what the pages themselves would ask."""

from __future__ import annotations

import asyncio
import json
import re
import time
from dataclasses import dataclass, field
from random import Random
from typing import Any

from tests.bench.load.visitor import HTMX, Answer, Notes, Visitor

TRIGGER = re.compile(r'hx-get="([^"]+)"[^>]*hx-trigger="every (\d+)s"')
HEADERS = re.compile(r"hx-headers='([^']+)'")
REPORT = re.compile(r"/submissions/(\d+)/")
APPROVE = re.compile(r'action="(/review/\d+/approve/[^"]*)"')


def headers_of(text: str) -> dict[str, str]:
    """What a page has its own questions sent with (hx-headers), but the token of its forms."""
    found: dict[str, str] = {}
    for told in HEADERS.findall(text):
        found |= json.loads(told)
    return {name: value for name, value in found.items() if name != "X-CSRFToken"}


@dataclass(frozen=True)
class Bell:
    """How hard it rings. ``pages``: how many ask at the same time, the students' own among them."""

    within_s: float = 60.0
    pages: int = 300
    drained_s: float = 900.0  # until the last verdict; more means that it hangs
    seed: int = 1


@dataclass
class Outcome:
    """``verdict_s``: from choosing the file to its verdict, by student."""

    notes: Notes = field(default_factory=Notes)
    verdict_s: list[float] = field(default_factory=list)
    unanswered: int = 0
    seconds: float = 0.0
    handed_in: int = 0
    approved: int = 0


class Rush:
    def __init__(self, scene: dict[str, Any], ports: list[int], files: list[bytes], bell: Bell, host: str) -> None:
        self.scene, self.ports, self.files, self.bell, self.host = scene, ports, files, bell, host
        self.outcome = Outcome()
        self.over = asyncio.Event()
        self.visitors: list[Visitor] = []
        self.open_pages: list[asyncio.Task[None]] = []  # of those who have handed in

    async def run(self) -> Outcome:
        begun = time.perf_counter()
        dice = Random(self.bell.seed)
        arrivals = [dice.uniform(0, self.bell.within_s) for _file in self.files]
        coming = list(zip(self.scene["students"], self.files, arrivals, strict=False))
        staff = [asyncio.create_task(self._staff("teacher")), asyncio.create_task(self._staff("technician"))]
        onlookers = [
            asyncio.create_task(self._onlooker(number)) for number in range(max(0, self.bell.pages - len(coming)))
        ]
        tasks = [asyncio.create_task(self._student(*each)) for each in coming]
        done, hanging = await asyncio.wait(tasks, timeout=self.bell.within_s + self.bell.drained_s)
        self.outcome.seconds = time.perf_counter() - begun
        self.outcome.unanswered = len(hanging) + sum(1 for task in done if task.exception() or not task.result())
        self.over.set()
        for task in hanging:
            task.cancel()
        await asyncio.wait([*staff, *onlookers, *self.open_pages], timeout=60)
        for visitor in self.visitors:
            await visitor.leave()
        return self.outcome

    def _visitor(self) -> Visitor:
        self.visitors.append(Visitor(self.ports, self.outcome.notes, self.host))
        return self.visitors[-1]

    async def _signed_in(self, student: dict[str, str]) -> Visitor:
        visitor, pages = self._visitor(), self.scene["pages"]
        await visitor.get("sign-in page", pages["student sign-in"])
        values = {name: value for name, value in student.items() if name != "upload"}
        answer = await visitor.post("student signs in", pages["student sign-in"], values)
        if answer.status != 302:
            visitor.notes.errors.append(f"student signs in: {answer.status}")
        return visitor

    async def _student(self, student: dict[str, str], content: bytes, arrives_s: float) -> bool:
        """Whether there was a verdict."""
        await asyncio.sleep(arrives_s)
        visitor = await self._signed_in(student)
        await visitor.get("my parts", self.scene["pages"]["my parts"])
        chosen = time.perf_counter()
        answer = await visitor.upload("upload answered", student["upload"], "wheel.stl", content)
        found = REPORT.search(answer.headers.get("location", ""))
        if answer.status != 302 or not found:
            visitor.notes.errors.append(f"upload answered: {answer.status}")
            return False
        answer = await visitor.get("report", found[0])
        inherited = headers_of(answer.text)
        while again := TRIGGER.search(answer.text):
            await asyncio.sleep(float(again[2]))
            fresh = await visitor.get("poll of a report", again[1].replace("&amp;", "&"), **HTMX, **inherited)
            answer = answer if fresh.status == 204 else fresh
        self.outcome.verdict_s.append(time.perf_counter() - chosen)
        await visitor.get("report", found[0])
        await visitor.post("hand in", f"{found[0]}hand-in/", {"note": ""})
        mine = await visitor.get("my parts", self.scene["pages"]["my parts"])
        self.open_pages.append(asyncio.create_task(self._watch(visitor, mine, "my parts")))
        return True

    async def _onlooker(self, number: int) -> None:
        """A page of a team mate that stands open the whole time."""
        visitor = self._visitor()
        visitor.cookies = {self.scene["cookie"]: self.scene["open"][number % len(self.scene["open"])]}
        await self._over(number * 0.05)
        await self._watch(visitor, await visitor.get("my parts", self.scene["pages"]["my parts"]), "my parts")

    async def _staff(self, role: str) -> None:
        visitor, pages = self._visitor(), self.scene["pages"]
        await visitor.get("sign-in page", pages["staff sign-in"])
        await visitor.post("staff sign in", pages["staff sign-in"], self.scene["staff"][role])
        if role == "technician":
            await self._watch(visitor, await visitor.get("bench", pages["bench"]), "bench")
            return
        board = self._visitor()
        board.cookies = dict(visitor.cookies)
        watched = asyncio.create_task(self._watch(board, await board.get("today", pages["today"]), "today"))
        while not self.over.is_set():
            answer = await visitor.get("review desk", pages["review"])
            if answer.status == 302:
                answer = await visitor.get("review desk", answer.headers["location"])
            await self._over(3)
            if approve := APPROVE.search(answer.text):
                answer = await visitor.post("approve", approve[1], {})
                self.outcome.approved += answer.status == 302
        await watched

    async def _watch(self, visitor: Visitor, page: Answer, name: str) -> None:
        """Ask as the page says, as long as it says so, until the rush is over."""
        answer, inherited = page, headers_of(page.text)
        while (again := TRIGGER.search(answer.text)) and not self.over.is_set():
            if await self._over(float(again[2])):
                return  # not once more, all three hundred in the same moment
            fresh = await visitor.get(f"poll of {name}", again[1].replace("&amp;", "&"), **HTMX, **inherited)
            answer = answer if fresh.status == 204 else fresh

    async def _over(self, within_s: float) -> bool:
        """Whether the rush is over before so many seconds have passed."""
        try:
            return await asyncio.wait_for(self.over.wait(), within_s)
        except TimeoutError:
            return False
