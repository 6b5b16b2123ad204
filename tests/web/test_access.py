"""Every address asked by every role and by strangers: one table says what each is answered.

A case's addresses answer a stranger as they answer for a case that is not there.
Posts are sent empty, so an entitled person's answer is what the page says to an
empty form (422), or that the case is not at that point (409); nothing is changed.
"""

from uuid import UUID

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.assessments.models import Assessment, AssessmentPhoto
from referral.assessments.photos import AddPhotos, SentPhoto, add_photos
from referral.assessments.service import Assess, assess
from referral.cases.models import CaseMember, Limit
from referral.cases.remarks import RaiseFlag, raise_flag
from referral.core.workflow import Role
from referral.films.models import Film
from referral.sheets.models import Sheet, SheetProposal
from referral.shoes.models import StockShoe
from referral.shoes.service import StockLine, add_shoe, forge_of
from referral.storage.ids import new_id
from tests.factories import NOW, a_person, an_actor
from tests.web.browsing import Browser
from tests.web.signing import story_in
from tests.web.yard import plain_jpeg, rows_in, words_of

ROLES = ("vet", "farrier", "apprentice", "owner", "coordinator")
STRANGERS = ("other_vet", "other_farrier")
NOBODY = "nobody"

# vet farrier apprentice owner coordinator, then the strangers' vet and farrier, then nobody
TABLE = {
    "GET desk.desk": "200 200 200 200 200 200 200 303",
    "GET diary.diary": "200 200 200 200 200 200 200 303",
    "GET diary.week": "200 200 200 200 200 200 200 303",
    "GET bookings.new_visit": "200 200 403 403 200 404 404 303",
    "POST bookings.book": "422 422 403 403 422 404 404 401",
    "GET accounts.account": "200 200 200 200 200 200 200 303",
    "GET practices.show": "200 404 404 404 404 404 404 303",
    "POST practices.out_of_hours": "303 404 404 404 404 404 404 401",
    "POST accounts.new_password": "422 422 422 422 422 422 422 401",
    "POST accounts.end_one": "404 404 404 404 404 404 404 401",
    "POST accounts.end_all": "303 303 303 303 303 303 303 401",
    "POST desk.open_one": "422 403 403 403 403 422 403 401",
    "GET desk.case": "200 200 200 200 200 404 404 303",
    "GET cases.new": "200 200 200 200 403 404 404 303",
    "POST cases.acknowledgement": "403 409 403 403 403 404 404 401",
    "POST cases.answer": "422 403 403 403 403 404 404 401",
    "POST cases.closure": "422 403 403 403 403 404 404 401",
    "POST films.add": "422 422 422 422 403 404 404 401",
    "GET joining.new": "200 200 403 403 200 404 404 303",
    "POST joining.ask": "422 422 403 403 422 404 404 401",
    "POST joining.withdraw": "404 404 403 403 404 404 404 401",
    "POST joining.again": "404 404 403 403 404 404 404 401",
    "GET letters_to_asked.show": "404 404 404 404 404 404 404 404",
    "POST letters_to_asked.answer": "404 404 404 404 404 404 404 404",
    "POST joining.reply": "404 404 404 404 404 404 404 401",
    "GET correcting.new": "200 403 403 403 403 404 404 303",
    "POST correcting.keep": "422 403 403 403 403 404 404 401",
    "GET handing.new": "200 200 403 403 200 404 404 303",
    "POST handing.keep": "422 422 403 403 422 404 404 401",
    "GET desk.past": "404 404 404 404 404 404 404 303",
    "GET rechecks.new": "200 200 403 403 403 404 404 303",
    "POST rechecks.keep": "422 422 403 403 403 404 404 401",
    "GET notes.new": "200 200 403 403 403 404 404 303",
    "POST notes.keep": "422 422 403 403 403 404 404 401",
    "POST notes.confirm": "404 404 403 404 403 404 404 401",
    "GET repeats.new": "200 403 403 403 403 404 404 303",
    "POST repeats.keep": "422 403 403 403 403 404 404 401",
    "GET repeats.scatter": "200 200 200 200 200 200 200 303",
    "GET desk.summary": "200 200 200 200 200 404 404 303",
    "GET desk.history": "200 200 200 200 200 404 404 303",
    "GET desk.trends": "200 200 200 200 200 404 404 303",
    "GET assessments.new": "200 200 403 403 403 404 404 303",
    "POST assessments.record": "422 422 403 403 403 404 404 401",
    "GET assessments.show": "200 200 200 200 200 404 404 303",
    "POST assessments.add_photo": "422 422 403 403 403 404 404 401",
    "GET assessments.photo": "200 200 200 200 200 404 404 303",
    "GET films.show": "200 200 200 200 200 404 404 303",
    "POST films.measure": "422 403 403 403 403 404 404 401",
    "GET films.original": "200 403 403 403 403 404 404 303",
    "GET films.picture": "200 200 200 200 200 404 404 303",
    "POST films.reading_preview": "200 403 403 403 403 404 404 401",
    "GET films.new_film": "200 200 200 200 403 404 404 303",
    "POST cases.limit": "422 403 403 403 403 404 404 401",
    "POST cases.withdraw": "422 403 403 403 403 404 404 401",
    "GET cases.new_withdrawal": "200 403 403 403 403 404 404 303",
    "POST cases.observation": "422 422 422 422 403 404 404 401",
    "POST plans.preview": "200 200 403 403 403 404 404 401",
    "POST windows.ask": "422 422 422 422 422 422 422 401",
    "POST plans.submit": "403 422 403 403 403 404 404 401",
    "GET plans.show": "200 200 200 200 200 404 404 303",
    "POST plans.accept": "403 409 403 403 403 404 404 401",
    "POST sheets.propose_agreement": "422 403 403 403 403 404 404 401",
    "POST plans.change": "409 403 403 403 403 404 404 401",
    "GET plans.new_changes": "200 403 403 403 403 404 404 303",
    "POST plans.consent": "422 422 403 422 403 404 404 401",
    "GET plans.new_consent": "200 200 403 200 403 404 404 303",
    "POST plans.again": "409 409 403 403 403 404 404 401",
    "POST plans.acknowledge": "422 422 403 403 403 404 404 401",
    "POST plans.send_it_back": "422 403 403 403 403 404 404 401",
    "GET sheets.plan_signature_form": "404 200 404 404 404 404 404 303",
    "POST sheets.plan_signature": "404 422 404 404 404 404 404 401",
    "GET plans.new_plan": "403 200 403 403 403 404 404 303",
    "POST cases.problem": "422 403 403 403 403 404 404 401",
    "POST cases.question": "403 422 403 403 403 404 404 401",
    "POST films.readings": "422 422 403 403 403 404 404 401",
    "GET films.new_readings": "200 200 403 403 403 404 404 303",
    "POST cases.flag": "422 422 422 422 422 404 404 401",
    "POST cases.flag_answer": "422 403 403 403 403 404 404 401",
    "GET cases.new_flag_answer": "200 403 403 403 403 404 404 303",
    "POST cases.referral": "422 403 403 403 403 404 404 401",
    "POST cases.reopening": "422 403 403 403 403 404 404 401",
    "POST sheets.propose_reset": "404 422 404 404 404 404 404 401",
    "GET resets.show": "200 200 200 200 200 404 404 303",
    "POST resets.correction": "422 403 403 403 403 404 404 401",
    "GET sheets.countersign_form": "200 404 404 404 404 404 404 303",
    "POST sheets.countersign": "422 404 404 404 404 404 404 401",
    "GET resets.new_reset": "404 200 404 404 404 404 404 303",
    "GET erasing.show": "200 403 403 403 403 404 404 303",
    "POST erasing.place": "422 403 403 403 403 404 404 401",
    "POST erasing.lift": "422 403 403 403 403 404 404 401",
    "GET erasing.confirm": "200 403 403 403 403 404 404 303",
    "POST erasing.erase_it": "422 403 403 403 403 404 404 401",
    "GET letters.new": "200 403 403 403 403 404 404 303",
    "POST letters.order": "422 403 403 403 403 404 404 401",
    "GET sheets.download": "200 200 200 200 200 404 404 303",
    "GET sheets.picture": "200 200 200 200 200 404 404 303",
    "GET sheets.proposal": "404 200 404 404 404 404 404 303",
    "POST sheets.sign": "404 422 404 404 404 404 404 401",
    "GET desk.new_case": "200 403 403 403 403 200 403 303",
    "GET inbox.notices": "200 200 200 200 200 200 200 303",
    "POST inbox.read_all": "303 303 303 303 303 303 303 401",
    "POST inbox.read_one": "404 404 404 404 404 404 404 401",
    "GET inbox.wishes": "200 200 200 200 200 200 200 303",
    "POST inbox.new_wishes": "422 422 422 422 422 422 422 401",
    "GET inbox.unsubscribing": "404 404 404 404 404 404 404 404",
    "POST inbox.unsubscribe": "404 404 404 404 404 404 404 404",
    "GET inbox.stopping": "404 404 404 404 404 404 404 404",
    "POST inbox.stop": "404 404 404 404 404 404 404 404",
    "GET codes.show": "200 200 403 403 403 200 200 303",
    "POST codes.begin": "422 422 403 403 403 422 422 401",
    "POST codes.confirm": "422 422 403 403 403 422 422 401",
    "POST codes.remove": "422 422 403 403 403 422 422 401",
    "GET certificates.show": "200 200 403 403 403 200 200 303",
    "POST certificates.bring": "422 422 403 403 403 422 422 401",
    "POST certificates.remove": "422 422 403 403 403 422 422 401",
    "GET checks.form": "200 200 200 200 200 200 200 200",
    "POST checks.check": "422 422 422 422 422 422 422 422",
    "GET checks.sheet": "200 200 200 200 200 200 200 200",
    "POST checks.check_sheet": "422 422 422 422 422 422 422 422",
    "GET authority.root": "200 200 200 200 200 200 200 200",
    "GET authority.withdrawn": "200 200 200 200 200 200 200 200",
    "GET healthz": "200 200 200 200 200 200 200 200",
    "GET horses.horses": "200 200 200 200 200 200 200 303",
    "POST horses.record": "422 422 403 403 403 422 422 401",
    "GET horse.show": "200 200 200 200 200 404 404 303",
    "GET horse.new_request": "200 200 200 200 200 200 200 303",
    "POST horse.ask": "422 422 422 422 422 422 422 401",
    "POST cases.taking_up": "409 403 403 403 403 404 404 401",
    "POST cases.turning_down": "422 403 403 403 403 404 404 401",
    "GET horses.new_owner": "409 404 403 403 403 404 404 303",
    "POST horses.mend_owner": "409 404 403 403 403 404 404 401",
    "GET horses.new_horse": "200 200 403 403 403 200 200 303",
    "GET rules.book": "200 200 200 200 200 200 200 303",
    "GET rules.show": "200 200 200 200 200 200 200 303",
    "GET rules.new_change": "200 403 403 403 403 200 403 303",
    "POST rules.change": "422 403 403 403 403 422 403 401",
    "POST trials.change": "422 403 403 403 403 422 403 401",
    "GET rules.new_own": "200 403 403 403 403 200 403 303",
    "POST rules.own": "422 403 403 403 403 422 403 401",
    "POST trials.own": "422 403 403 403 403 422 403 401",
    "GET shoes.stock": "404 200 404 404 404 404 200 303",
    "GET shoes.new_shoe": "404 200 404 404 404 404 200 303",
    "POST shoes.add": "404 422 404 404 404 404 422 401",
    "GET shoes.show": "404 200 404 404 404 404 404 303",
    "POST shoes.change": "404 409 404 404 404 404 404 401",
    "POST shoes.remove": "404 409 404 404 404 404 404 401",
    "GET shoes.outline": "404 200 404 404 404 404 404 303",
    "GET shoes.give_out": "404 200 404 404 404 404 200 303",
    "GET shoes.new_list": "404 200 404 404 404 404 200 303",
    "POST shoes.take_list": "404 422 404 404 404 404 422 401",
    "GET plan_shoes.show": "200 200 200 200 200 404 404 303",
    "GET plan_shoes.outline": "200 200 200 200 200 404 404 303",
    "GET accounts.sign_in": "303 303 303 303 303 303 303 200",
    "POST accounts.sign_in_now": "422 422 422 422 422 422 422 422",
    "POST accounts.sign_out": "303 303 303 303 303 303 303 303",
    "GET static": "200 200 200 200 200 200 200 200",
}


