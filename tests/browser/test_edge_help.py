"""Help at placing, and how the film looks: edges, the window of greys, the marker's distances."""

import io
import math
import re
from pathlib import Path

import numpy as np
import pytest
from flask import Flask
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.people import type_place
from tests.browser.sample import COPY_PX, MARKER_PX, ORIGINAL_PX, sample_app, sole_jpeg
from tests.browser.test_editor import CLOSE_PX, choose, keep, opened, placed, tap_film

Ends = tuple[tuple[float, float], tuple[float, float]]

EDGE_X_PX = 1503.0
UPRIGHT_PX: Ends = ((EDGE_X_PX, 0.0), (EDGE_X_PX, 2400.0))
"""The edge of a picture whose right half is bright, in pixels of the original."""

SLANT_PX: Ends = ((1100.0, 0.0), (2700.0, 2400.0))
"""The slanted edge of another picture: as steep as a dorsal wall of 56°."""


@pytest.fixture
def app(tmp_path: Path) -> tuple[Flask, list[dict]]:
    return sample_app(tmp_path)


def beyond(ends_px: Ends, seed: int) -> bytes:
    """Return a served copy, dark and then bright beyond a line, with noise.

    Each of its pixels is the mean of 16 places in it, so that the edge is where it is said to be.
    """
    (x1, y1), (x2, y2) = ends_px
    scale = ORIGINAL_PX[0] / COPY_PX[0]
    bright = np.zeros(COPY_PX[::-1])
    for part in np.ndindex(4, 4):
        x = (np.arange(COPY_PX[0]) + (part[0] + 0.5) / 4) * scale
        y = (np.arange(COPY_PX[1])[:, None] + (part[1] + 0.5) / 4) * scale
        bright += (x - x1) * (y2 - y1) > (y - y1) * (x2 - x1)
    grey = 60 + 100 * bright / 16 + np.random.default_rng(seed).normal(0, 5, bright.shape)
    out = io.BytesIO()
    Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture
def halves(tmp_path: Path) -> tuple[Flask, list[dict]]:
    return sample_app(tmp_path, picture=beyond(UPRIGHT_PX, 3))


def off_the_slant_px(at_px: list[float]) -> float:
    """Return how far a point is from the slanted edge, in pixels of the original."""
    (x1, y1), (x2, y2) = SLANT_PX
    across = (x2 - x1) * (at_px[1] - y1) - (y2 - y1) * (at_px[0] - x1)
    return abs(across) / math.hypot(x2 - x1, y2 - y1)


def on_the_slant(y: float) -> float:
    (x1, y1), (x2, y2) = SLANT_PX
    return x1 + (y - y1) * (x2 - x1) / (y2 - y1)


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
    says = re.compile(r"^Toe moved 1\d\.\d px onto the edge\.$")
    expect(page.locator("[data-edge-moved]")).to_have_text(says)
    expect(page.locator("[data-spoken]")).to_have_text(says)
    page.get_by_role("button", name="As I placed it").click()
    assert placed(page)["toe"][0] == pytest.approx(1488, abs=CLOSE_PX)
    expect(page.locator("[data-edge-says]")).to_be_hidden()
    assert page.evaluate("document.activeElement.matches('[data-view]')")


def test_a_slanted_edge_is_met_along_the_normal_of_both_its_landmarks(desk, serve, tmp_path):
    page = opened(desk, serve(sample_app(tmp_path, picture=beyond(SLANT_PX, 5))[0]), edges=True)
    for slot, y, beside_px in (("wall_proximal", 800, -14), ("wall_distal", 1300, 15)):
        choose(page, slot)
        tap_film(page, (on_the_slant(y) + beside_px, y))
        assert off_the_slant_px(placed(page)[slot]) < 0.5
    page.get_by_role("button", name="Undo").click()
    assert off_the_slant_px(placed(page)["wall_distal"]) > 8
    # With both partners placed the way it moves is the normal of their line.
    tapped_px = (on_the_slant(1400) - 14, 1400)
    choose(page, "wall_distal")
    tap_film(page, tapped_px)
    moved_px = placed(page)["wall_distal"]
    assert off_the_slant_px(moved_px) < 0.5
    assert abs(moved_px[1] - 1400) > 3


def test_undo_takes_the_tapped_place_back_and_keys_never_move_onto_an_edge(desk, serve, halves):
    page = opened(desk, serve(halves[0]), edges=True)
    tapped_toe(page, (1488, 1200))
    page.get_by_role("button", name="Undo").click()
    raw_px = placed(page)["toe"]
    assert raw_px[0] == pytest.approx(1488, abs=CLOSE_PX)
    page.locator("[data-view]").press("ArrowRight")
    assert placed(page)["toe"] == [raw_px[0] + 0.5, raw_px[1]]
    type_place(page, "toe", [1490, 1200])
    assert placed(page)["toe"] == [1490, 1200]


FOUND = """async ([steps, at, direction, reach]) => {
  const { edgeNear } = await import("referral/landmarks/edge.js");
  const [width, height] = [120, 90];
  const grey = new Uint8Array(width * height);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const part = steps.reduce((sum, [edge, rise]) => sum + rise * Math.min(Math.max(x + 1 - edge, 0), 1), 60);
      grey[y * width + x] = Math.round(part) + ((x * 7 + y * 13) % 3);
    }
  }
  return edgeNear({ grey, width, height }, at, direction, reach);
}"""  # noqa: E501 - one line of arithmetic in another language


