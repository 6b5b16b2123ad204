"""One film measured by each way alone, and the same pixels from every screen (case C04)."""

import json
from pathlib import Path

import pytest
from flask import Flask
from playwright.sync_api import BrowserContext, Locator, Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.browser.sample import COPY_PX, FOOT_PX, MARKER_PX, ORIGINAL_PX, film_jpeg, sample_app
from tests.browser.test_edge_help import UPRIGHT_PX, beyond
from tests.browser.test_editor import choose, keep, opened, placed, tap_film, violations

ZOOMED_IN = 12
"""Presses of the zoom button after which it zooms no further, from any screen here."""

MEASURED = ("ground_palmar", "ground_dorsal", "p3_tip", "p3_palmar_process", "toe", "heel")


@pytest.fixture(scope="module")
def picture() -> bytes:
    return film_jpeg()


@pytest.fixture
def app(tmp_path: Path, picture: bytes) -> tuple[Flask, list[dict]]:
    return sample_app(tmp_path, picture=picture)


def on_screen(page: Page, at_px: tuple[float, float]) -> tuple[float, float]:
    """Return the place on screen, in CSS pixels, at which a point of the original is shown."""
    page.evaluate("document.querySelector('[data-view]').scrollIntoView()")
    shown = page.locator("[data-film]").bounding_box()
    return (
        shown["x"] + at_px[0] * shown["width"] / ORIGINAL_PX[0],
        shown["y"] + at_px[1] * shown["height"] / ORIGINAL_PX[1],
    )


def zoomed(look, density: int, zoom_percent: int) -> BrowserContext:
    """Open a desk's window as the browser's own zoom makes it: fewer, larger CSS pixels."""
    zoom = zoom_percent / 100
    size = {"width": round(1280 / zoom), "height": round(800 / zoom)}
    return look(viewport=size, device_scale_factor=density * zoom)


@pytest.mark.parametrize("zoom_percent", [50, 100, 150])
@pytest.mark.parametrize("density", [1, 2, 3])
def test_every_density_and_page_zoom_posts_the_same_pixels(look, serve, app, density, zoom_percent):
    """Worked, C04: (300, 200) and (384, 200) on a copy of 1200 by 960 are 84 px of the copy.

    The original has 3000 by 2400: (750, 500) and (960, 500), 210 px, 21.0 mm at 0.10 mm a pixel.
    """
    assert COPY_PX == (1200, 960)
    page = opened(zoomed(look, density, zoom_percent), serve(app[0]))
    for slot, copy_px in (("marker_a", (300, 200)), ("marker_b", (384, 200))):
        at_px = (copy_px[0] * 2.5, copy_px[1] * 2.5)
        page.locator(f"[data-slot='{slot}'] [data-pick]").click()
        page.get_by_role("button", name="Show the whole film").click()
        page.mouse.click(*on_screen(page, at_px))
        for _ in range(ZOOMED_IN):
            page.get_by_role("button", name="Zoom in").click()
        page.mouse.click(*on_screen(page, at_px))

    form = keep(page, app[1])

    ends = json.loads(form["marker_ends"])
    # One CSS pixel is now an eighth of a pixel of the original, and a mouse points to whole ones.
    assert ends == [pytest.approx([750, 500], abs=0.13), pytest.approx([960, 500], abs=0.13)]
    assert ends[1][0] - ends[0][0] == pytest.approx(210, abs=0.13)
    assert (form["natural_width"], form["natural_height"]) == ("1200", "960")


def tabbed_to(page: Page, target: Locator, most: int = 90) -> None:
    """Go on with Tab until the target has the focus."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if target.evaluate("each => each === document.activeElement"):
            return
    pytest.fail("Tab does not reach it.")


def walk(page: Page, name: str) -> None:
    """Bring the selected landmark from the film's middle to its place with arrows alone."""
    at, wanted = placed(page)[name], FOOT_PX[name]
    for axis, (back, on) in enumerate((("ArrowLeft", "ArrowRight"), ("ArrowUp", "ArrowDown"))):
        left_px = wanted[axis] - at[axis]
        key = on if left_px > 0 else back
        for step_px, held in ((50, "Control+"), (5, "Shift+"), (0.5, "")):
            presses, left_px = divmod(abs(left_px), step_px)
            for _ in range(int(presses)):
                page.keyboard.press(f"{held}{key}")