@pytest.fixture
def story(app, tmp_path, clock):
    """A case with everything on it: film, limit, agreed plan, reset, sheets, a live red flag."""
    story = story_in(app, tmp_path)
    story.refer(with_film=True)
    story.submit()
    story.agree(1)
    draft_id, _digest = story.propose_reset(story.fitted(1))
    with story.database.reading() as session:
        draft = session.get_one(SheetProposal, draft_id)
        left = {column.name: getattr(draft, column.name) for column in draft.__table__.columns}
    story.fit(1)
    with story.database.transaction() as session:
        if session.get(SheetProposal, draft_id) is None:
            session.add(SheetProposal(**left))
        owner = story.access(session, "owner")
        seen = Assess("LF", story.today, {"landing": "flat"}, {}, None, story.today)
        assessment = assess(session, story.access(session, "farrier"), seen, story.now)
        taken = AddPhotos(
            assessment, "whole", [SentPhoto(plain_jpeg((9, 9)), "a.jpg")], story.today
        )
        blobs = app.extensions["referral"].blobs
        add_photos(session, story.access(session, "farrier"), blobs, taken, story.now)
        put_on_the_shelf(session, story)
        flag = RaiseFlag("blood_or_live_tissue", "LF", None, story.today)
        raise_flag(session, owner, flag, story.now)
    clock.now = story.now
    app.extensions["referral"].work()
    return story


