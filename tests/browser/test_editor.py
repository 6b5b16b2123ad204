"""The landmark editor in a real browser: taps alone, keys alone, the original's pixels always."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from flask import Flask
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.browser.sample import (
    COPY_PX,
    FOOT_PX,
    MARKER_PX,
    ORIGINAL_PX,
    TOKEN,
    film_jpeg,
    sample_app,
)

WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
CLOSE_PX = 3.5
"""Original pixels in half a CSS pixel, with the whole film in a phone's width."""


@pytest.fixture(scope="module")
def picture() -> bytes:
    return film_jpeg()


@pytest.fixture
def app(tmp_path: Path, picture: bytes) -> tuple[Flask, list[dict]]:
    return sample_app(tmp_path, picture=picture)


def opened(context: BrowserContext, address: str, *, edges: bool = False) -> Page:
    """Open the editor; anything the browser complains of fails the test.

    Unless the edge help is what is tested it is switched off: taps then stay where they are.
    """
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
    if not edges:
        page.add_init_script("localStorage.setItem('referral-edge-help', 'off')")
    page.goto(f"{address}/editor")
    page.wait_for_function("document.querySelector('[name=natural_width]').value !== ''")
    assert faults == []
    return page


def choose(page: Page, slot: str) -> None:
    page.locator(f"[data-slot='{slot}'] [data-pick]").click()


def tap_film(page: Page, at_px: tuple[float, float]) -> None:
    """Tap the place on screen at which a point of the original is shown."""
    frame = page.locator("[data-view]")
    frame.scroll_into_view_if_needed()
    page.evaluate("document.querySelector('[data-view]').scrollIntoView()")
    picture = page.locator("[data-film]").bounding_box()
    x = picture["x"] + at_px[0] * picture["width"] / ORIGINAL_PX[0]
    y = picture["y"] + at_px[1] * picture["height"] / ORIGINAL_PX[1]
    if page.evaluate("matchMedia('(pointer: coarse)').matches"):
        page.touchscreen.tap(x, y)
    else:
        page.mouse.click(x, y)


def violations(page: Page) -> list[tuple[str, list[str]]]:
    """Return what axe finds against WCAG, each with the elements it is about."""
    rules = {"runOnly": {"type": "tag", "values": WCAG}, "resultTypes": ["violations"]}
    found = Axe().run(page, options=rules).response["violations"]
    return [(each["id"], [node["html"] for node in each["nodes"]]) for each in found]


def placed(page: Page) -> dict:
    return json.loads(page.locator("[name=landmarks]").input_value())


def keep(page: Page, posted: list[dict]) -> dict:
    """Send the form and return what arrived."""
    with page.expect_navigation():
        page.get_by_role("button", name="Keep landmarks").click()
    return next(each["form"] for each in posted if "form" in each)


@pytest.mark.parametrize("density", [1, 2, 3])
def test_taps_alone_place_landmarks_in_the_originals_pixels(look, serve, app, density):
    page = opened(look(**PHONE, device_scale_factor=density), serve(app[0]))
    for slot in ("ground_palmar", "ground_dorsal", "p3_tip", "p3_palmar_process"):
        choose(page, slot)
        tap_film(page, FOOT_PX[slot])
    page.get_by_role("button", name="Next").click()
    expect(page.locator("[data-now-label]")).to_have_text("P3 palmar process 2")

    form = keep(page, app[1])

    landmarks = json.loads(form["landmarks"])
    assert set(landmarks) == {"ground_palmar", "ground_dorsal", "p3_tip", "p3_palmar_process"}
    for name, at in landmarks.items():
        assert at == pytest.approx(FOOT_PX[name], abs=CLOSE_PX)
    assert (form["natural_width"], form["natural_height"]) == tuple(map(str, COPY_PX))
    assert (form["csrf_token"], form["revision"], form["idempotency_key"]) == (TOKEN, "4", "key-1")


def test_typed_numbers_are_kept_as_they_are(desk, serve, app):
    page = opened(desk, serve(app[0]))
    row = page.locator("[data-slot='p3_tip']")
    row.locator("[data-x]").fill("750,25")
    row.locator("[data-y]").fill("500.5")
    row.locator("[data-y]").press("Tab")
    assert placed(page) == {"p3_tip": [750.25, 500.5]}

    row.locator("[data-x]").fill("3001")
    row.locator("[data-x]").press("Tab")

    expect(row.locator("[data-fault]")).to_have_text("x from 0 to 3000, y from 0 to 2400.")
    assert placed(page) == {"p3_tip": [750.25, 500.5]}


