"""A red flag in a yard without signal: the numbers stand there, nothing is lost, it goes once."""

from dataclasses import dataclass

import pytest
from playwright.sync_api import BrowserContext, Page, expect
from sqlalchemy import select

from referral.app import create_app
from referral.cases.models import RedFlag
from referral.storage.db import Database
from tests.browser.conftest import PHONE
from tests.browser.people import someone
from tests.factories import a_case, a_cast, a_wiring

NOT_SENT = "the red flag is not sent yet"


@dataclass
class Barn:
    """The farrier's telephone on the form, and how the case stands."""

    context: BrowserContext
    page: Page
    home: str
    database: Database

    def fill(self) -> None:
        self.page.locator("[name=sign][value=not_bearing_weight]").check()
        self.page.locator("[name=limb]").select_option("LF")
        self.page.locator("[name=words]").fill("Will not put it down.")

    def press(self) -> None:
        self.page.get_by_role("button", name="Raise the red flag").click()

    def flags(self) -> list[tuple[str, str | None]]:
        with self.database.reading() as session:
            rows = session.scalars(select(RedFlag)).all()
        return [(row.sign, row.words) for row in rows]


@pytest.fixture
def barn(database, tmp_path, serve, look) -> Barn:
    wired = a_wiring(tmp_path, database)
    with database.transaction() as session:
        cast = a_cast(session, wired.now())
        number = a_case(session, cast)
    context = look(**PHONE)
    address = serve(create_app(wired.settings, wired))
    page = someone(context, address, cast.farrier.email).page
    home = f"{address}/cases/{number}"
    page.goto(f"{home}/red-flags/new")
    return Barn(context, page, home, database)


def test_it_goes_by_itself_when_there_is_signal(barn):
    barn.context.set_offline(True)
    barn.fill()
    barn.press()
    notice = barn.page.get_by_role("alert").filter(has_text=NOT_SENT)
    expect(notice).to_be_visible()
    expect(barn.page.locator("[name=words]")).to_have_value("Will not put it down.")
    assert barn.flags() == []
    barn.context.set_offline(False)
    barn.page.wait_for_url(barn.home)
    expect(barn.page.locator("body")).to_contain_text("Will not put it down.")
    assert barn.flags() == [("not_bearing_weight", "Will not put it down.")]


def test_it_goes_when_the_page_is_opened_again_and_only_once(barn):
    barn.context.set_offline(True)
    barn.fill()
    barn.press()
    expect(barn.page.get_by_text(NOT_SENT)).to_be_visible()
    barn.page.close()
    barn.context.set_offline(False)
    barn.page = barn.context.new_page()
    barn.page.goto(f"{barn.home}/red-flags/new")
    barn.page.wait_for_url(barn.home)
    barn.page.goto(f"{barn.home}/red-flags/new")
    expect(barn.page.locator("[name=words]")).to_have_value("")
    assert barn.flags() == [("not_bearing_weight", "Will not put it down.")]


def test_with_signal_what_is_wrong_is_said_and_what_was_typed_stays(barn):
    barn.fill()
    barn.page.locator("[name=words]").fill("It is a \N{HORSE FACE}.")
    barn.press()
    expect(barn.page.locator("#form-fault")).to_contain_text("cannot be printed")
    expect(barn.page.locator("[name=sign][value=not_bearing_weight]")).to_be_checked()
    assert barn.flags() == []
