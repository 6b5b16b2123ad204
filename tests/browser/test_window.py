"""The window while a plan is written: by keyboard, in one spoken sentence, asked at the key."""

import re

import pytest
from playwright.sync_api import Page, Route, expect

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


class Line:
    """The line to the server for a window's questions: each waits here until it is let go."""

    def __init__(self, form: Page) -> None:
        self.form = form
        self.waiting: list[Route] = []
        self.asked: list[str] = []
        form.route("**/api/window", self._hold)

    def _hold(self, route: Route) -> None:
        self.waiting.append(route)
        (typed,) = re.findall(r'name="LF-toe_trim_mm"\r\n\r\n([^\r]*)', route.request.post_data)
        self.asked.append(typed)

    def type(self, number: str) -> None:
        self.form.locator("[name=LF-toe_trim_mm]").fill(number)

    def next(self) -> Route:
        """Return the question that waits, once it has come."""
        for _look in range(500):
            if self.waiting:
                return self.waiting.pop()
            self.form.wait_for_timeout(10)
        raise AssertionError("no question came")

    def settle(self) -> None:
        """Let whatever the page has begun reach the line."""
        self.form.evaluate("() => new Promise((done) => requestAnimationFrame(() => done()))")
        self.form.wait_for_function("() => document.readyState === 'complete'")


@pytest.fixture
def line(form) -> Line:
    expect(form.locator("[data-plan-window] svg").first).to_be_visible()
    expect(form.locator("[data-plan-window][aria-busy]")).to_have_count(0)
    return Line(form)


@pytest.mark.parametrize("form", ["desk"], indirect=True)
def test_it_is_asked_at_the_key_and_not_after_a_pause(form, line):
    form.clock.install()
    form.clock.pause_at("2027-01-01")  # no timer of the page's runs any more
    line.type("1")
    line.next().continue_()
    assert line.asked == ["1"]


@pytest.mark.parametrize("form", ["phone", "desk"], indirect=True)
def test_one_question_is_on_its_way_and_the_last_that_was_typed_is_shown(form, line):
    line.type("a lot")
    first = line.next()
    for number in ("1", "2", "3", "4"):
        line.type(number)
        line.settle()
    assert line.asked == ["a lot"]
    first.continue_()
    second = line.next()
    # the answer to what stands there no more is not shown, not even for a moment
    expect(form.locator("[data-plan-window][aria-busy]")).to_have_count(1)
    for place in ("[data-plan-window]", "[data-window-said]"):
        expect(form.locator(place)).not_to_contain_text("Write a number")
    second.continue_()
    expect(form.locator("[data-plan-window][aria-busy]")).to_have_count(0)
    expect(form.locator("[data-window-said]")).to_contain_text("LF: ")
    assert line.asked == ["a lot", "4"]


@pytest.mark.parametrize("form", ["desk"], indirect=True)
def test_an_answer_without_signal_is_said_and_the_next_key_asks_again(form, line):
    line.type("1")
    line.next().abort()
    expect(form.locator("[data-plan-window]")).to_contain_text("when there is signal")
    line.type("2")
    line.next().continue_()
    expect(form.locator("[data-plan-window] svg").first).to_be_visible()


@pytest.mark.parametrize("form", ["desk"], indirect=True)
def test_where_the_server_is_busy_with_ones_last_question_it_is_asked_again(form, line):
    line.type("1")
    line.next().fulfill(status=429)
    line.next().continue_()
    expect(form.locator("[data-plan-window][aria-busy]")).to_have_count(0)
    expect(form.locator("[data-window-said]")).to_contain_text("LF: ")
    assert line.asked == ["1", "1"]