def test_keyboard_alone_places_moves_undoes_and_keeps(desk, serve, app):
    page = opened(desk, serve(app[0]))
    keys = page.keyboard
    for _ in range(60):
        keys.press("Tab")
        if page.evaluate("document.activeElement.matches('[data-view]')"):
            break
    for _ in range(6):
        keys.press("PageDown")
    expect(page.locator("[data-now-label]")).to_have_text("P3 tip")
    keys.press("Enter")
    start = placed(page)["p3_tip"]
    assert start == [1500, 1200]
    keys.press("ArrowRight")
    keys.press("ArrowUp")
    keys.press("Shift+ArrowRight")
    assert placed(page)["p3_tip"] == [1505.5, 1199.5]
    expect(page.locator("[data-spoken]")).to_have_text("P3 tip at 1505.5, 1199.5.")
    keys.press("Control+z")
    assert placed(page)["p3_tip"] == [1500, 1200]
    keys.press("Control+z")
    assert placed(page) == {}
    keys.press("Enter")
    keys.press("Delete")
    assert placed(page) == {}
    keys.press("Control+z")
    assert placed(page)["p3_tip"] == [1500, 1200]
    page.get_by_role("button", name="Keep landmarks").focus()
    with page.expect_navigation():
        keys.press("Enter")
    assert json.loads(app[1][-1]["form"]["landmarks"]) == {"p3_tip": [1500, 1200]}


def test_the_arrow_buttons_move_by_half_a_pixel_or_five(phone, serve, app):
    page = opened(phone, serve(app[0]))
    choose(page, "toe")
    tap_film(page, FOOT_PX["toe"])
    x, y = placed(page)["toe"]
    page.get_by_role("button", name="Move left").tap()
    page.get_by_role("button", name="×10").tap()
    page.get_by_role("button", name="Move down").tap()
    assert placed(page)["toe"] == pytest.approx([x - 0.5, y + 5], abs=0.011)


def test_zooming_changes_no_place_and_lets_taps_be_finer(phone, serve, app):
    page = opened(phone, serve(app[0]))
    choose(page, "p3_tip")
    tap_film(page, FOOT_PX["p3_tip"])
    before = placed(page)["p3_tip"]
    for _ in range(5):
        page.get_by_role("button", name="Zoom in").tap()
    assert placed(page)["p3_tip"] == before
    tap_film(page, (1930, 1760))
    assert placed(page)["p3_tip"] == pytest.approx((1930, 1760), abs=0.6)
    page.get_by_role("button", name="Show the whole film").tap()
    assert placed(page)["p3_tip"] == pytest.approx((1930, 1760), abs=0.6)


def test_a_drag_moves_the_mark_under_it_and_one_undo_takes_it_back(desk, serve, app):
    page = opened(desk, serve(app[0]))
    choose(page, "heel")
    tap_film(page, FOOT_PX["heel"])
    before = placed(page)["heel"]
    choose(page, "toe")
    box = page.locator("[data-film]").bounding_box()
    scale = box["width"] / ORIGINAL_PX[0]
    x, y = box["x"] + before[0] * scale, box["y"] + before[1] * scale
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 25, y - 10, steps=6)
    page.mouse.move(x + 50, y - 20, steps=6)
    page.mouse.up()
    moved = placed(page)["heel"]
    assert moved == pytest.approx([before[0] + 50 / scale, before[1] - 20 / scale], abs=CLOSE_PX)
    page.get_by_role("button", name="Undo").click()
    assert placed(page)["heel"] == before


def test_two_fingers_zoom_about_the_point_between_them(phone, serve, app):
    page = opened(phone, serve(app[0]))
    page.evaluate("document.querySelector('[data-view]').scrollIntoView()")
    box = page.locator("[data-film]").bounding_box()
    touch = phone.new_cdp_session(page)
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)

    def fingers(kind: str, apart: float) -> None:
        ends = [{"x": middle[0] + side * apart / 2, "y": middle[1], "id": i} for i, side in
                enumerate((-1, 1))]  # fmt: skip
        points = [] if kind == "touchEnd" else ends
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    fingers("touchStart", 80)
    for apart in range(90, 250, 10):
        fingers("touchMove", apart)
    fingers("touchEnd", 0)
    after = page.locator("[data-film]").bounding_box()
    assert after["width"] / box["width"] == pytest.approx(3, abs=0.05)
    assert after["x"] + after["width"] / 2 == pytest.approx(middle[0], abs=1.5)
    assert placed(page) == {}