def put_on_the_shelf(session, story):
    farrier = an_actor(session, session.merge(story.cast.farrier), story.now)
    line = StockLine("open", "steel", "2", 135.0, 130.0, 20.0, 8.0, 4, None)
    add_shoe(session, farrier, forge_of(farrier, story.cast.forge_id), line, story.now)


def browsers_of(app, story):
    """Return a signed-in browser for each role and stranger, by name."""
    browsers = {}
    with story.database.transaction() as session:
        case_id = story.access(session, "vet").case_id
        people = {name: getattr(story.cast, name) for name in ROLES if hasattr(story.cast, name)}
        people |= {name: getattr(story.cast, name) for name in STRANGERS}
        emails = {name: session.merge(person).email for name, person in people.items()}
        for role in set(ROLES) - set(emails):
            forge = session.get(Organisation, story.cast.forge_id)
            person = a_person(session, role, forge)
            emails[role] = person.email
            session.add(member(case_id, person.id, role))
    for name, email in emails.items():
        browsers[name] = Browser(app)
        assert browsers[name].sign_in(email).status_code == 303
    return browsers


def member(case_id: UUID, person_id: UUID, role: str) -> CaseMember:
    return CaseMember(
        id=new_id(NOW), case_id=case_id, person_id=person_id, organisation_id=None,
        role=Role(role).value, since=NOW, until=None,
    )  # fmt: skip


