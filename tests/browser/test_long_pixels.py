"""A film whose pixels are not square: shown as it measures, placed in the original's pixels."""

import io
import json
import math
from pathlib import Path

import numpy as np
import pytest
from flask import Flask
from PIL import Image
from playwright.sync_api import Page

from referral.core.geometry.frames import square_stretch
from referral.storage.decode.film import SERVED_LONGEST_PX, jpeg_bytes, read_film
from tests.browser.sample import sample_app
from tests.browser.test_editor import choose, keep, opened, placed
from tests.features.decode.files import LARGE

NAME = "color-px.dcm"
SIZE_PX = (256, 120)
SHOWN_RATIO = 1.6
"""256 x 4/3 x 120 with the pixel aspect 4\\3 that stands in the file."""


@pytest.fixture
def app(tmp_path: Path) -> tuple[Flask, list[dict]]:
    film = read_film((LARGE / NAME).read_bytes(), NAME)
    return sample_app(
        tmp_path,
        picture=jpeg_bytes(film, SERVED_LONGEST_PX),
        size_px=film.size_px,
        stretch=square_stretch(film.scale.aspect),
    )


def place_on_screen(page: Page, at_px: tuple[float, float]) -> tuple[float, float]:
    """Return where a point of the original is seen, by the picture's own box alone."""
    box = page.locator("[data-film]").bounding_box()
    assert box is not None
    return (
        box["x"] + at_px[0] * box["width"] / SIZE_PX[0],
        box["y"] + at_px[1] * box["height"] / SIZE_PX[1],
    )


def test_it_is_shown_in_its_true_proportions(desk, serve, app):
    page = opened(desk, serve(app[0]))
    box = page.locator("[data-film]").bounding_box()
    assert box["width"] / box["height"] == pytest.approx(SHOWN_RATIO, rel=1e-3)
    natural = page.evaluate(
        "(({naturalWidth: w, naturalHeight: h}) => w / h)(document.querySelector('[data-film]'))"
    )
    assert natural == pytest.approx(SHOWN_RATIO, rel=1e-3)
    loupe = page.locator("[data-loupe] img")
    choose(page, "toe")
    page.mouse.click(*place_on_screen(page, (100, 60)))
    glass = loupe.bounding_box()
    assert glass["width"] / glass["height"] == pytest.approx(SHOWN_RATIO, rel=1e-3)


@pytest.mark.parametrize("zooms", [0, 3])
def test_a_tap_lands_on_the_original_pixel_under_it(desk, serve, app, zooms):
    page = opened(desk, serve(app[0]))
    for _ in range(zooms):
        page.get_by_role("button", name="Zoom in").click()
    wanted = {"toe": (130.5, 50.25), "heel": (118.0, 71.5)}
    for slot, at_px in wanted.items():
        choose(page, slot)
        page.mouse.click(*place_on_screen(page, at_px))
    landmarks = json.loads(keep(page, app[1])["landmarks"])
    for slot, at_px in wanted.items():
        assert math.dist(landmarks[slot], at_px) <= 0.5


def test_arrows_move_by_the_originals_pixels_and_the_marker_is_placed_like_a_landmark(
    desk, serve, app
):
    page = opened(desk, serve(app[0]))
    choose(page, "toe")
    page.mouse.click(*place_on_screen(page, (100, 60)))
    x, y = placed(page)["toe"]
    page.locator("[data-view]").focus()
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("ArrowRight")
    assert placed(page)["toe"] == pytest.approx([x + 0.5, y + 5])
    for slot, at_px in (("marker_a", (50, 20)), ("marker_b", (50, 100))):
        choose(page, slot)
        page.mouse.click(*place_on_screen(page, at_px))
    ends = json.loads(page.locator("[name=marker_ends]").input_value())
    assert math.dist(ends[0], (50, 20)) <= 0.5
    assert math.dist(ends[1], (50, 100)) <= 0.5


def test_the_edge_help_finds_an_edge_on_long_pixels(desk, serve, tmp_path):
    """A slanted edge on pixels twice as high as wide, known by its line in the original."""
    shown_w, shown_h = 600, 480
    column, row = np.meshgrid(np.arange(shown_w) + 0.5, np.arange(shown_h) + 0.5)
    # original 600 x 240: the edge runs from (150, 0) to (450, 240), shown as (450, 480)
    bright = column > 150 + row * 300 / 480
    noise = np.random.default_rng(5).normal(0, 3, bright.shape)
    grey = np.clip(60 + 110 * bright + noise, 0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(grey).save(out, "JPEG", quality=92)
    flask, _posted = sample_app(
        tmp_path, picture=out.getvalue(), size_px=(600, 240), stretch=(1.0, 2.0)
    )
    page = opened(desk, serve(flask), edges=True)
    page.locator("[data-slot='wall_proximal'] [data-x]").fill("200")
    page.locator("[data-slot='wall_proximal'] [data-y]").fill("40")
    page.locator("[data-slot='wall_proximal'] [data-y]").press("Tab")
    choose(page, "wall_distal")
    box = page.locator("[data-film]").bounding_box()
    # 3 px beside the edge, halfway down it
    page.mouse.click(box["x"] + 303 * box["width"] / 600, box["y"] + box["height"] / 2)
    x, y = placed(page)["wall_distal"]
    assert x == pytest.approx(150 + y * 300 / 240, abs=0.5)
    assert (x, y) != pytest.approx((303, 120), abs=0.1)