@pytest.mark.parametrize(
    ("steps", "direction", "expected_x"),
    [
        ([[61.3, 80]], [1, 0], 61.3),
        ([[61.3, -40]], [1, 0], 61.3),
        ([[55.5, 40], [66.2, 110]], [1, 0], 66.2),  # the stronger of two
        ([[61.3, 80]], [0, 1], None),  # along the edge there is no step
        ([[80.0, 90]], [1, 0], None),  # beyond reach
        ([[61.3, 1]], [1, 0], None),  # no more than the noise
    ],
)
def test_the_edge_is_found_to_a_part_of_a_pixel_or_not_at_all(
    desk, serve, app, steps, direction, expected_x
):
    page = opened(desk, serve(app[0]))
    found = page.evaluate(FOUND, [steps, [60.0, 45.0], direction, 12])
    if expected_x is None:
        assert found is None
    else:
        assert found == pytest.approx([expected_x, 45.0], abs=0.2)


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


def shown_grey(page: Page, selector: str, share: tuple[float, float]) -> float:
    """Return how bright a small place of a picture is on screen."""
    box = page.locator(selector).bounding_box()
    x, y = box["x"] + box["width"] * share[0], box["y"] + box["height"] * share[1]
    seen = Image.open(io.BytesIO(page.screenshot())).convert("L")
    return float(np.asarray(seen.crop((x - 5, y - 5, x + 5, y + 5))).mean())


def test_the_window_of_greys_changes_only_how_the_film_looks(desk, serve, halves):
    """Worked: greys 40 to 240 spread over 0 to 255, so that 60 is shown as 25 and 160 as 153."""
    page = opened(desk, serve(halves[0]))
    choose(page, "p3_tip")
    tap_film(page, (900, 1200))
    before = placed(page)
    page.get_by_text("Grey window, contrast").click()
    page.get_by_label("Grey window: middle").fill("140")
    page.get_by_label("Grey window: width").fill("200")
    page.evaluate("document.querySelector('[data-view]').scrollIntoView()")
    step = page.locator("[data-grey-window]").first
    assert float(step.get_attribute("slope")) == pytest.approx(1.275)
    assert float(step.get_attribute("intercept")) == pytest.approx(0.5 - 1.275 * 140 / 255)
    assert shown_grey(page, "[data-film]", (0.4, 0.8)) == pytest.approx(25.5, abs=3)
    assert shown_grey(page, "[data-film]", (0.7, 0.8)) == pytest.approx(153, abs=3)
    assert shown_grey(page, "[data-loupe]", (0.3, 0.3)) == pytest.approx(25.5, abs=3)
    page.get_by_label("Black for white").check()
    # Inverted first, as a light box has it: 160 becomes 95, which the window shows as 70.
    assert shown_grey(page, "[data-film]", (0.7, 0.8)) == pytest.approx(70, abs=3)
    page.get_by_role("button", name="As it was").click()
    assert shown_grey(page, "[data-film]", (0.4, 0.8)) == pytest.approx(60, abs=3)
    assert placed(page) == before


def test_distances_are_asked_only_of_a_marker_off_the_middle_plane(desk, serve, app):
    page = opened(desk, serve(app[0]))
    distances = page.locator("[data-marker-distances]")
    expect(distances).to_be_hidden()
    page.get_by_label("Nearer the tube").check()
    expect(distances).to_be_visible()
    for label, value in (("Marker to the middle of the foot", "65"), ("Tube to plate", "700")):
        distances.get_by_label(label).fill(value)
    form = keep(page, app[1])
    assert (form["marker_plane"], form["marker_offset_mm"], form["sid_mm"]) == (
        "tube_side", "65", "700",
    )  # fmt: skip


def test_what_the_readings_cannot_use_is_said_beside_its_field(desk, serve, app):
    page = opened(desk, serve(app[0]))
    for slot, at in zip(("marker_a", "marker_b"), MARKER_PX, strict=True):
        choose(page, slot)
        tap_film(page, at)
    length = page.get_by_label("Its true length")
    length.fill("seventy")
    expect(page.locator("#marker_length_mm-fault")).to_have_text("A number.")
    expect(length).to_have_attribute("aria-invalid", "true")
    expect(page.locator("[data-readings-fault]")).to_have_text("Some fields need another look.")
    length.fill("70")
    expect(page.locator("#marker_length_mm-fault")).to_have_count(0)
    expect(length).not_to_have_attribute("aria-invalid", "true")
    assert "marker_plane" not in app[1][-1]["json"]
    with page.expect_response("**/readings"):
        page.get_by_label("Middle plane of the foot").check()
    assert app[1][-1]["json"]["marker_plane"] == "sagittal"


def test_a_photo_asks_one_known_length_and_no_marker(phone, serve, tmp_path):
    app, posted = sample_app(tmp_path, picture=sole_jpeg(), view="sole_photo")
    page = opened(phone, serve(app))
    expect(page.locator("[name=marker_ends]")).to_have_value("")
    expect(page.locator("[name=marker_length_mm]")).to_have_count(0)
    # No landmark of a sole has a plain edge, so no help is offered.
    expect(page.locator("[data-edge-help]")).to_have_count(0)
    with page.expect_response("**/readings"):
        page.get_by_label("True length from scale A to scale B").fill("100,5")
    assert posted[-1]["json"]["known_length_mm"] == 100.5
    assert keep(page, posted)["known_length_mm"] == "100,5"
