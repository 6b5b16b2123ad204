"""The first and the last photo: side by side, or wiped by thumb or by keys."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.browser.sample import sample_app


@pytest.fixture
def address(tmp_path, serve) -> str:
    return serve(sample_app(tmp_path)[0])


def boxes(page: Page) -> list[dict]:
    return [each.bounding_box() for each in page.locator("[data-before-after] img").all()]


def seen_from(page: Page) -> float:
    """Return the share of the last photo, from its left edge, that is wiped away, per cent."""
    clip = page.locator("[data-after]").evaluate("each => getComputedStyle(each).clipPath")
    found = re.fullmatch(r"inset\(0px 0px 0px ([\d.]+)%\)", clip)
    return float(found[1]) if found else 0.0


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_without_scripts_both_stand_side_by_side(look, address, size):
    page = look(**size, java_script_enabled=False).new_page()
    page.goto(f"{address}/before-after")
    first, last = boxes(page)
    assert first["y"] == last["y"]
    assert first["x"] + first["width"] <= last["x"]
    expect(page.locator("[data-wipe]")).to_be_hidden()


def test_keys_lay_one_over_the_other_and_wipe(desk, address):
    page = desk.new_page()
    page.goto(f"{address}/before-after")
    wipe = page.get_by_label("From the first to the last")
    expect(wipe).to_be_disabled()
    page.get_by_role("button", name="Lay one over the other").press("Enter")
    first, last = boxes(page)
    assert first == last
    assert seen_from(page) == 50
    wipe.press("End")
    assert seen_from(page) == 0
    wipe.press("Home")
    assert seen_from(page) == 100
    wipe.press("ArrowRight")
    assert seen_from(page) == 99
    page.get_by_role("button", name="Lay one over the other").press("Enter")
    first, last = boxes(page)
    assert first["x"] + first["width"] <= last["x"]
    assert seen_from(page) == 0


def test_a_thumb_wipes_from_the_first_to_the_last(phone, address):
    page = phone.new_page()
    page.goto(f"{address}/before-after")
    page.get_by_role("button", name="Lay one over the other").tap()
    box = page.locator("[data-wipe]").bounding_box()
    assert box["height"] >= 24
    page.touchscreen.tap(box["x"] + 0.85 * box["width"], box["y"] + box["height"] / 2)
    assert seen_from(page) < 25
    captions = page.locator("[data-before-after] figcaption")
    assert captions.nth(0).evaluate("each => getComputedStyle(each).textAlign") != "right"
    assert captions.nth(1).evaluate("each => getComputedStyle(each).textAlign") == "right"
