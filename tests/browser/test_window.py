"""The window while a plan is written: by keyboard, in one spoken sentence, the last asked alone."""

import pytest
from playwright.sync_api import Page, expect

from referral.app import create_app
from referral.rulebook.loader import load_rulebook
from referral.storage.blobs import BlobStore
from referral.web.wiring import Wiring
from tests.browser.conftest import DESK, PHONE
from tests.browser.people import someone
from tests.factories import PASSWORDS, Clock, a_settings
from tests.web.yard import a_yard

SIZES = {"phone": PHONE, "desk": DESK}


@pytest.fixture
def yard(database, tmp_path):
    settings = a_settings(tmp_path, database.url)
    files, rules = BlobStore(settings.files_dir), load_rulebook()
    wired = Wiring(settings, database, files, rules, PASSWORDS, Clock())
    yard = a_yard(create_app(settings, wired), database)
    yard.refer()
    return yard


@pytest.fixture
def form(yard, serve, look, request) -> Page:
    address = serve(yard.app).replace("127.0.0.1", "localhost")
    farrier = someone(look(**SIZES[request.param]), address, yard.emails["farrier"])
    farrier.go(f"{yard.home}/plans/new")
    farrier.fill(LF__thickness_mm="10", LF__breakover_setback_mm="20", LF__heel_extension_mm="8")
    return farrier.page


@pytest.mark.parametrize("form", SIZES, indirect=True)
def test_the_nearest_plan_is_taken_by_keyboard_and_said(form):
    said = form.locator("[data-window-said]")
    expect(said).to_contain_text("There are plans that meet every limit; this one does not")
    form.locator("[data-take]").focus()
    form.keyboard.press("Enter")
    expect(said).to_contain_text("The nearest plan is taken into the form. LF: This plan meets")
    expect(form.locator("#window-title")).to_be_focused()
    expect(form.locator("[data-take]")).to_have_count(0)
    typed = form.locator("[name=LF-toe_trim_mm]").input_value()
    wedge = form.locator("[name=LF-wedge_deg]").input_value()
    assert float(typed or 0) + float(wedge or 0) > 0


@pytest.mark.parametrize("form", ["phone"], indirect=True)
def test_a_fault_is_told_and_what_is_unfolded_stays_so(form):
    window = form.locator("[data-plan-window]")
    expect(window.locator("svg").first).to_be_visible()
    window.locator("summary").first.click()
    form.locator("[name=LF-toe_trim_mm]").fill("a lot")
    expect(form.locator("[data-window-said]")).to_contain_text("Write a number")
    form.locator("[name=LF-toe_trim_mm]").fill("1")
    expect(window.locator("svg").first).to_be_visible()
    window.locator("summary").first.click()
    form.locator("[name=LF-toe_trim_mm]").fill("2")
    expect(form.locator("[data-plan-window][aria-busy]")).to_have_count(0)
    expect(window.locator("details").first).to_have_attribute("open", "")


@pytest.mark.parametrize("form", ["desk"], indirect=True)
def test_while_typing_goes_on_nothing_is_asked_and_then_once(form):
    expect(form.locator("[data-plan-window] svg").first).to_be_visible()
    form.wait_for_load_state("networkidle")
    asked = []
    form.on("request", lambda each: asked.append(each) if "/api/window" in each.url else None)
    field = form.locator("[name=LF-toe_trim_mm]")
    with form.expect_response("**/api/window"):
        for number in ("1", "2", "3"):
            field.fill(number)
    form.wait_for_load_state("networkidle")
    assert len(asked) <= 2
    assert "this plan" in form.locator("[data-plan-window]").inner_text().lower()


@pytest.mark.parametrize("form", ["desk"], indirect=True)
def test_an_answer_that_comes_late_never_stands_over_a_newer_one(form):
    expect(form.locator("[data-plan-window] svg").first).to_be_visible()
    form.wait_for_load_state("networkidle")
    held = []

    def hold(route):
        held.append(route)

    form.route("**/api/window", hold)
    field, said = form.locator("[name=LF-toe_trim_mm]"), form.locator("[data-window-said]")
    with form.expect_request("**/api/window"):
        field.fill("a lot")
    with form.expect_request("**/api/window"):
        field.fill("4")
    held[-1].continue_()
    expect(said).to_contain_text("LF: ")
    expect(form.locator("[data-plan-window]")).not_to_contain_text("Write a number")
