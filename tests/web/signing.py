"""A case taken to a point through the services, then looked at through the app's own pages."""

import re

from flask import Flask

from referral.accounts.models import Person
from referral.sheets.office import office_of
from referral.web.wiring import Wiring
from tests.features.resets.story import Story, a_story
from tests.web.browsing import Browser

HIDDEN = re.compile(r'<input type="hidden" name="([^"]+)" value="([^"]*)"')


def story_in(app: Flask, folder) -> Story:
    """Return a story whose sheets are made by the app's own office and clock."""
    wired: Wiring = app.extensions["referral"]
    story = a_story(wired.database, folder)
    story.office = office_of(wired)
    return story


def at(story: Story, clock) -> None:
    """Move the app's clock to the story's."""
    story.move(minutes=1)
    clock.now = story.now


def browser_of(app: Flask, story: Story, who: str) -> Browser:
    """Return the browser of one of the cast, signed in."""
    with story.database.reading() as session:
        email = session.get_one(Person, getattr(story.cast, who).id).email
    browser = Browser(app)
    assert browser.sign_in(email).status_code == 303
    return browser


def hidden_in(page: str, action: str) -> dict[str, str]:
    """Return the hidden fields of the form that is sent there, without the token."""
    forms = [each for each in page.split("<form")[1:] if f'action="{action}"' in each]
    assert forms, f"no form for {action}"
    fields = dict(HIDDEN.findall(forms[0].split("</form>")[0]))
    fields.pop("csrf_token")
    return fields
