"""A part in 3D in a real browser: it draws, turns, cuts, tells its marks apart, and falls back to the picture.

What is seen is read from screenshots by Pillow; the red of the steep underside is that of viewer/colours.js.
"""

from __future__ import annotations

import gzip
import io
import re
from collections.abc import Iterator

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from meshcheck.shown.binary import ShownMesh, packed
from tests.browser.conftest import CHROMIUM_ARGUMENTS, Demo, Desk, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
STEEP, GAP, WITH_GHOST = "/submissions/22/", "/submissions/16/", "/submissions/10/"  # of the demo's school
WEIGHT_MOST = 150_000  # bytes of a page but its mesh, sent compressed
PLAIN_MOST = 200_000  # the same as our own server sends it: not compressed


@pytest.fixture
def desk(demo: Demo, browser: Browser) -> Iterator[Desk]:
    opened = open_desk(browser, demo, "teacher")
    yield opened
    opened.page.context.close()
    assert opened.complaints == []


def opened(page: Page, path: str) -> None:
    page.goto(path)
    page.locator("[data-view-stage]").scroll_into_view_if_needed(timeout=20_000)  # it is drawn when somebody sees it
    page.locator("[data-view-stage].is-live").wait_for(timeout=60_000)
    settled(page)


def settled(page: Page) -> None:
    """Two frames later everything asked for is drawn; where that is slow, all of it some time after the last move."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    page.wait_for_timeout(150)
    expect(page.locator("[data-viewer][data-few]")).to_have_count(0)


def stage(page: Page) -> np.ndarray:
    """(h, w, 3) of what is seen on the stage, inside its frame and focus ring."""
    settled(page)
    data = page.locator("[data-view-stage]").first.screenshot()
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)[6:-6, 6:-6]


def reds(pixels: np.ndarray) -> int:
    red, green, blue = pixels[..., 0], pixels[..., 1], pixels[..., 2]
    return int(((red > green + 70) & (red > blue + 70)).sum())


def differ(one: np.ndarray, other: np.ndarray) -> float:
    """Share of pixels that are not alike."""
    return float((np.abs(one - other).max(axis=2) > 24).mean())


def test_it_draws_turns_and_comes_back(desk: Desk):
    page = desk.page
    opened(page, STEEP)
    first = stage(page)
    assert reds(first) > 2000  # the striped underside
    assert len(np.unique(first.reshape(-1, 3), axis=0)) > 100
    canvas = page.locator("[data-view-canvas]")
    canvas.focus()
    seen = [first]
    for key in ("ArrowLeft", "ArrowUp", "+", "Shift+ArrowRight"):
        page.keyboard.press(key)
        now = stage(page)
        assert differ(now, seen[-1]) > 0.01, key
        seen.append(now)
    page.keyboard.press("End")  # the view from below, with which it began
    assert differ(stage(page), first) < 0.002
    page.keyboard.press("Home")
    assert reds(stage(page)) < 50  # from above no underside is seen


def test_buttons_and_mouse_do_the_same(desk: Desk):
    page = desk.page
    opened(page, STEEP)
    first = stage(page)
    for name in ("Turn left", "Tip up", "Nearer", "From above"):
        before = stage(page)
        page.get_by_role("button", name=name).click()
        assert differ(stage(page), before) > 0.01, name
    page.get_by_role("button", name="From below").click()
    assert differ(stage(page), first) < 0.01
    box = page.locator("[data-view-canvas]").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 200, box["y"] + 150)
    page.mouse.down()
    page.mouse.move(box["x"] + 320, box["y"] + 150, steps=4)
    page.mouse.up()
    assert differ(stage(page), first) > 0.01


def test_the_wheel_scrolls_the_page_until_the_part_was_clicked(desk: Desk):
    page = desk.page
    opened(page, STEEP)
    box = page.locator("[data-view-canvas]").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 100, box["y"] + 100)
    top = page.evaluate("scrollY")
    page.mouse.wheel(0, 120)
    page.wait_for_timeout(200)
    assert page.evaluate("scrollY") > top
    page.locator("[data-view-canvas]").focus()
    before, top = stage(page), page.evaluate("scrollY")
    box = page.locator("[data-view-canvas]").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 100, box["y"] + box["height"] - 20)
    page.mouse.wheel(0, -400)
    assert differ(stage(page), before) > 0.01
    assert page.evaluate("scrollY") == top


def test_marks_are_switched_off_and_on_by_their_word(desk: Desk):
    page = desk.page
    opened(page, STEEP)
    first = stage(page)
    page.get_by_role("checkbox", name="steep underside").uncheck()
    assert reds(stage(page)) < 50
    page.get_by_role("checkbox", name="steep underside").check()
    assert differ(stage(page), first) < 0.002
    for name in ("rests on the bed", "hole ⌀", "bed, squares"):
        page.get_by_role("checkbox", name=name).uncheck()
        without = stage(page)
        assert differ(without, first) > 0.001, name
        first = without


def test_the_cut_opens_the_part_and_says_where(desk: Desk):
    page = desk.page
    opened(page, STEEP)
    page.get_by_role("button", name="From above").click()
    whole = stage(page)
    page.get_by_label("Cut it open").select_option("z")
    slider = page.get_by_label("Where it is cut")
    slider.fill("50")
    half = stage(page)
    assert differ(half, whole) > 0.03
    expect(page.locator("[data-cut-told]")).to_have_text(re.compile(r"^\d+\.\d mm$"))
    slider.fill("100")
    assert differ(stage(page), whole) < 0.01  # all of it is left
    page.locator("[data-view-canvas]").focus()
    page.keyboard.press("PageDown")
    expect(slider).to_have_value("96")
    page.get_by_label("Cut it open").select_option("")
    assert differ(stage(page), whole) < 0.002


def test_the_version_before_as_a_ghost(desk: Desk):
    page = desk.page
    fetched: list[str] = []
    page.on("request", lambda request: fetched.append(request.url) if request.url.endswith("/mesh/") else None)
    opened(page, WITH_GHOST)
    alone = stage(page)
    assert len(fetched) == 1
    page.get_by_role("checkbox", name="as a ghost").check()
    page.wait_for_timeout(600)
    assert differ(stage(page), alone) > 0.01
    assert len(fetched) == 2
    page.get_by_role("checkbox", name="as a ghost").uncheck()
    assert differ(stage(page), alone) < 0.002
    page.get_by_role("checkbox", name="as a ghost").check()
    settled(page)
    assert len(fetched) == 2  # kept


def test_a_lost_context_leaves_the_picture_and_comes_back(desk: Desk):
    page = desk.page
    opened(page, GAP)
    first = stage(page)
    keep = "canvas => { window.kept = canvas.getContext('webgl2').getExtension('WEBGL_lose_context'); }"
    page.locator("[data-view-canvas]").evaluate(keep)
    page.evaluate("kept.loseContext()")
    expect(page.locator("[data-view-status]")).to_contain_text("The picture stays")
    expect(page.locator("[data-view-picture]")).to_be_visible()
    expect(page.locator("[data-view-canvas]")).to_be_hidden()
    page.evaluate("kept.restoreContext()")
    expect(page.locator("[data-view-canvas]")).to_be_visible()
    assert differ(stage(page), first) < 0.002
    desk.complaints[:] = [said for said in desk.complaints if "CONTEXT_LOST" not in said]  # said by the browser itself


def big_mesh(faces_least: int) -> bytes:
    """A round part with a rippled top, as the server sends it: nothing on it is flat, so nothing can be left out."""
    side = int(np.sqrt(faces_least / 2)) + 1
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(-30, 30, side + 1), np.linspace(-30, 30, side + 1)))
    vertices = np.column_stack([x, y, 6 + np.sin(x) * np.cos(y)])
    corner = (np.arange(side)[:, None] * (side + 1) + np.arange(side)).ravel()
    lower = np.column_stack([corner, corner + 1, corner + side + 2])
    upper = np.column_stack([corner, corner + side + 2, corner + side + 1])
    faces = np.concatenate([lower, upper]).astype(np.int32)
    flags = np.zeros(len(faces), np.uint8)
    return packed(ShownMesh(vertices, faces, np.zeros((0, 2), np.int32), flags, len(faces)))


def test_a_mesh_drawn_slowly_turns_with_fewer_triangles_and_says_so(demo: Demo, browser: Browser):
    desk = open_desk(browser, demo, "teacher")
    page = desk.page
    page.route("**/mesh/", lambda route: route.fulfill(status=200, body=big_mesh(180_000)))
    # a graphics card may be quick: the clock says that every frame took long
    page.add_init_script("{ let at = 0; performance.now = () => (at += 60); }")
    opened(page, STEEP)
    whole = stage(page)
    expect(page.locator("[data-view-few]")).to_be_visible()
    page.evaluate(
        """() => { const root = document.querySelector("[data-viewer]"); window.drawn = [];
                   new MutationObserver(() => window.drawn.push(root.hasAttribute("data-few")))
                     .observe(root, { attributes: true, attributeFilter: ["data-few"] }); }"""
    )
    page.locator("[data-view-canvas]").focus()
    page.keyboard.press("ArrowLeft")
    turned = stage(page)
    assert page.evaluate("drawn") == [True, False]  # few while it moved, then all of it again
    assert differ(turned, whole) > 0.01
    page.keyboard.press("ArrowRight")
    assert differ(stage(page), whole) < 0.002
    assert desk.complaints == []
    page.context.close()


def test_a_mesh_drawn_quickly_is_never_simplified(desk: Desk):
    page = desk.page
    page.add_init_script("performance.now = () => 0")
    page.route("**/mesh/", lambda route: route.fulfill(status=200, body=big_mesh(20_000)))
    opened(page, STEEP)
    page.locator("[data-view-canvas]").focus()
    page.keyboard.press("ArrowLeft")
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    assert page.locator("[data-viewer][data-few]").count() == 0
    expect(page.locator("[data-view-few]")).to_be_hidden()


def test_who_saves_data_is_asked_first(desk: Desk):
    page = desk.page
    page.add_init_script("Object.defineProperty(navigator, 'connection', {value: {saveData: true}})")
    fetched: list[str] = []
    page.on("request", lambda request: fetched.append(request.url) if request.url.endswith("/mesh/") else None)
    page.goto(STEEP)
    page.locator("[data-view-picture]").scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    expect(page.locator("[data-view-picture]")).to_be_visible()
    assert fetched == []
    page.get_by_role("button", name="Look at it in 3D").click()
    expect(page.locator("[data-view-canvas]")).to_be_focused()
    assert len(fetched) == 1
    assert reds(stage(page)) > 2000


def test_a_mesh_that_cannot_be_fetched_leaves_the_picture(demo: Demo, browser: Browser):
    page = open_desk(browser, demo, "teacher").page
    page.route("**/mesh/", lambda route: route.fulfill(status=200, body=b"no mesh of ours"))
    page.goto(STEEP)
    page.locator("[data-view-picture]").scroll_into_view_if_needed()
    expect(page.locator("[data-view-status]")).to_contain_text("could not be fetched")
    expect(page.locator("[data-view-picture]")).to_be_visible()
    page.unroute("**/mesh/")
    page.get_by_role("button", name="Look at it in 3D").click()
    expect(page.locator("[data-view-canvas]")).to_be_visible()
    page.context.close()


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [360, 1024, 1440])
def test_it_fits_every_width_by_day_and_by_night(demo: Demo, browser: Browser, width: int, dark: bool):
    desk = open_desk(browser, demo, "teacher", width=width, dark=dark)
    for path in (STEEP, "/kit-parts/1/"):
        opened(desk.page, path)
        assert desk.page.evaluate("document.documentElement.scrollWidth") <= width
    pixels = stage(desk.page)
    ground = pixels[4, 4].mean()
    assert ground < 80 if dark else ground > 200
    assert pixels.max() > 200  # the part itself stays light
    assert desk.complaints == []
    desk.page.context.close()


@pytest.mark.parametrize("path", [STEEP, "/kit-parts/1/"])
def test_pages_stay_light(desk: Desk, path: str):
    page = desk.page
    page.goto(path)
    page.locator("[data-view-stage].is-live").wait_for()
    page.wait_for_load_state("networkidle")
    weights: dict[str, int] = page.evaluate(
        """() => Object.fromEntries(["navigation", "resource"].flatMap((kind) => performance.getEntriesByType(kind))
             .map((entry) => [new URL(entry.name).pathname, entry.decodedBodySize]))"""
    )
    mesh = sum(size for url, size in weights.items() if url.endswith("/mesh/"))
    assert mesh > 1000
    assert weights[path] > 1000
    assert sum(weights.values()) - mesh <= PLAIN_MOST, weights
    packed = sum(
        len(gzip.compress(page.request.get(url).body(), 6)) for url in weights if not url.endswith(("/mesh/", ".png"))
    )
    pictures = sum(size for url, size in weights.items() if url.endswith(".png"))
    assert packed + pictures <= WEIGHT_MOST


@pytest.fixture
def without_webgl(chromium: str, browser: Browser) -> Iterator[Browser]:
    """The same browser, started without 3D. ``browser`` is asked for so that one loop serves both."""
    started = browser.browser_type.launch(executable_path=chromium, args=[*CHROMIUM_ARGUMENTS, "--disable-3d-apis"])
    yield started
    started.close()


def test_without_webgl_the_picture_stays_and_says_so(demo: Demo, without_webgl: Browser):
    desk = open_desk(without_webgl, demo, "teacher")
    desk.page.goto(STEEP)
    picture = desk.page.locator("[data-view-picture]")
    picture.scroll_into_view_if_needed()
    expect(desk.page.locator("[data-view-status]")).to_contain_text("shows no 3D")
    assert reds(stage(desk.page)) > 2000  # the picture has the stripes too
    assert "seen from below" in (picture.get_attribute("alt") or "")
    for hidden in ("canvas", "tools"):
        expect(desk.page.locator(f"[data-view-{hidden}]")).to_be_hidden()
    assert desk.complaints == []
    desk.page.context.close()


def test_without_script_the_picture_and_its_legend_are_there(demo: Demo, browser: Browser):
    signed_in = open_desk(browser, demo, "teacher").page.context
    context = browser.new_context(
        base_url=demo.address, java_script_enabled=False, storage_state=signed_in.storage_state()
    )
    page = context.new_page()
    page.goto(STEEP)
    picture = page.locator("[data-view-picture]")
    picture.scroll_into_view_if_needed()
    expect(picture).to_be_visible()
    data = np.asarray(Image.open(io.BytesIO(picture.screenshot())).convert("RGB")).astype(int)
    assert reds(data) > 2000
    assert "Steep undersides have red stripes." in (picture.get_attribute("alt") or "")
    expect(page.locator(".viewer .legend li").first).to_contain_text("steep underside")
    expect(page.get_by_role("button", name="Look at it in 3D")).to_be_hidden()
    for each in (context, signed_in):
        each.close()