LEFT_OUT = {"accounts.sign_out", "accounts.end_all"}
"""What ends the browser's own session is asked of nobody only; its own tests ask the rest."""


def every_address(app, story):
    """Yield (row of the table, method, address) for every route there is."""
    values = values_in(story)
    addresses = app.url_map.bind("localhost")
    for rule in app.url_map.iter_rules():
        for method in sorted(rule.methods - {"HEAD", "OPTIONS"}):
            given = {name: values[name] for name in rule.arguments}
            if "/erasures/" in rule.rule:
                given["what"] = "film"
            if "/proposals/" in rule.rule:
                given["sheet_id"] = values["draft_id"]
            yield (
                f"{method} {rule.endpoint}",
                method,
                addresses.build(rule.endpoint, given, method=method),
            )


def asked(browser, method, path, data=None):
    answer = browser.get(path) if method == "GET" else browser.post(path, data)
    answer.close()
    return answer


def values_in(story) -> dict[str, object]:
    """Return what stands for each part of an address: things that are on the case."""
    with story.database.reading() as session:
        access = story.access(session, "vet")
        return {
            "number": access.number,
            "n": 1,
            "page": 1,
            "what": "observations",
            "kind": "calls",
            "call_id": new_id(NOW),
            "invitation_id": new_id(NOW),
            "organisation_id": story.cast.practice_id,
            "horse_id": access.horse_id,
            "film_id": session.scalars(select(Film.id)).one(),
            "subject_id": session.scalars(select(Film.id)).one(),
            "assessment_id": session.scalars(select(Assessment.id)).one(),
            "photo_id": session.scalars(select(AssessmentPhoto.id)).one(),
            "limit_id": session.scalars(select(Limit.id)).one(),
            "flag_id": next(iter(access.state.live_flags)),
            "session_id": new_id(NOW),
            "shoe_id": session.scalars(select(StockShoe.id)).one(),
            "limb": "LF",
            "sheet_id": session.scalars(select(Sheet.id).limit(1)).one(),
            "draft_id": session.scalars(select(SheetProposal.id).limit(1)).one(),
            "notice_id": new_id(NOW),
            "token": "AAAA",
            "rule_id": "R22",
            "filename": "css/site.css",
        }