def test_a_film_is_measured_with_the_keyboard_alone(desk, serve, app):
    page = opened(desk, serve(app[0]), edges=True)
    keys = page.keyboard
    tabbed_to(page, page.locator("[data-view]"))
    for name in MEASURED:
        label = name.replace("_", " ").capitalize()
        for _ in range(40):
            if page.locator("[data-now-label]").inner_text() == label:
                break
            keys.press("PageDown")
        keys.press("Enter")
        walk(page, name)
    for slot, end_px in zip(("marker_a", "marker_b"), MARKER_PX, strict=True):
        row = page.locator(f"[data-slot='{slot}']")
        tabbed_to(page, row.locator("[data-x]"))
        keys.type(str(end_px[0]))
        keys.press("Tab")
        keys.type(str(end_px[1]))
    tabbed_to(page, page.locator("[name=marker_length_mm]"))
    with page.expect_response("**/readings"):
        keys.type("70")
    expect(page.locator("[data-readings-rows]")).to_contain_text("4.5 ± 1.4°")
    tabbed_to(page, page.get_by_role("button", name="Keep landmarks"), most=200)
    with page.expect_navigation():
        keys.press("Enter")

    form = next(each["form"] for each in app[1] if "form" in each)
    assert json.loads(form["landmarks"]) == {name: list(FOOT_PX[name]) for name in MEASURED}
    assert json.loads(form["marker_ends"]) == [list(each) for each in MARKER_PX]
    assert form["marker_length_mm"] == "70"
    assert "marker_plane" not in form  # nobody said where it lay, and the page does not either


def test_a_film_of_seven_megapixels_is_measured_with_one_thumb(look, serve, app):
    page = opened(look(**PHONE, device_scale_factor=3), serve(app[0]), edges=True)
    touch = page.touchscreen
    for name in MEASURED:
        page.locator(f"[data-slot='{name}'] [data-pick]").tap()
        page.get_by_role("button", name="Show the whole film").tap()
        touch.tap(*on_screen(page, FOOT_PX[name]))
        for _ in range(4):
            page.get_by_role("button", name="Zoom in").tap()
        touch.tap(*on_screen(page, FOOT_PX[name]))
    page.get_by_role("button", name="Show the whole film").tap()
    for slot, end_px in zip(("marker_a", "marker_b"), MARKER_PX, strict=True):
        page.locator(f"[data-slot='{slot}'] [data-pick]").tap()
        touch.tap(*on_screen(page, end_px))
    page.get_by_label("Its true length").tap()
    page.keyboard.insert_text("70")  # what the phone's own keys send
    expect(page.locator("[data-readings-rows]")).to_contain_text("4.5 ± 1.4°")
    with page.expect_navigation():
        page.get_by_role("button", name="Keep landmarks").tap()

    form = next(each["form"] for each in app[1] if "form" in each)
    landmarks = json.loads(form["landmarks"])
    assert set(landmarks) == set(MEASURED)
    for name in ("p3_tip", "toe", "heel"):
        assert landmarks[name] == pytest.approx(FOOT_PX[name], abs=6)
    # The ground line has a plain edge, on which the help puts it to half a pixel.
    for name in ("ground_palmar", "ground_dorsal"):
        assert landmarks[name][1] == pytest.approx(FOOT_PX[name][1], abs=0.5)
    ends = json.loads(form["marker_ends"])
    assert ends == [pytest.approx(each, abs=4) for each in MARKER_PX]


@pytest.mark.parametrize("view", ["lateromedial", "sole_photo"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_axe_finds_nothing_with_everything_open(look, serve, tmp_path, view, size):
    app, _ = sample_app(tmp_path, picture=beyond(UPRIGHT_PX, 3), view=view)
    page = look(**size, bypass_csp=True).new_page()
    page.goto(f"{serve(app)}/editor")
    choose(page, "toe")
    tap_film(page, (1488, 1200))
    for slot in ("marker_a", "marker_b") if view == "lateromedial" else ():
        choose(page, slot)
        tap_film(page, MARKER_PX[slot == "marker_b"])
    choose(page, "toe")
    page.evaluate("for (const each of document.querySelectorAll('main details')) each.open = true")
    with page.expect_response("**/readings"):
        page.locator("#marker_length_mm, #known_length_mm").fill("seventy")
    expect(page.locator("#marker_length_mm-fault, #known_length_mm-fault")).to_be_visible()
    if view == "lateromedial":
        page.get_by_label("Nearer the tube").check()
        tap_film(page, (1486, 1300))
        expect(page.locator("[data-edge-says]")).to_be_visible()
    assert violations(page) == []