def test_live_readings_come_from_the_server_with_the_token(desk, serve, app):
    page = opened(desk, serve(app[0]))
    choose(page, "p3_tip")
    tap_film(page, FOOT_PX["p3_tip"])
    readings = page.locator("[data-readings]")
    expect(readings.get_by_role("row", name="Palmar angle")).to_contain_text("4.5 ± 1.4°")
    expect(readings.locator("[data-readings-absent]")).to_contain_text("needs p2_condyle")
    asked = app[1][-1]
    assert asked["token"] == TOKEN
    assert asked["json"]["landmarks"]["p3_tip"] == pytest.approx(FOOT_PX["p3_tip"], abs=4)
    assert asked["json"]["natural_width"] == COPY_PX[0]
    assert "marker_ends" not in asked["json"]


def test_stored_landmarks_come_back_and_several_points_stay_a_list(desk, serve, tmp_path, picture):
    app, posted = sample_app(tmp_path, placed=FOOT_PX, picture=picture)
    page = opened(desk, serve(app))
    expect(page.locator("[data-count]")).to_have_text("16 of 31 placed")
    form = keep(page, posted)
    landmarks = json.loads(form["landmarks"])
    assert landmarks["p2_condyle"] == [list(each) for each in FOOT_PX["p2_condyle"]]
    assert landmarks["p3_tip"] == list(FOOT_PX["p3_tip"])


def test_a_picture_of_other_proportions_takes_no_points(desk, serve, tmp_path):
    app, _ = sample_app(tmp_path, picture=film_jpeg((1200, 900)))
    page = opened(desk, serve(app))
    expect(page.locator("[data-picture-fault]")).to_contain_text("has not the film's proportions")
    tap_film(page, FOOT_PX["p3_tip"])
    assert placed(page) == {}


@pytest.mark.parametrize("path", ["editor", "components"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_axe_finds_nothing(
    look: Callable[..., BrowserContext], serve, tmp_path, picture, path, size
):
    app, _ = sample_app(tmp_path, placed=FOOT_PX, picture=picture)
    page = look(**size, bypass_csp=True).new_page()
    page.goto(f"{serve(app)}/{path}")
    assert violations(page) == []


@pytest.mark.parametrize("path", ["editor", "components"])
def test_nothing_is_wider_than_320_px(look, serve, tmp_path, picture, path):
    app, _ = sample_app(tmp_path, placed=FOOT_PX, picture=picture)
    page = look(viewport={"width": 320, "height": 640}).new_page()
    page.goto(f"{serve(app)}/{path}")
    assert page.evaluate("document.documentElement.scrollWidth") == 320


def test_what_is_pressed_is_at_least_48_px_high(phone, serve, app):
    page = opened(phone, serve(app[0]))
    sizes = page.evaluate(
        """[...document.querySelectorAll("main :is(button, input, summary)")]
        .filter(each => each.checkVisibility() && each.type !== "hidden")
        .map(each => [each.outerHTML.slice(0, 80), (each.closest("label") ?? each).offsetHeight])"""
    )
    assert len(sizes) > 60
    assert [each for each in sizes if each[1] < 48] == []


def test_the_readings_hear_of_the_marker_once_it_is_whole(desk, serve, app):
    page = opened(desk, serve(app[0]))
    page.get_by_label("Its true length").fill("70")
    for slot, at in zip(("marker_a", "marker_b"), MARKER_PX, strict=True):
        choose(page, slot)
        tap_film(page, at)
    with page.expect_response("**/readings"):
        page.get_by_label("Its true length").fill("70,0")
    asked = app[1][-1]["json"]
    assert asked["marker_length_mm"] == 70
    assert asked["marker_ends"] == [pytest.approx(at, abs=4) for at in MARKER_PX]


def test_a_second_press_does_not_send_the_form_again(desk, serve, app):
    page = opened(desk, serve(app[0]))
    with page.expect_navigation():
        page.evaluate("""() => {
            const button = document.querySelector(".editor-bar [type=submit]");
            button.click();
            button.click();
        }""")
    assert len([each for each in app[1] if "form" in each]) == 1


def test_the_drawing_beside_the_sentence_follows_the_landmark(phone, serve, app):
    page = opened(phone, serve(app[0]))
    part = page.locator("[data-now-where]")
    for name in ("toe", "p2_condyle.1", "heel"):
        choose(page, name)
        expect(part).to_have_attribute(
            "src", f"/static/img/landmarks-lateromedial.svg#{name.split('.')[0]}"
        )
        assert part.evaluate("each => each.decode().then(() => each.naturalWidth)") > 0
        expect(part).to_be_in_viewport()
    choose(page, "marker_a")
    expect(part).to_be_hidden()
