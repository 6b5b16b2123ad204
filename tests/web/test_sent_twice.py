"""Every form there is: done once however often it is sent, and why that holds for each."""

import io
import re
from types import CodeType, FunctionType, ModuleType

import pytest
from sqlalchemy import func, select

from referral.accounts import idempotency
from referral.accounts.models import OpenSession, Person, SecondFactor
from referral.accounts.second_factor import secret_to_confirm
from referral.clock import utc_now
from referral.sheets.models import OwnCertificate
from tests.factories import PASSWORD
from tests.features.accounts.test_second_factor import code_of
from tests.features.sheets.own import PASSPHRASE, a_p12
from tests.web.browsing import Browser
from tests.web.signing import hidden_in
from tests.web.test_access import browsers_of, every_address, story  # noqa: F401 - a fixture
from tests.web.test_asked_by_letter import ADDRESS, NEW
from tests.web.test_asked_by_letter import asked as asked_by_letter
from tests.web.yard import PLAN, TODAY, WHERE_IT_GOES, a_yard, words_of

NO_RECORD = {
    "accounts.sign_in_now": "a session of its own each time; the browser's last one ends",
    "accounts.sign_out": "what has ended stays so",
    "accounts.end_one": "what has ended stays so",
    "accounts.end_all": "what has ended stays so",
    "accounts.new_password": "the new password is the present one then",
    "inbox.unsubscribe": "proven by its address, and what is ended stays so",
    "inbox.stop": "proven by its address, and what is ended stays so",
    "films.reading_preview": "keeps nothing",
    "plans.preview": "keeps nothing",
    "windows.ask": "keeps nothing",
    "trials.change": "keeps nothing",
    "trials.own": "keeps nothing",
    "checks.check": "keeps nothing",
    "checks.check_sheet": "keeps nothing",
}
"""Forms that write no record of a case and need no number of their own, each with why."""

WITHOUT_A_PERSON = {"letters_to_asked.answer"}
"""Its forms need a number only for whoever is signed in; tests below send the others twice."""


def named_in(code):
    yield from code.co_names
    for each in code.co_consts:
        if isinstance(each, CodeType):
            yield from named_in(each)


def leads_to_do_once(view, seen):
    """Say whether a view, or what it calls in turn, names the function that does a form once."""
    view = getattr(view, "__wrapped__", view)
    if view is idempotency.do_once:
        return True
    if view in seen or not view.__module__.startswith("referral."):
        return False
    seen.add(view)
    names = set(named_in(view.__code__))
    found = [view.__globals__.get(name) for name in names]
    found += [vars(each).get("do_once") for each in found if isinstance(each, ModuleType)]
    return any(leads_to_do_once(each, seen) for each in found if isinstance(each, FunctionType))


def endpoints_of_forms(app):
    return {rule.endpoint for rule in app.url_map.iter_rules() if "POST" in rule.methods}


def test_every_form_is_done_once_or_stands_on_the_list_with_why(app):
    done = {
        endpoint
        for endpoint in endpoints_of_forms(app)
        if leads_to_do_once(app.view_functions[endpoint], set())
    }
    assert len(done) > 40
    assert endpoints_of_forms(app) - done == set(NO_RECORD)
    assert not leads_to_do_once(app.view_functions["authority.root"], set())


def test_our_own_pages_give_every_such_form_a_number_of_its_own(app, story):  # noqa: F811 - the fixture
    browsers = browsers_of(app, story)
    addresses = app.url_map.bind("localhost")
    met, without = set(), []
    for row, method, path in every_address(app, story):
        for browser in browsers.values() if method == "GET" else ():
            page = browser.get(path)
            shown = page.text if page.mimetype == "text/html" else ""
            page.close()
            for form in shown.split("<form")[1:]:
                part = form.split("</form>")[0]
                for goes in set(WHERE_IT_GOES.findall(part)) if 'method="post"' in part else ():
                    endpoint = addresses.match(goes, "POST")[0]
                    met.add(endpoint)
                    if endpoint not in NO_RECORD and not re.search(
                        r'name="idempotency_key" value="[0-9a-z-]{36,64}"', part
                    ):
                        without.append((row, goes))
    assert without == []
    assert {"cases.observation", "sheets.sign", "inbox.wishes"} & met
    assert len(met) > 40


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


SEEN = {"limb": "LF", "about": "wear", "words": "Toe worn to 9 mm.", "happened_on": TODAY}
HORSE = {"name": "Bramble", "owner_name": "Ann Vale", "owner_email": "ann@example.org"}


@pytest.mark.parametrize(
    ("who", "path", "sent", "kept"),
    [
        ("farrier", "/cases/1/observations", SEEN, "Toe worn to 9 mm."),
        ("farrier", "/cases/1/plans", PLAN, "It is what this foot allows."),
        ("vet", "/horses", HORSE, 'value="Bramble"'),
        (
            "vet",
            "/cases/1/limits",
            {"measure": "palmar_angle_deg", "at_least": "3.7", "limb": "LF", "strength": "must"},
            'value="3.7"',
        ),
        ("vet", "/cases/1/notes/calls", {"words": "Rang at noon."}, "Rang at noon."),
    ],
)
def test_a_form_without_its_number_is_refused_and_shown_as_it_was_typed(
    yard, who, path, sent, kept
):
    yard.refer()
    before = yard.rows()
    for number in ("", "not a number: {}"):
        answer = yard.browser(who).post(path, {**sent, "idempotency_key": number})
        assert answer.status_code == 422
        assert kept in answer.text
    assert idempotency.NO_NUMBER in words_of(yard.browser("farrier").post(*without_number(yard)))
    assert yard.rows() == before


