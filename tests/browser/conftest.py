"""A real demo, started by its own command, and a real browser in front of it."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil
import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, sync_playwright

from tests.conftest import free_port

PIN = "cart,clock,flag,ruler"  # of every student of the demo
ROOT = Path(__file__).resolve().parents[2]
START_S = 420
# What a child says whose worker was killed (kill -9) while it was being told what to do: nothing is wrong with it.
ORPHAN = re.compile(
    r"Traceback \(most recent call last\):\n(?:  .*\n)*?.*multiprocessing/forkserver.*\n"
    r"(?:  .*\n)*EOFError: Ran out of input"
)
CHROMIUM_ARGUMENTS = ["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", "--force-prefers-reduced-motion"]


@dataclass
class Demo:
    """The running demo: its address, folder, process and what it printed."""

    address: str
    folder: Path
    process: subprocess.Popen[str]
    lines: list[str] = field(default_factory=list)
    reader: threading.Thread = field(default_factory=threading.Thread)

    def worker_pid(self) -> int:
        """Process id of the supervised worker."""
        for child in psutil.Process(self.process.pid).children():
            if "worker" in child.cmdline():
                return int(child.pid)
        raise LookupError("the demo has no worker")


def start_demo(folder: Path) -> Demo:
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--no-open", "--port", str(port)],
        cwd=ROOT, env={**os.environ, "MAKERLAB_VAR": str(folder)}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, start_new_session=True,
    )  # fmt: skip
    demo = Demo(f"http://127.0.0.1:{port}", folder, process)

    def read() -> None:
        assert process.stdout is not None
        demo.lines.extend(line.rstrip() for line in process.stdout)

    demo.reader = threading.Thread(target=read, daemon=True)
    demo.reader.start()
    end = time.monotonic() + START_S
    while time.monotonic() < end and process.poll() is None:
        if any("Makerlab runs at" in line for line in demo.lines):
            urllib.request.urlopen(demo.address + "/sign-in/", timeout=10).read()
            return demo
        time.sleep(0.2)
    process.kill()
    raise AssertionError("the demo did not start:\n" + "\n".join(demo.lines))


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory, chromium: str) -> Iterator[Demo]:
    running = start_demo(tmp_path_factory.mktemp("demo"))
    yield running
    running.process.send_signal(signal.SIGINT)
    running.process.wait(30)
    running.reader.join(5)
    if running.process.stdout is not None:
        running.process.stdout.close()
    said = "\n".join(running.lines)
    if "The worker ended (code -9)" in said:
        said = ORPHAN.sub("", said)
    assert not re.search(r"Traceback|ERROR", said), said


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Browser]:
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"  # Playwright's loop is not Django's
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=chromium, args=CHROMIUM_ARGUMENTS)
        yield started
        started.close()


def is_complaint(said: ConsoleMessage) -> bool:
    """Errors and warnings, but not the graphics driver's remark that a browser without a graphics card reads every
    frame back to show it: no page can do otherwise there."""
    return said.type in {"error", "warning"} and "GPU stall due to ReadPixels" not in said.text


@dataclass
class Desk:
    """One person's browser window, and what it complained about."""

    page: Page
    complaints: list[str]


def new_desk(
    browser: Browser, demo: Demo, width: int = 1280, height: int = 900, dark: bool = False, language: str = "en"
) -> Desk:
    """A window nobody has signed in at; every request must stay on the demo's own address."""
    context: BrowserContext = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if dark else "light",
        base_url=demo.address,
        locale=language,
    )
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if is_complaint(said) else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "request",
        lambda r: complaints.append(f"leaves the site: {r.url}") if not r.url.startswith(demo.address) else None,
    )
    return Desk(page, complaints)


def open_desk(
    browser: Browser,
    demo: Demo,
    role: str,
    width: int = 1280,
    height: int = 900,
    dark: bool = False,
    language: str = "en",
) -> Desk:
    """A window signed in as a role of the demo by one click; ``nobody`` signs in no one."""
    desk = new_desk(browser, demo, width, height, dark, language)
    if role == "nobody":
        return desk
    desk.page.goto("/sign-in/")
    desk.page.locator(f"form[action='/sign-in/demo/{role}/'] button").click()
    desk.page.wait_for_url(lambda url: "/sign-in" not in url)
    return desk


def student_desk(browser: Browser, demo: Demo, class_code: str, nickname: str, width: int = 360) -> Desk:
    """A window a student of the demo has signed in at as students do: class code, nickname, four pictures."""
    desk = new_desk(browser, demo, width)
    desk.page.goto("/sign-in/student/")
    desk.page.get_by_label("Class code").fill(class_code)
    desk.page.get_by_label("Nickname").fill(nickname)
    for picture in PIN.split(","):
        desk.page.locator(f"[data-picture={picture}]").click()
    desk.page.get_by_role("button", name="Sign in").click()
    desk.page.wait_for_url(lambda url: "/sign-in" not in url)
    return desk


@pytest.fixture(scope="session")
def pages(demo: Demo, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """Walked on a copy: a page may write (what somebody has seen), and other tests go on in the meantime."""
    copy = tmp_path_factory.mktemp("walked")
    shutil.copytree(demo.folder / "media", copy / "media")
    shutil.copy(demo.folder / "secret_key", copy)
    with sqlite3.connect(demo.folder / "makerlab.sqlite3") as there, sqlite3.connect(copy / "makerlab.sqlite3") as here:
        there.backup(here)
    environment = {
        **os.environ,
        "MAKERLAB_VAR": str(copy),
        "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "queue")]),
    }
    done = subprocess.run(
        [sys.executable, "-m", "tests.browser.walk"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-4000:]
    found: list[dict[str, Any]] = json.loads(done.stdout)
    return found


def addresses_of(pages: list[dict[str, Any]], role: str) -> dict[str, str]:
    """One path for each named address this role may open: the page with most on it. Fragments stand in other pages."""
    fullest: dict[str, dict[str, Any]] = {}
    for page in pages:
        known = fullest.get(page["name"])
        if page["role"] == role and page["whole"] and (known is None or page["html_bytes"] > known["html_bytes"]):
            fullest[page["name"]] = page
    return {name: page["path"] for name, page in fullest.items()}
