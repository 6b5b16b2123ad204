"""What the vet alone signs says what it must, to whom it is for, and rests on the record."""

import json
import re
import subprocess
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from referral.cases.models import CaseMember, Entry
from referral.cases.remarks import close_case
from referral.cases.service import Words
from referral.cases.timeline import chain_faults
from referral.errors import Invalid, NotAllowed, OutOfDate
from referral.plans.consents import RecordConsent, record_consent
from referral.plans.models import Consent
from referral.resets.rechecks import SetRecheck, set_recheck
from referral.sheets.letters import Letter, draft_letter
from referral.sheets.orders import keep_draft
from referral.sheets.owners import _cost, agreed_plan
from referral.sheets.plainly import PROBLEMS, problem_plainly, work_plainly
from referral.sheets.sealing import first_to_seal, seal
from referral.sheets.service import sign_first
from referral.sheets.snapshot import SheetKind
from referral.sheets.verify import verify_pdf
from referral.shoes.choices import CATEGORIES
from referral.storage.ids import new_id
from referral.web.written import day
from tests.features.resets.story import a_story

JARGON = re.compile(
    r"palmar|dorsal|lateral|medial|distal|proximal|phalan|breakover|carpal|caudal|dorsopalmar"
    r"|_|±|\bU = |findings?\b|verdict|CANNOT|rulebook",
    re.IGNORECASE,
)


def text_of(pdf: bytes) -> str:
    done = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return " ".join(done.stdout.decode().split())


@pytest.fixture
def story(database, tmp_path):
    told = a_story(database, tmp_path)
    told.refer()
    return told


def drafted(story, kind, words=None, who="vet"):
    with story.database.reading() as session:
        access = story.access(session, who)
        return draft_letter(session, access, story.office, Letter(kind, words), story.now)


def signed(story, draft, who="vet"):
    with story.database.transaction() as session:
        access = story.access(session, who)
        kept = keep_draft(session, access, story.office, draft)
        story.move(minutes=1)
        asked = session, access, story.office, kept.id
        made = seal(story.office, first_to_seal(*asked, kept.pdf_sha256, story.now))
        return sign_first(*asked, made, story.now)


@pytest.mark.pdf
def test_the_referral_says_what_is_asked_within_which_limits_and_what_was_measured(story):
    draft = drafted(story, SheetKind.REFERRAL, "Ring me from the yard.")
    text = text_of(draft.pdf)
    for said in (
        "Raise the heel",
        "Ring me from the yard.",
        "at least 3°",
        "after fitting",
        "No film: measured by readings stated by hand.",
        "Palmar angle",
        "Stop, and ring the vet now",
    ):
        assert said in text, said
    content = json.loads(draft.snapshot)
    assert content["kind"] == "referral"
    assert [each["says"] for each in content["limits"]] == ["at least 3°"]
    assert "Findings" not in text


@pytest.mark.pdf
def test_signing_one_is_an_entry_a_signature_and_a_sheet_that_the_next_replaces(story):
    first = signed(story, drafted(story, SheetKind.REFERRAL))
    assert first.is_complete
    second = drafted(story, SheetKind.REFERRAL)
    assert json.loads(second.snapshot)["replaces"] == str(first.sheet_id)
    signed(story, second)
    with story.database.reading() as session:
        kinds = session.scalars(select(Entry.kind).order_by(Entry.seq)).all()
        assert kinds[-2:] == ["sheet_signed", "sheet_signed"]
        assert list(chain_faults(session, story.access(session, "vet").case_id)) == []
    pdf = story.office.blobs.get(first.pdf_sha256)
    answer = verify_pdf(pdf, story.office.authority.root_pem, story.office.authority.crl(story.now))
    assert answer.exit_status == 0
    assert [each.role for each in answer.signatures] == ["vet"]


@pytest.mark.pdf
def test_a_case_that_moved_on_is_not_signed_as_it_was(story):
    draft = drafted(story, SheetKind.REFERRAL)
    story.submit()
    with pytest.raises(OutOfDate):
        signed(story, draft)


@pytest.mark.pdf
def test_the_owners_copy_is_plain_and_says_cost_risks_outlook_and_the_next_day(story):
    with pytest.raises(Invalid, match="No plan has been agreed yet"):
        drafted(story, SheetKind.OWNER_COPY)
    story.submit()
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    early = text_of(drafted(story, SheetKind.OWNER_COPY).pdf)
    assert "What will be done: left fore" in early
    assert "Not written down yet" in early
    story.sign_plan()
    story.consent(1)
    story.fit(1)
    story.countersign(1)
    text = text_of(drafted(story, SheetKind.OWNER_COPY, "We bring the toe back.").pdf)
    for said in (
        "What was done on",
        "4 mm of horn at the toe",
        "120 a reset",
        "Loose shoe",
        "Better in a year",
        "Soft ground for a week",
        "The farrier comes again",
        "31 Dec 2026",
        "We bring the toe back.",
        "Stop, and ring the vet now",
    ):
        assert said in text, said
    assert JARGON.findall(text) == []


