"""What one step of the bell costs by itself: seconds of a core in one process, nothing beside it.

Run as a program with MAKERLAB_VAR in an empty folder: ``MAKERLAB_VAR=folder python -m tests.bench.load.steps``. Prints
the least and the median of some dozens of each step, as ``asked`` takes them; Django's test client is counted in.
"""

from __future__ import annotations

import logging
import os
import time
from collections import defaultdict
from collections.abc import Callable
from random import Random
from statistics import median
from typing import Any

from tests.bench.load.files import LEAST_BYTES, file_of
from tests.bench.load.rush import TRIGGER, headers_of
from tests.bench.load.scene import main as scene_of
from tests.bench.load.visitor import HTMX

STUDENTS, POLLS = 40, 3


class Steps:
    """Seconds of a core by step."""

    def __init__(self) -> None:
        self.spent: dict[str, list[float]] = defaultdict(list)

    def take(self, name: str, ask: Callable[[], Any], *answers: int) -> Any:
        begun = time.process_time()
        answer = ask()
        self.spent[name].append(time.process_time() - begun)
        assert answer.status_code in answers, f"{name}: {answer.status_code}"
        return answer

    def told(self) -> str:
        return "\n".join(
            f"{name:24} {len(each):4} times, least {1e3 * min(each):6.1f} ms, median {1e3 * median(each):6.1f} ms"
            for name, each in self.spent.items()
        )


def student(client: Any, scene: dict[str, Any], values: dict[str, str], content: bytes, steps: Steps) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    pages = scene["pages"]
    typed = {name: value for name, value in values.items() if name != "upload"}
    steps.take("sign-in page", lambda: client.get(pages["student sign-in"]), 200)
    steps.take("student signs in", lambda: client.post(pages["student sign-in"], typed), 302)
    again(client, steps.take("my parts", lambda: client.get(pages["my parts"]), 200), "poll of my parts", steps)
    file = {"file": SimpleUploadedFile("wheel.stl", content)}
    address = steps.take("upload answered", lambda: client.post(values["upload"], file), 302)["Location"]
    again(client, steps.take("report", lambda: client.get(address), 200), "poll of a report", steps)


def again(client: Any, page: Any, name: str, steps: Steps) -> None:
    """As the page asks for news."""
    text = page.content.decode()
    found = TRIGGER.search(text)
    assert found
    address, headers = found[1].replace("&amp;", "&"), {**HTMX, **headers_of(text)}
    for _time in range(POLLS):
        steps.take(name, lambda: client.get(address, headers=headers), 200, 204)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
    scene = scene_of()
    from django.test import Client

    logging.disable(logging.CRITICAL)
    steps, content = Steps(), file_of(LEAST_BYTES, Random(1))
    for values in scene["students"][:STUDENTS]:
        client = Client(headers={"X-Forwarded-Proto": "https"})
        client.get(scene["pages"]["staff sign-in"])  # the first question of a client makes its middleware
        student(client, scene, values, content, steps)
    print(steps.told())


if __name__ == "__main__":
    main()
