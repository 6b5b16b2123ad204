"""Help at placing, and how the film looks: edges, the window of greys, the marker's distances."""

import io
from pathlib import Path

import numpy as np
import pytest
from flask import Flask
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.sample import COPY_PX, ORIGINAL_PX, sample_app
from tests.browser.test_editor import CLOSE_PX, choose, keep, opened, placed, tap_film

EDGE_X_PX = 1503.0
"""Where the bright half of the picture below begins, in pixels of the original."""


@pytest.fixture
def app(tmp_path: Path) -> tuple[Flask, list[dict]]:
    return sample_app(tmp_path)


def half_and_half() -> bytes:
    """Return a picture whose left part is dark and whose right part is bright, with noise."""
    rng = np.random.default_rng(3)
    grey = np.where(np.arange(ORIGINAL_PX[0]) < EDGE_X_PX, 60.0, 160.0)
    grey = np.tile(grey, (ORIGINAL_PX[1], 1)) + rng.normal(0, 8, ORIGINAL_PX[::-1])
    out = io.BytesIO()
    picture = Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8))
    picture.resize(COPY_PX, Image.Resampling.BOX).save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture
def halves(tmp_path: Path) -> tuple[Flask, list[dict]]:
    return sample_app(tmp_path, picture=half_and_half())


def tapped_toe(page: Page, at_px: tuple[float, float]) -> list[float]:
    choose(page, "toe")
    tap_film(page, at_px)
    return placed(page)["toe"]


def test_a_tapped_landmark_is_moved_onto_the_edge_it_lies_on(desk, serve, halves):
    page = opened(desk, serve(halves[0]), edges=True)
    x, y = tapped_toe(page, (1488, 1200))
    # The edge of the drawn picture lies at a known place; 2.5 px of the original are 1 of the copy.
    assert x == pytest.approx(EDGE_X_PX, abs=0.5)
    assert y == pytest.approx(1200, abs=CLOSE_PX)
    expect(page.locator("[data-edge-moved]")).to_contain_text("onto the edge.")
    page.get_by_role("button", name="As I placed it").click()
    assert placed(page)["toe"][0] == pytest.approx(1488, abs=CLOSE_PX)
    expect(page.locator("[data-edge-says]")).to_be_hidden()


def test_where_there_is_no_edge_within_reach_a_landmark_stays(desk, serve, halves):
    page = opened(desk, serve(halves[0]), edges=True)
    assert tapped_toe(page, (900, 1200))[0] == pytest.approx(900, abs=CLOSE_PX)
    # and a landmark that lies on no plain edge is never moved
    choose(page, "p3_tip")
    tap_film(page, (1488, 1000))
    assert placed(page)["p3_tip"][0] == pytest.approx(1488, abs=CLOSE_PX)


def test_the_edge_help_stays_switched_off(desk, serve, halves):
    address = serve(halves[0])
    page = opened(desk, address, edges=False)
    assert tapped_toe(page, (1488, 1200))[0] == pytest.approx(1488, abs=CLOSE_PX)
    page.reload()
    expect(page.locator("[data-edge-help]")).not_to_be_checked()


def test_the_window_of_greys_changes_only_how_the_film_looks(desk, serve, app):
    page = opened(desk, serve(app[0]))
    page.get_by_text("Contrast and brightness").click()
    page.get_by_label("Grey window: middle").fill("90")
    page.get_by_label("Grey window: width").fill("100")
    step = page.locator("[data-grey-window]").first
    # Greys 40 to 140 spread over 0 to 255: slope 255 / 100, and grey 90 comes out in the middle.
    assert float(step.get_attribute("slope")) == pytest.approx(2.55)
    assert float(step.get_attribute("intercept")) == pytest.approx(0.5 - 2.55 * 90 / 255)
    assert "grey-window" in page.locator("[data-film]").evaluate("each => each.style.filter")
    assert "grey-window" in page.locator("[data-loupe] img").evaluate(
        "each => each.style.filter"
    ) or (page.locator("[data-loupe]").is_hidden())
    page.get_by_role("button", name="As it was").click()
    assert "grey-window" not in page.locator("[data-film]").evaluate("each => each.style.filter")
    assert placed(page) == {}


def test_distances_are_asked_only_of_a_marker_off_the_middle_plane(desk, serve, app):
    page = opened(desk, serve(app[0]))
    distances = page.locator("[data-marker-distances]")
    expect(distances).to_be_hidden()
    page.get_by_label("Nearer the tube").check()
    expect(distances).to_be_visible()
    for label, value in (("Marker to the middle of the foot", "65"), ("Tube to plate", "700")):
        page.get_by_label(label).fill(value)
    form = keep(page, app[1])
    assert (form["marker_plane"], form["marker_offset_mm"], form["sid_mm"]) == (
        "tube_side", "65", "700",
    )  # fmt: skip