def test_the_owners_copy_names_the_one_whose_the_recheck_is_and_the_earlier_day_first(story):
    story.refer()
    story.submit()
    story.agree(1)
    story.fit(1)
    story.countersign(1)
    with story.database.transaction() as session:
        vet = story.access(session, "vet")
        other = CaseMember(
            id=new_id(story.now),
            case_id=vet.case_id,
            person_id=story.cast.other_vet.id,
            organisation_id=None,
            role="vet",
            since=story.now,
            until=None,
        )
        session.add(other)
        session.flush()
        day_before = date(2026, 12, 30)
        recheck = SetRecheck(day_before, "vet", other.person_id, None, None, story.today)
        set_recheck(session, vet, recheck, story.now)
    text = " ".join(text_of(drafted(story, SheetKind.OWNER_COPY).pdf).split())
    looked = f"30 Dec 2026 The foot is looked at again – {story.cast.other_vet.name}"
    assert text.index(looked) < text.index("31 Dec 2026 The farrier comes again")


def consent(story, n, **said):
    story.move(minutes=5)
    nothing = dict.fromkeys(("cost", "resets_expected", "risks", "outlook"))
    answer = {"decision": "given", **nothing, **said}
    with story.database.transaction() as session:
        owner = story.access(session, "owner")
        command = RecordConsent(
            n=n, given_by="Ann Owner", authority="owner", how="by telephone",
            given_on=story.today, based_on=None, **answer,
        )  # fmt: skip
        record_consent(session, owner, command, story.office.rulebook, story.now)


def owners_facts(story):
    """Return what the owner's copy says of cost, risks and outlook."""
    with story.database.reading() as session:
        access = story.access(session, "vet")
        plan = agreed_plan(session, access)
        return dict(_cost(session, access, plan).facts)


@pytest.mark.pdf
def test_the_owners_copy_looks_for_what_the_last_consent_leaves_out(story):
    story.submit()
    story.agree(1)
    story.fit(1)
    story.countersign(1)
    story.move(days=30)
    story.submit()
    story.sign_first("vet", story.propose_agreement(story.agreement(2)))
    story.sign_plan()
    before = "120 a reset (said on 25 Nov 2026 for plan 1; ask whether it still holds)"
    unsaid = "Not written down yet: ask the vet and the farrier before you agree."
    assert owners_facts(story)["Cost"] == before
    consent(story, 2, outlook="Sound by spring")
    facts = owners_facts(story)
    assert facts["Cost"] == before
    assert facts["How many visits"].startswith("3 (said on 25 Nov 2026 for plan 1")
    # what can go wrong is a plan's own: another shoe, another risk
    assert facts["What can go wrong"] == unsaid
    assert facts["Outlook"] == "Sound by spring"
    assert facts["You agreed"] == f"Ann Owner, {day(story.today)}"
    with story.database.transaction() as session:
        first = session.scalars(select(Consent).order_by(Consent.recorded_at.desc())).first()
        first.cost, first.risks = "90", "It may pull off"
        columns = {c.name: getattr(first, c.name) for c in Consent.__table__.columns}
        later = {"id": new_id(story.now), "recorded_at": story.now + timedelta(minutes=9)}
        nothing = dict.fromkeys(("cost", "risks", "outlook"))
        session.add(Consent(**{**columns, **later, **nothing}))
    facts = owners_facts(story)
    on = day(story.today)
    assert facts["Cost"] == f"90 (said on {on}; ask whether it still holds)"
    assert facts["What can go wrong"].startswith(f"It may pull off (said on {on}; ask")


@pytest.mark.pdf
def test_the_closing_report_tells_the_course_once_the_case_is_closed(story):
    with pytest.raises(Invalid, match="not closed"):
        drafted(story, SheetKind.CLOSING)
    story.submit()
    story.agree(1)
    story.fit(1)
    story.countersign(1)
    with story.database.transaction() as session:
        access = story.access(session, "vet")
        close_case(session, access, "improved", Words("Short spans.", story.today), story.now)
    draft = drafted(story, SheetKind.CLOSING)
    content = json.loads(draft.snapshot)
    assert [each["n"] for each in content["visits"]] == [1]
    assert content["visits"][0]["answer"] == "countersigned"
    text = text_of(draft.pdf)
    for said in ("Improved", "Short spans.", "Reset by reset", "1, from 26 Nov 2026"):
        assert said in text, said
    assert signed(story, draft).is_complete


def test_only_the_vet_has_such_a_sheet_made(story):
    for who in ("farrier", "owner"):
        with pytest.raises(NotAllowed):
            drafted(story, SheetKind.REFERRAL, who=who)


def test_every_problem_and_every_shoe_has_plain_words():
    for condition in PROBLEMS:
        assert JARGON.findall(problem_plainly(condition, "suspected")) == []
    for category, _name in CATEGORIES:
        said = work_plainly({"shoe": {"category": category, "material": "steel"}}, done=True)
        assert JARGON.findall(" ".join(said)) == []
    assert work_plainly({}, done=False) == (
        "No horn is to be taken off.",
        "The foot stays without a shoe.",
    )
