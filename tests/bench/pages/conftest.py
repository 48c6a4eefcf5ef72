"""The demo, started by its own command, and Debian's Chromium: one of each for all benches of this folder."""

from __future__ import annotations

from tests.browser import conftest

demo, browser = conftest.demo, conftest.browser