def test_every_address_answers_every_role_as_the_table_says(app, story):
    browsers = browsers_of(app, story)
    before = rows_in(story.database)
    found, unlike = {}, []
    for row, method, path in every_address(app, story):
        said = []
        for who in (*ROLES, *STRANGERS, NOBODY):
            if row.split(" ")[1] in LEFT_OUT and who != NOBODY:
                said.append("303")
                continue
            answer = asked(browsers.get(who) or Browser(app), method, path)
            said.append(str(answer.status_code))
            if who in STRANGERS and path.startswith("/cases/1"):
                missing = asked(browsers[who], method, path.replace("/cases/1", "/cases/4711", 1))
                unlike += [path] if words_of(missing) != words_of(answer) else []
        found[row] = " ".join(said)
    assert found == TABLE
    assert unlike == []
    assert rows_in(story.database) == before


def test_no_case_is_told_from_one_that_is_not_there(app):
    on_a_case = {
        f"{method} {rule.endpoint}"
        for rule in app.url_map.iter_rules()
        for method in rule.methods - {"HEAD", "OPTIONS"}
        if "number" in rule.arguments
    }
    assert len(on_a_case) > 40
    strangers = {row: TABLE[row].split()[len(ROLES) : -1] for row in on_a_case}
    assert {row for row, said in strangers.items() if said != ["404", "404"]} == set()


PREVIEWS = {"POST plans.preview", "POST windows.ask", "POST films.reading_preview"}
GARBAGE = (
    "",
    "\0",
    "NaN",
    "-1e999",
    "9" * 400,
    "[[[[",
    "2026-13-45",
    "{{ 7 * 7 }}<script>",
    "\N{ZERO WIDTH JOINER}\N{RIGHT-TO-LEFT OVERRIDE}x",
    "x" * 9000,
)
FIELDS = """
    owner due_on films_wanted within part to_id from_on vet_id vet_email
    email farrier_email person_id role about answer authority
    at_least at_most birth_year born_year breed chip condition cost decision
    farrier_id fit_on fitted_on given_by given_on goals happened_on horse_id how
    interval_weeks landmarks limb limbs marker_ends marker_length_mm measure name
    natural_width no_limits outcome owner_email owner_name palmar_angle_deg password
    pdf_sha256 reason recheck_on recheck_owner recheck_role reference replaces_id revision
    scale seen_sha256 sheet_id shod sign stage strength taken_on trim until urgency view
    visit_on visit_at comes hour
    words LF-toe_trim_mm LF-wedge_deg LF-category LF-nail_count LF-reason-toe_trim_mm
    waiver_x seen_x idempotency_key why
    practice stance since evidence source topic rule_text limit_1_at_most limit_1_severity inside
""".split()  # noqa: SIM905 - a list of words reads best as one


@pytest.mark.parametrize("who", ["vet", "farrier"])
def test_garbage_never_breaks_a_page_and_stores_nothing(app, story, who):
    browser = browsers_of(app, story)[who]
    before = rows_in(story.database)
    broken, done = [], []
    for row, method, path in every_address(app, story):
        if method != "POST" or row.split(" ")[1] in LEFT_OUT:
            continue
        for garbage in GARBAGE:
            answer = asked(browser, method, path, dict.fromkeys(FIELDS, garbage))
            if answer.status_code >= 500 or "Traceback" in answer.text:
                broken.append((row, garbage[:20], answer.status_code))
            elif answer.status_code < 400 and row not in PREVIEWS:
                done.append((row, garbage[:20], answer.status_code))
    assert broken == []
    assert done == []
    assert rows_in(story.database) == before
