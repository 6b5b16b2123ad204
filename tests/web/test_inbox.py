"""The inbox and the pages about mail: one's own, of one's cases, and ended without signing in."""

import re
from datetime import timedelta

import pytest
from sqlalchemy import select, update

from referral.cases.models import CaseMember
from referral.inbox.queries import PAGE
from referral.inbox.tokens import token_for
from referral.notices.models import MailChoice, Notice
from referral.notices.policy import MAIL_LOST, Topic
from referral.storage.ids import new_id
from tests.factories import NOW
from tests.web.browsing import Browser
from tests.web.yard import a_yard, hidden_in, words_of

WISHES = {"rhythm": "daily", "daily_hour": "18", "zone": "Europe/Dublin", "about": ["plan"]}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def inbox(yard, who, page=1):
    return yard.browser(who).get(f"/notices?page={page}")


def unread_in_navigation(page):
    found = re.search(r'class="count">(\d+)<', page.text)
    return int(found[1]) if found else 0


def sent(yard, who, form, path, data):
    """Send a form of a page as it stands, with what is typed."""
    fields = {**hidden_in(yard.browser(who).get(form), path), **data}
    return yard.browser(who).post(path, fields)


def choice(yard, who):
    with yard.database.reading() as session:
        return session.get(MailChoice, getattr(yard.cast, who).id)


def test_a_notice_names_what_happened_and_leads_to_the_case(yard):
    yard.refer()
    page = inbox(yard, "farrier")
    assert "Marrow, case 1" in words_of(page)
    assert "sent referral 1" in words_of(page)
    assert f'href="{yard.home}"' in page.text
    assert unread_in_navigation(page) == 1
    assert unread_in_navigation(inbox(yard, "other_farrier")) == 0
    assert "Nothing yet" in words_of(inbox(yard, "other_farrier"))
    yard.open("farrier")  # the case page shows it, so it is read
    assert unread_in_navigation(inbox(yard, "farrier")) == 0


def test_notices_are_marked_read_one_by_one_or_all(yard):
    yard.refer()
    for who in ("owner", "owner"):
        yard.done(who, "/red-flags/new", "/red-flags", {"sign": "blood_or_live_tissue"})
    page = inbox(yard, "vet")
    before = unread_in_navigation(page)
    assert before == 2
    one = re.search(r"/notices/[0-9a-f-]{36}/read", page.text)[0]
    assert yard.browser("farrier").post(one).status_code == 404
    assert yard.browser("vet").post(one).status_code == 303
    assert unread_in_navigation(inbox(yard, "vet")) == 1
    assert sent(yard, "vet", "/notices", "/notices/read", {}).status_code == 303
    assert unread_in_navigation(inbox(yard, "vet")) == 0
    assert unread_in_navigation(inbox(yard, "farrier")) > 0


def test_a_notice_shows_nothing_of_a_case_that_one_has_left(yard):
    yard.refer()
    with yard.database.transaction() as session:
        farrier = CaseMember.person_id == yard.cast.farrier.id
        session.execute(update(CaseMember).where(farrier).values(until=NOW))
    page = inbox(yard, "farrier")
    said = words_of(page)
    assert "no part in any more" in said
    for gone in ("Marrow", "referral 1", yard.cast.vet.name):
        assert gone not in said
    assert yard.home not in page.text


def test_pages_hold_so_many_newest_first(yard):
    yard.refer()
    with yard.database.transaction() as session:
        first = session.scalars(
            select(Notice).where(Notice.person_id == yard.cast.farrier.id).limit(1)
        ).one()
        session.add_all(
            Notice(
                id=new_id(NOW), person_id=first.person_id, case_id=first.case_id, kind=first.kind,
                entry_id=first.entry_id, made_at=NOW + timedelta(days=day),
            )
            for day in range(1, PAGE + 5)
        )  # fmt: skip
    pages = [inbox(yard, "farrier", number).text for number in (1, 2, 3)]
    assert [each.count("sent referral 1") for each in pages] == [PAGE, 5, 0]
    days = re.findall(r'<span class="aside">([^<]+20\d\d[^<]*)</span>', pages[0])
    assert days[0].startswith("19 Dec 2026")
    assert days[-1].startswith("30 Nov 2026")
    assert [("Newer" in each, "Older" in each) for each in pages[:2]] == [
        (False, True),
        (True, False),
    ]
    assert "Nothing here" in pages[2]
    for odd in ("0", "-1", "x", "9" * 30, "²"):
        assert inbox(yard, "farrier", odd).status_code == 200


def test_mail_that_was_lost_is_said_with_whom_it_was_for(yard, app):
    yard.refer()
    from referral.inbox.posting import _give_up
    from referral.notices.models import Letter

    with yard.database.transaction() as session:
        notice = session.scalars(
            select(Notice).where(Notice.person_id == yard.cast.farrier.id).limit(1)
        ).one()
        letter = Letter(id=new_id(NOW), person_id=notice.person_id, made_at=NOW)
        session.add(letter)
        session.flush()
        notice.letter_id = letter.id
        session.flush()
        _give_up(session, letter.id, "refused", NOW)
    said = words_of(inbox(yard, "vet"))
    assert f"{yard.cast.farrier.name} could not be reached by mail" in said
    assert "Mail not delivered" in words_of(inbox(yard, "coordinator"))
    with yard.database.reading() as session:
        kinds = session.scalars(select(Notice.kind).where(Notice.undelivered_id.is_not(None)))
        assert set(kinds) == {MAIL_LOST}


