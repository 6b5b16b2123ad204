"""Who owns a horse: somebody the recorder knows, or whoever is asked by address and accepts."""

import io
import json
import re

import pikepdf
import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation, Person
from referral.cases.models import Entry
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from referral.horses.models import Horse
from tests.factories import a_person
from tests.web.signing import at, browser_of, story_in
from tests.web.test_horses_desk import form_of, recorded
from tests.web.yard import a_yard, hidden_in, words_of

TYPED = "Ann Vale"
INVITATION = re.compile(r'action="(/invitations/[^"]+)"')


@pytest.fixture
def yard(app, database):
    found = a_yard(app, database)
    with database.transaction() as session:
        dora = a_person(session, name="Dora Penn", email="dora.penn@example.org")
        found.emails["dora"] = dora.email
    return found


def opened(yard, email, who="vet"):
    """Record a horse whose owner is typed so, open a case on it, and return the two addresses."""
    horse = recorded(yard, who, owner_name=TYPED, owner_email=email).location
    return horse, case_on(yard, horse)


def case_on(yard, horse):
    vet = yard.browser("vet")
    sent = {"horse_id": horse.rsplit("/", 1)[1], "jurisdiction": "GB"}
    sent |= {"farrier_id": str(yard.cast.farrier.id), **form_of(vet.get("/cases/new"))}
    return vet.post("/cases", sent).location


def said(yard, path, who="vet"):
    return words_of(yard.browser(who).get(path))


def invitations(yard, who):
    return INVITATION.findall(yard.browser(who).get("/").text)


def reply(yard, who, word):
    """Answer the only thing that somebody is asked."""
    (path,) = invitations(yard, who)
    hidden = hidden_in(yard.browser(who).get("/"), path)
    return yard.browser(who).post(path, {**hidden, "answer": word})


def kinds(yard, case):
    with yard.database.reading() as session:
        found = case_for(session, yard.cast.vet.id, int(case.rsplit("/", 1)[1]))
        assert list(chain_faults(session, found.case_id)) == []
        rows = select(Entry.kind).where(Entry.case_id == found.case_id).order_by(Entry.seq)
        return list(session.scalars(rows))


def test_an_owner_one_has_shared_a_case_with_is_linked_at_once(yard):
    horse, case = opened(yard, yard.emails["owner"].upper())
    assert yard.cast.owner.name in said(yard, horse)
    assert TYPED not in said(yard, horse)
    assert "Bramble" in said(yard, case, "owner")
    assert kinds(yard, case) == ["case_opened"]


