"""Who handed a part over: every address of the case asked once more, and the sheets they signed."""

import io
import re

import pikepdf
import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation, Person
from referral.accounts.service import revoke_person
from referral.cases.handing import HandOver, hand_over
from referral.core.workflow import Role
from referral.sheets.models import Signature
from tests.factories import a_person
from tests.web.browsing import Browser
from tests.web.signing import at, browser_of
from tests.web.test_access import TABLE, asked, every_address, story
from tests.web.yard import rows_in, words_of

__all__ = ["story"]

OF_THE_LEAVER = {"GET desk.past", "GET sheets.download", "GET sheets.picture"}
"""What whoever handed over is still answered; everything else of the case is a stranger's 404."""
STRANGER = 5
"""The place of a stranger in the rows of the table."""


def handed(app, story, clock, role="farrier"):
    """Hand a part over to a colleague and return the browser of whoever left."""
    with story.database.transaction() as session:
        home = story.cast.forge_id if role == "farrier" else story.cast.practice_id
        comes = a_person(session, role, session.get(Organisation, home), name="Ivo Rand")
        leaver = getattr(story.cast, role).id
        command = HandOver(Role(role), leaver, comes.id, story.today, "Moves to the coast")
        hand_over(session, story.access(session, role), command, story.now)
        story.comes = comes.email
    at(story, clock)
    return browser_of(app, story, role)


def signed_by(story, role):
    """Return the addresses of the sheets that somebody signed."""
    with story.database.reading() as session:
        mine = select(Signature.sheet_id).where(Signature.person_id == getattr(story.cast, role).id)
        return {f"/cases/{story.number}/sheets/{each}.pdf" for each in session.scalars(mine)}


@pytest.mark.parametrize("role", ["farrier", "vet"])
def test_every_address_of_the_case_answers_whoever_left_as_a_stranger(app, story, clock, role):
    home = f"/cases/{story.number}"
    sheet = min(signed_by(story, role)).removesuffix(".pdf")
    every = [
        (row, method, re.sub(r"/cases/1/sheets/[0-9a-f-]{36}(?=[./])", sheet, path))
        for row, method, path in every_address(app, story)
        if path.startswith(home)
    ]
    browser = handed(app, story, clock, role)
    before = rows_in(story.database)
    found = {}
    for row, method, path in every:
        answer = asked(browser, method, path)
        found[row] = str(answer.status_code)
        if row not in OF_THE_LEAVER:
            missing = asked(browser, method, path.replace(home, "/cases/4711", 1))
            assert words_of(answer) == words_of(missing)
    assert len(found) > 40
    strangers = {row: TABLE[row].split()[STRANGER] for row in found}
    assert found == strangers | dict.fromkeys(OF_THE_LEAVER, "200")
    assert rows_in(story.database) == before


def test_whoever_left_fetches_what_they_signed_with_every_signature_and_nothing_else(
    app, story, clock
):
    before = {"farrier": signed_by(story, "farrier"), "vet": signed_by(story, "vet")}
    browser = handed(app, story, clock)
    page = browser.get(f"/cases/{story.number}/handed-over")
    offered = set(re.findall(r'href="(/cases/1/sheets/[^"]+\.pdf)"', page.text))
    assert offered == before["farrier"]
    assert len(offered) == 2  # the agreed plan, and what was fitted
    story.countersign(1)  # by the vet, after the farrier has left
    for path in offered:
        pdf = browser.get(path).data
        with pikepdf.open(io.BytesIO(pdf)) as opened:
            names = {str(each.V.Name) for each in opened.Root.AcroForm.Fields if "/V" in each}
        assert len(names) == 2
    assert signed_by(story, "vet") - before["vet"] <= offered  # the same sheet, one more name
    for who in ("other_vet", "other_farrier"):
        for path in offered:
            assert browser_of(app, story, who).get(path).status_code == 404
    theirs = Browser(app)
    assert theirs.sign_in(story.comes).status_code == 303
    assert {theirs.get(path).status_code for path in offered} == {200}


def test_a_sheet_that_whoever_left_did_not_sign_is_not_theirs(app, story, clock):
    others = signed_by(story, "farrier") - signed_by(story, "vet")
    assert others
    browser = handed(app, story, clock, "vet")
    assert {browser.get(path).status_code for path in others} == {404}
    mine = signed_by(story, "vet").pop()
    assert browser.get(mine.replace("/cases/1/", "/cases/2/")).status_code == 404


def test_an_account_that_is_closed_fetches_nothing(app, story, clock):
    browser = handed(app, story, clock)
    path = min(signed_by(story, "farrier"))
    assert browser.get(path).status_code == 200
    with story.database.transaction() as session:
        email = session.get_one(Person, story.cast.farrier.id).email
        revoke_person(session, story.cast.farrier.id, story.now)
    assert browser.get(path).status_code == 303
    assert Browser(app).sign_in(email).status_code == 422