def test_wishes_are_kept_and_shown_again(yard):
    page = yard.browser("vet").get("/account/mail")
    assert "set no mail server" in words_of(page)
    assert "Red flags always come" in words_of(page)
    assert "Red flags always come" not in words_of(yard.browser("owner").get("/account/mail"))
    said = {**WISHES, "quiet_from": "22", "quiet_until": "6"}
    assert sent(yard, "vet", "/account/mail", "/account/mail", said).status_code == 303
    kept = choice(yard, "vet")
    assert (kept.rhythm, kept.daily_hour, kept.zone) == ("daily", 18, "Europe/Dublin")
    assert (kept.quiet_from, kept.quiet_until) == (22, 6)
    assert set(kept.without) == set(Topic) - {Topic.PLAN}
    again = yard.browser("vet").get("/account/mail").text
    assert re.findall(r'name="about" value="(\w+)" checked', again) == ["plan"]
    assert '<option value="18" selected>' in again
    assert '<option value="Europe/Dublin" selected>' in again


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"zone": "Yard/Muddy"}, "Choose a time zone from the list."),
        ({"daily_hour": "24"}, "Choose an hour from the list."),
        ({"quiet_from": "22"}, "Quiet hours need a beginning and an end."),
        ({"quiet_from": "5", "quiet_until": "5"}, "Choose an end other than the beginning."),
        ({"about": ["everything"]}, "Must be one of"),
        ({"person_id": "x"}, "This page has no such field."),
    ],
)
def test_wishes_that_cannot_be_are_refused_beside_their_field(yard, changed, said):
    answer = sent(yard, "vet", "/account/mail", "/account/mail", {**WISHES, **changed})
    assert answer.status_code == 422
    assert said in answer.text
    assert choice(yard, "vet") is None


def ending(yard, who, *topics):
    key = yard.app.extensions["referral"].settings.secret_key
    return "/unsubscribe/" + token_for(key, getattr(yard.cast, who).id, topics)


def test_an_address_in_a_mail_ends_that_mail_only_and_only_when_sent(yard):
    """RFC 8058, sections 3.1 and 3.2: a POST of that body, no cookie, no token of a form."""
    sent(yard, "owner", "/account/mail", "/account/mail", {**WISHES, "about": list(Topic)})
    address = ending(yard, "owner", Topic.CONSENT)
    anybody = yard.app.test_client()
    opened = anybody.get(address, base_url="http://localhost")
    assert opened.status_code == 200
    assert "The owner’s consent" in opened.text or "The owner&#39;s consent" in opened.text
    assert choice(yard, "owner").without == []  # a scanner that follows links ends nothing
    for _ in range(2):
        done = anybody.post(
            address,
            data={"List-Unsubscribe": "One-Click"},
            base_url="http://localhost",
            headers={"Origin": "https://elsewhere.example.org"},
        )
        assert done.status_code == 200
    kept = choice(yard, "owner")
    assert kept.without == ["consent"]
    assert (kept.rhythm, kept.daily_hour, kept.zone) == ("daily", 18, "Europe/Dublin")


def test_an_address_opened_again_says_that_it_is_so_already_and_leads_back(yard):
    sent(yard, "owner", "/account/mail", "/account/mail", {**WISHES, "about": list(Topic)})
    browser = Browser(yard.app)
    address = ending(yard, "owner", Topic.CONSENT, Topic.PLAN)
    assert "No more mail about this?" in words_of(browser.get(address))
    assert "No more of this mail" in words_of(browser.post(address))
    again = browser.get(address)
    assert "No more of this mail" in words_of(again)
    assert "No more mail about this?" not in words_of(again)
    assert f'action="{address}"' in again.text
    other = ending(yard, "owner", Topic.RED_FLAG)
    assert "No more mail about this?" in words_of(browser.get(other))
    for _ in range(2):
        back = browser.post(address, {"again": "yes"})
        assert "No more mail about this?" in words_of(back)
    kept = choice(yard, "owner")
    assert kept.without == []
    assert (kept.rhythm, kept.daily_hour, kept.zone) == ("daily", 18, "Europe/Dublin")


def test_a_part_of_what_an_address_ends_is_not_the_whole(yard):
    browser = Browser(yard.app)
    browser.post(ending(yard, "owner", Topic.PLAN))
    both = ending(yard, "owner", Topic.CONSENT, Topic.PLAN)
    assert "No more mail about this?" in words_of(browser.get(both))


def test_who_never_chose_can_end_mail_too(yard):
    yard.app.test_client().post(ending(yard, "owner", Topic.PLAN), base_url="http://localhost")
    kept = choice(yard, "owner")
    assert (kept.without, kept.rhythm, kept.zone) == (["plan"], "at_once", "Europe/London")


def test_an_address_that_we_did_not_write_is_not_there(yard):
    whole = ending(yard, "owner", Topic.PLAN)
    forged = [
        whole[:-1],
        whole + "A",
        whole[:-3] + ("AAA" if not whole.endswith("AAA") else "BBB"),
        "/unsubscribe/" + token_for("another secret", yard.cast.owner.id, [Topic.PLAN]),
        "/unsubscribe/" + token_for(
            yard.app.extensions["referral"].settings.secret_key, new_id(NOW), [Topic.PLAN]
        ),
        "/unsubscribe/%C3%A9%00",
    ]  # fmt: skip
    for each in forged:
        assert Browser(yard.app).client.post(each, base_url="http://localhost").status_code == 404
    assert choice(yard, "owner") is None


def test_other_forms_are_still_taken_from_our_own_pages_only(yard):
    browser = yard.browser("vet")
    answer = browser.client.post("/account/mail", data=WISHES, base_url="http://localhost")
    assert answer.status_code == 403
    assert choice(yard, "vet") is None