def bytes_of(yard, path, email):
    """Return a page but for the typed address, ids, one-time tokens and the case's number."""
    html = yard.browser("vet").get(path).text.replace(email, "ADDRESS")
    html = re.sub(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", "ID", html)
    html = re.sub(r'(name="(?:idempotency_key|csrf_token)" value=")[^"]+', r"\1KEY", html)
    html = re.sub(r'nonce="[^"]+"', "NONCE", html)
    return re.sub(r"/cases/\d+|case \d+", "CASE", html, flags=re.IGNORECASE)


def test_what_is_answered_is_the_same_whether_or_not_the_address_has_an_account(yard):
    with yard.database.reading() as session:
        people = session.scalars(select(Person.id)).all()
    pages = []
    for email in (yard.emails["dora"], "no.one@example.org", yard.emails["other_farrier"]):
        horse, case = opened(yard, email)
        assert TYPED in said(yard, horse)
        assert email in said(yard, horse)
        assert f"{email} as owner" in said(yard, case)
        assert "asked the owner onto the case" in said(yard, case)
        pages.append([bytes_of(yard, path, email) for path in (horse, case)])
    assert pages[0] == pages[1] == pages[2]
    assert all("Dora Penn" not in page for page in pages[0])
    with yard.database.reading() as session:
        assert session.scalars(select(Person.id)).all() == people
        owners = select(Horse.owner_id).where(Horse.owner_email.is_not(None))
        assert set(session.scalars(owners)) == {None}


def test_whoever_is_asked_is_on_the_case_and_owns_the_horse_once_they_accept(yard):
    horse, case = opened(yard, yard.emails["dora"])
    for path in (horse, case):
        assert yard.browser("dora").get(path).status_code == 404
    assert "asks you onto a case as owner" in said(yard, "/", "dora")
    assert "Bramble" not in said(yard, "/", "dora")
    (path,) = invitations(yard, "dora")
    for stranger in ("other_vet", "owner", "farrier"):
        assert yard.browser(stranger).post(path, {"answer": "accept"}).status_code == 404
    assert reply(yard, "dora", "accept").location == case
    assert yard.browser("dora").get(horse).status_code == 200
    assert "Dora Penn came onto the case" in said(yard, case)
    for page in (said(yard, horse), said(yard, case)):
        assert "Dora Penn" in page
        assert TYPED not in page
        assert "not accepted yet" not in page
        assert "Asked, not on the case" not in page
    assert kinds(yard, case) == ["case_opened", "member_added", "member_joined"]
    assert "Bramble" in yard.browser("dora").get("/examinations/new").text


def test_an_owner_who_accepted_is_known_to_whoever_recorded_the_horse_and_to_no_other(yard):
    horse = recorded(yard, "farrier", owner_email=yard.emails["dora"]).location
    assert "email, not accepted yet" in said(yard, horse, "farrier")
    sent = {"horse_id": horse.rsplit("/", 1)[1], "vet_id": str(yard.cast.vet.id), "limb": "LF"}
    sent |= {"about": "comfort", "words": "Short", "urgency": "7_days", "jurisdiction": "GB"}
    form = form_of(yard.browser("farrier").get("/examinations/new"))
    case = yard.browser("farrier").post("/examinations", {**form, **sent}).location
    assert reply(yard, "dora", "accept").location == case
    again = recorded(yard, "farrier", name="Thistle", owner_email=yard.emails["dora"]).location
    assert "Dora Penn" in said(yard, again, "farrier")
    other = recorded(yard, "other_vet", owner_name=TYPED, owner_email=yard.emails["dora"]).location
    assert TYPED in said(yard, other, "other_vet")
    assert "Dora Penn" not in said(yard, other, "other_vet")


def test_an_owner_of_a_horse_one_recorded_stays_known_where_a_colleague_opened_the_case(yard):
    with yard.database.transaction() as session:
        practice = session.get(Organisation, yard.cast.practice_id)
        yard.emails["colleague"] = a_person(session, "vet", practice).email
    opened(yard, yard.emails["dora"], "colleague")
    reply(yard, "dora", "accept")
    again = recorded(yard, "colleague", name="Thistle", owner_email=yard.emails["dora"]).location
    assert "Dora Penn" in said(yard, again, "colleague")


def test_a_farrier_may_own_the_horse_and_be_asked_as_both(yard):
    email = yard.emails["other_farrier"]
    horse = recorded(yard, owner_email=email).location.rsplit("/", 1)[1]
    vet = yard.browser("vet")
    sent = {"horse_id": horse, "jurisdiction": "GB", "farrier_email": email}
    case = vet.post("/cases", {**form_of(vet.get("/cases/new")), **sent}).location
    assert len(invitations(yard, "other_farrier")) == 2
    for path in invitations(yard, "other_farrier"):
        hidden = hidden_in(yard.browser("other_farrier").get("/"), path)
        answer = yard.browser("other_farrier").post(path, {**hidden, "answer": "accept"})
        assert answer.location == case
    assert kinds(yard, case).count("member_joined") == 2


def test_whoever_declines_is_no_owner_and_can_be_asked_again_on_the_case(yard):
    horse, case = opened(yard, yard.emails["dora"])
    assert reply(yard, "dora", "decline").location == "/"
    for path in (horse, case):
        assert yard.browser("dora").get(path).status_code == 404
    assert TYPED in said(yard, horse)
    vet = yard.browser("vet")
    form = vet.get(f"{case}/members/new")
    sent = {"role": "owner", "email": yard.emails["dora"], **hidden_in(form, f"{case}/members")}
    assert vet.post(f"{case}/members", sent).status_code == 303
    assert reply(yard, "dora", "accept").location == case
    assert "Dora Penn" in said(yard, horse)
    assert 'value="owner"' not in vet.get(f"{case}/members/new").text


def test_somebody_known_who_is_brought_on_as_owner_owns_the_horse(yard):
    horse, case = opened(yard, yard.emails["dora"])
    vet = yard.browser("vet")
    hidden = hidden_in(vet.get(f"{case}/members/new"), f"{case}/members")
    sent = {"role": "owner", "person_id": str(yard.cast.owner.id), **hidden}
    assert vet.post(f"{case}/members", sent).status_code == 303
    assert yard.cast.owner.name in said(yard, horse, "owner")


def test_an_owner_who_has_accepted_is_on_the_next_case_at_once_and_one_asked_is_asked_again(yard):
    horse, first = opened(yard, yard.emails["dora"])
    second = case_on(yard, horse)
    assert len(invitations(yard, "dora")) == 2
    path = invitations(yard, "dora")[0]
    hidden = hidden_in(yard.browser("dora").get("/"), path)
    assert yard.browser("dora").post(path, {**hidden, "answer": "accept"}).location == first
    assert yard.browser("dora").get(second).status_code == 404
    assert yard.browser("dora").get(case_on(yard, horse)).status_code == 200


def test_the_loop_goes_to_consent_and_onto_the_sheet_before_the_owner_has_answered(
    app, tmp_path, clock
):
    story = story_in(app, tmp_path)
    vet = browser_of(app, story, "vet")
    typed = {"name": "Bramble", "animal": "adult_horse", "owner_name": TYPED}
    typed |= {"owner_email": "no.one@example.org", **form_of(vet.get("/horses/new"))}
    horse = vet.post("/horses", typed).location.rsplit("/", 1)[1]
    sent = {"horse_id": horse, "farrier_id": str(story.cast.farrier.id), "jurisdiction": "GB"}
    case = vet.post("/cases", {**sent, **form_of(vet.get("/cases/new"))}).location
    story.number = int(case.rsplit("/", 1)[1])
    story.refer()
    story.submit()
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    story.sign_plan()
    at(story, clock)
    assert sheet_owner(story) == ("", TYPED)
    path = f"{case}/plans/1/consents"
    form = vet.get(f"{path}/new")
    assert f'value="{TYPED}"' in form.text
    answer = {"decision": "given", "given_by": TYPED, "authority": "owner", "how": "by telephone"}
    answer |= {"given_on": story.today.isoformat(), **hidden_in(form, path)}
    assert vet.post(path, answer).status_code == 303
    with story.database.reading() as session:
        assert story.access(session, "vet").state.task == "Fit and record the reset"


def sheet_owner(story):
    """Return who stands as owner on the signed sheet of the plan."""
    pdf = story.office.blobs.get(story.latest("agreed_plan").pdf_sha256)
    with pikepdf.open(io.BytesIO(pdf)) as opened_pdf:
        told = json.loads(opened_pdf.attachments["handover.json"].get_file().read_bytes())
    return told["owner"]["person_id"], told["owner"]["name"]