def without_number(yard):
    return f"{yard.home}/observations", {**SEEN, "idempotency_key": ""}


def test_a_button_without_its_number_does_nothing_and_says_so(yard):
    yard.refer()
    before = yard.rows()
    answer = yard.browser("vet").post(f"{yard.home}/closures", {"idempotency_key": ""})
    assert answer.status_code == 422
    answer = yard.browser("owner").post("/notices/read", {"idempotency_key": ""})
    assert answer.status_code == 422
    assert idempotency.NO_NUMBER in words_of(answer)
    assert yard.rows() == before


# the account's own pages


def twice(browser, page, path, sent):
    """Send one form of a page twice, as a browser does whose first answer was lost."""
    fields = {**hidden_in(browser.get(page).text, path), **sent}
    answers = []
    for _time in (1, 2):
        files = {
            name: (io.BytesIO(each), "own.p12")
            for name, each in fields.items()
            if isinstance(each, bytes)
        }
        answers.append(browser.post(path, {**fields, **files}))
    assert [each.status_code for each in answers] == [303, 303], words_of(answers[1])
    assert answers[0].location == answers[1].location
    return answers[0]


def counted(database, model, *where):
    with database.reading() as session:
        return session.scalar(select(func.count()).select_from(model).where(*where))


def test_a_password_sent_twice_is_changed_once_and_other_wrong_ones_stay_wrong(yard):
    new = "four wet hooves on stone"
    vet = yard.browser("vet")
    twice(vet, "/account", "/account/password", {"present": PASSWORD, "password": new})
    assert vet.get("/account").status_code == 200
    assert Browser(yard.app).sign_in(yard.emails["vet"], new).status_code == 303
    wrong = {"present": PASSWORD, "password": "three wet hooves on stone"}
    assert vet.post("/account/password", wrong).status_code == 422
    assert Browser(yard.app).sign_in(yard.emails["vet"], new).status_code == 303


def test_codes_are_begun_put_on_and_taken_off_once(yard, clock):
    vet, page = yard.browser("vet"), "/account/codes"
    twice(vet, page, page, {"password": PASSWORD})
    assert counted(yard.database, SecondFactor) == 1
    wired = yard.app.extensions["referral"]
    with yard.database.reading() as session:
        person = session.scalars(select(SecondFactor.person_id)).one()
        secret = secret_to_confirm(session, person, wired.settings.instance_key)
    twice(vet, page, f"{page}/confirmation", {"code": code_of(secret, clock())})
    assert "Signing asks for a code" in vet.get(page).text
    twice(vet, page, f"{page}/removal", {"password": PASSWORD})
    assert counted(yard.database, SecondFactor, SecondFactor.removed_at.is_(None)) == 0


def test_a_certificate_is_brought_and_removed_once(yard, clock, tmp_path):
    file = a_p12(tmp_path)
    clock.now = utc_now()  # openssl dates its certificates by the machine's clock
    vet, page = yard.browser("vet"), "/account/certificate"
    brought = {"passphrase": PASSPHRASE, "password": PASSWORD, "certificate": file}
    twice(vet, page, page, brought)
    assert counted(yard.database, OwnCertificate) == 1
    twice(vet, page, f"{page}/removal", {"password": PASSWORD})
    assert counted(yard.database, OwnCertificate) == 1


def test_a_session_is_ended_once(yard):
    vet = yard.browser("vet")
    Browser(yard.app).sign_in(yard.emails["vet"])
    path = next(
        each
        for each in re.findall(r"/account/sessions/[0-9a-f-]{36}/ending", vet.get("/account").text)
        if "Another browser" in vet.get("/account").text.split(each)[0].rsplit("<li>", 1)[1]
    )
    twice(vet, "/account", path, {})
    assert counted(yard.database, OpenSession, OpenSession.ended_at.is_not(None)) == 1


# the page of a letter


def test_an_owner_who_sends_the_set_up_twice_has_one_account_and_is_signed_in(yard):
    path = asked_by_letter(yard, role="owner")
    browsers = [Browser(yard.app) for _ in range(2)]
    for browser in browsers:
        browser.get(path)
    before = counted(yard.database, Person)
    for browser in browsers:
        assert browser.post(path, NEW).location == "/cases/2"
        assert browser.get("/cases/2").status_code == 200
    assert counted(yard.database, Person) == before + 1
    other = Browser(yard.app)
    other.get(path)
    answer = other.post(path, {**NEW, "password": "another horse in the rain"})
    assert answer.status_code == 404
    assert "accepted already: sign in" in words_of(answer)


def test_a_letter_is_declined_once(yard):
    path = asked_by_letter(yard)
    browser = Browser(yard.app)
    browser.get(path)
    first = browser.post(path, {"answer": "decline"})
    before = yard.rows()
    second = browser.post(path, {"answer": "decline"})
    assert (first.status_code, second.status_code) == (200, 200)
    assert words_of(first) == words_of(second)
    assert yard.rows() == before


def test_whoever_is_signed_in_accepts_a_letter_once(yard):
    path = asked_by_letter(yard, email=yard.emails["other_farrier"])
    browser = yard.browser("other_farrier")
    answer = twice(browser, path, path, {"answer": "accept"})
    assert answer.location == yard.home
    lines = words_of(yard.open("vet")).count("came onto the case")
    assert lines == 1
    assert ADDRESS not in words_of(yard.open("vet"))
