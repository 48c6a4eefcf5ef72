"""Drawing an area of a bed that stays free, in a real browser: by mouse, and by keyboard alone."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Demo, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
FIELDS = ("x_mm", "y_mm", "width_mm", "depth_mm")


def figures(page: Page) -> list[float]:
    return [float(page.locator(f"[name={name}]").input_value()) for name in FIELDS]


def test_an_area_is_drawn_kept_and_used_again(demo: Demo, browser: Browser):
    desk = open_desk(browser, demo, "technician", width=1280, height=1100)
    page = desk.page
    page.goto("/room/")
    page.goto("/printers/1/")
    page.get_by_role("link", name="What stays free on the bed").click()
    page.locator("[data-bed][data-live]").wait_for()
    bed = page.locator("[data-bed] .bed").bounding_box()
    assert bed is not None
    side = float(page.locator("[data-bed]").get_attribute("data-width") or 0)
    mm = bed["width"] / side
    page.mouse.move(bed["x"] + 1 * mm, bed["y"] + 80 * mm)
    page.mouse.down()
    page.mouse.move(bed["x"] + 15 * mm, bed["y"] + 110 * mm, steps=4)
    page.mouse.up()
    assert figures(page) == pytest.approx([0, side - 110, 15, 30], abs=1.01), "so near the edge, the edge is meant"
    expect(page.locator("[data-new]")).to_have_attribute("visibility", "visible")
    page.locator("[name=words]").fill("clip")
    page.get_by_role("button", name="Keep it free").click()
    expect(page.locator(".area-list")).to_contain_text("clip")
    expect(page.locator("[data-bed] .kept-free:not(.new)")).to_have_count(1)

    # by keyboard alone: a second one, refused first, then put right
    page.locator("[name=x_mm]").focus()
    for figure in ("200", "0", "30", "20"):
        page.keyboard.type(figure)
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_text("beyond the right edge")).to_be_visible()
    expect(page.locator("[name=width_mm]")).to_have_value("30")
    page.locator("[name=width_mm]").focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("20")
    page.keyboard.press("Enter")
    expect(page.locator("[data-bed] .kept-free:not(.new)")).to_have_count(2)
    for left in (1, 0):
        page.locator(".area-list button").first.focus()
        page.keyboard.press("Enter")
        expect(page.locator("[data-bed] .kept-free:not(.new)")).to_have_count(left)
    assert not [each for each in desk.complaints if "422" not in each]  # the refused area is a 422 by design
