"""Whole stories: from the referral to the third reset, and what is refused on the way."""

import json
from dataclasses import replace
from datetime import timedelta
from io import BytesIO

import pikepdf
import pytest
from sqlalchemy import func, select, text

from referral.cases.queries import case_for
from referral.cases.service import Words
from referral.core.workflow import Stage
from referral.erasing.checking import check_record
from referral.errors import Invalid, NotAllowed, NotFound, OutOfDate, WrongState
from referral.films.models import Film
from referral.films.phantom import Foot
from referral.plans.models import Waiver
from referral.plans.queries import plan_of
from referral.resets.models import Deviation, Recheck, Reset
from referral.resets.queries import reset_of
from referral.resets.service import ask_correction
from referral.sheets.models import Sheet, SheetProposal, Signature
from referral.sheets.queries import issued_lookup
from referral.sheets.sealing import first_to_seal, seal
from referral.sheets.service import sign_agreed_plan, sign_first
from referral.sheets.verify import verify_pdf
from tests.factories import a_limit
from tests.features.resets.story import Story, a_story

LOWER = {"LF.heel_trim_mm": "The heels were lower than on the film"}


@pytest.fixture
def story(database, tmp_path) -> Story:
    return a_story(database, tmp_path)


def stage_of(story):
    with story.database.reading() as session:
        return story.access(session, "vet").state.stage


def count(story, model, *where):
    with story.database.reading() as session:
        return session.scalar(select(func.count()).select_from(model).where(*where))


def checked(story):
    with story.database.reading() as session:
        return check_record(session, story.office.blobs)


def verified(story, sheet):
    pdf = story.office.blobs.get(sheet.pdf_sha256)
    authority = story.office.authority
    with story.database.reading() as session:
        return verify_pdf(pdf, authority.root_pem, authority.crl(story.now), issued_lookup(session))


def assert_signed_by(story, sheet, *roles):
    answer = verified(story, sheet)
    assert answer.exit_status == 0, answer.says
    assert [each.role for each in answer.signatures] == list(roles)
    assert [each.who for each in answer.signatures] == [
        getattr(story.cast, role).name for role in roles
    ]
    assert answer.issued_here is True
    assert answer.replaced_by is None  # a plan that was carried out is not replaced by the next


def test_three_resets_each_agreed_signed_twice_consented_and_countersigned(story):
    story.refer()
    for n in (1, 2, 3):
        story.submit()
        agreed = story.agree(n)
        assert stage_of(story) is Stage.FITTING
        assert_signed_by(story, agreed, "vet", "farrier")

        story.fit(n, reasons=LOWER, heel_trim_mm=3.0)
        assert stage_of(story) is Stage.COUNTERSIGN
        fitted = story.countersign(n)
        assert stage_of(story) is Stage.MONITORING
        assert_signed_by(story, fitted, "farrier", "vet")
        story.move(weeks=5)
    with story.database.reading() as session:
        access = story.access(session, "vet")
        assert (access.state.plan_n, access.state.reset_n) == (3, 3)
        rows = session.scalars(select(Deviation)).all()
        assert {(each.field, each.planned, each.fitted) for each in rows} == {
            ("heel_trim_mm", "0", "3")
        }
        assert len(rows) == 3
        third = reset_of(session, access.case_id, 3)
        assert third.reset.due_on == third.reset.fitted_on + timedelta(weeks=5)
        recheck = session.scalars(select(Recheck).order_by(Recheck.set_at.desc())).first()
        assert (recheck.owner_role, recheck.owner_id) == ("vet", story.cast.vet.id)
        assert access.state.recheck_on == recheck.due_on
    whole = checked(story)
    assert whole.faults == ()
    assert whole.cases == 1
    assert whole.files == 6 + 12  # a content a sheet, and its bytes after either signature


def test_a_film_travels_in_the_sheet_and_is_among_the_files_checked(story):
    story.refer(with_film=True)
    story.submit()
    sheet = story.agree(1)
    assert verified(story, sheet).exit_status == 0
    with pikepdf.open(BytesIO(story.office.blobs.get(sheet.pdf_sha256))) as document:
        said = json.loads(document.attachments["handover.json"].get_file().read_bytes())
        images = [name for page in document.pages for name in page.get_images()]
    (limb,) = said["limbs"]
    assert limb["film"]["scale_state"] == "marker"
    angle = next(each for each in limb["readings"] if each["code"] == "palmar_angle_deg")
    assert angle["now"]["value"] == pytest.approx(Foot().palmar_angle_deg, abs=0.05)
    assert images
    with story.database.reading() as session:
        film = session.scalars(select(Film)).one()
    whole = checked(story)
    assert (whole.faults, whole.files) == ((), 2 + 1 + 2)
    original = story.office.blobs.folder / film.original_sha256[:2] / film.original_sha256
    original.write_bytes(b"another film")
    (fault,) = checked(story).faults
    assert fault.startswith(f"case 1: the original of film {film.id} ")


def test_a_copy_with_one_signature_is_known_and_incomplete(story):
    story.refer()
    story.submit()
    sheet = story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    answer = verified(story, sheet)
    assert answer.issued_here is True
    assert answer.intact
    assert answer.missing == ("Sig_Farrier",)
    assert answer.exit_status == 1


def test_a_plan_on_other_ground_is_neither_agreed_nor_signed(story):
    story.refer()
    story.submit()
    command = story.agreement(1)
    proposal = story.propose_agreement(command)
    story.move(minutes=1)
    with story.database.transaction() as session:
        a_limit(session, story.access(session, "vet"), "sole_depth_tip_mm", story.now, at_least=12)
    with pytest.raises(OutOfDate, match="judge the plan again"):
        story.propose_agreement(command)
    with pytest.raises(OutOfDate):
        story.sign_first("vet", proposal)
    assert count(story, Sheet) == 0
    assert stage_of(story) is Stage.REVIEW


def test_a_limit_set_after_the_agreement_takes_the_plan_back_to_review(story):
    story.refer()
    story.submit()
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    second = story.second("agreed_plan")
    with story.database.transaction() as session:
        a_limit(session, story.access(session, "vet"), "sole_depth_tip_mm", story.now, at_least=12)
    with story.database.transaction() as session:
        farrier = story.access(session, "farrier")
        made = story.sealed_second(session, farrier, second)
        with pytest.raises(OutOfDate):
            sign_agreed_plan(session, farrier, story.office, second, made, story.now)
    assert count(story, Signature) == 1
    assert stage_of(story) is Stage.REVIEW


def test_a_broken_limit_needs_a_waiver_and_the_sheet_carries_its_reason(story):
    story.refer()
    with story.database.transaction() as session:
        a_limit(session, story.access(session, "vet"), "sole_depth_tip_mm", story.now, at_least=15)
    story.submit()
    command = story.agreement(1)
    (finding_id,) = command.waivers
    with pytest.raises(Invalid) as refused:
        story.propose_agreement(replace(command, waivers={}))
    assert list(refused.value.faults) == [f"waiver_{finding_id}"]
    assert count(story, SheetProposal) == 0

    story.sign_first("vet", story.propose_agreement(command))
    with story.database.reading() as session:
        waiver = session.scalars(select(Waiver).where(Waiver.kind == "waived")).one()
        assert waiver.reason == "Known, and worth it."
        sheet = session.scalars(select(Sheet)).one()
    assert b"Known, and worth it." in story.office.blobs.get(sheet.snapshot_sha256)


def test_only_the_bytes_that_were_shown_are_signed(story):
    story.refer()
    story.submit()
    sheet_id, digest = story.propose_agreement(story.agreement(1))
    with story.database.transaction() as session:
        vet = story.access(session, "vet")
        asked = session, vet, story.office, sheet_id
        with pytest.raises(OutOfDate, match="looked at"):
            first_to_seal(*asked, "0" * 64, story.now)
        made = seal(story.office, first_to_seal(*asked, digest, story.now))
        for other in ({"pdf_sha256": "0" * 64}, {"position": 2}, {"person_id": sheet_id}):
            stray = replace(made, what=replace(made.what, **other))
            with pytest.raises(OutOfDate, match="looked at"), session.begin_nested():
                sign_first(*asked, stray, story.now)
    assert count(story, Sheet) == 0


def test_a_new_proposal_takes_the_place_of_the_one_before(story):
    story.refer()
    story.submit()
    first = story.propose_agreement(story.agreement(1))
    second = story.propose_agreement(story.agreement(1, words="Agreed, with thanks."))
    assert count(story, SheetProposal) == 1
    with pytest.raises(NotFound):
        story.sign_first("vet", first)
    story.sign_first("vet", second)
    assert count(story, SheetProposal) == 0


def test_the_wrong_person_signs_nothing(story):
    story.refer()
    story.submit()
    command = story.agreement(1)
    for who in ("farrier", "owner"):
        with pytest.raises(NotAllowed):
            story.propose_agreement(command, who)
    proposal = story.propose_agreement(command)
    with pytest.raises(NotFound):
        story.sign_first("farrier", proposal)
    with story.database.reading() as session, pytest.raises(NotFound):
        case_for(session, story.cast.other_vet.id, story.number)
    story.sign_first("vet", proposal)
    with pytest.raises(NotAllowed):
        story.sign_plan("owner")
    assert count(story, Signature) == 1


def test_a_difference_needs_its_reason_and_a_small_one_none(story):
    story.refer()
    story.submit()
    story.agree(1)
    with pytest.raises(Invalid) as refused:
        story.propose_reset(story.fitted(1, heel_trim_mm=3.0, interval_weeks=4.0))
    assert sorted(refused.value.faults) == ["reason_LF.heel_trim_mm", "reason_LF.interval_weeks"]
    story.sign_first("farrier", story.propose_reset(story.fitted(1, heel_trim_mm=1.5)))
    assert count(story, Deviation) == 0
    with story.database.reading() as session:
        view = reset_of(session, story.access(session, "vet").case_id, 1)
        assert view.limbs["LF"]["heel_trim_mm"] == 1.5
        fitted = view.judgement.predictions["LF"]["after_fit"]["readings"]["palmar_angle_deg"]
        plan = plan_of(session, story.access(session, "vet").case_id, 1)
        planned = plan.judgement.predictions["LF"]["after_fit"]["readings"]["palmar_angle_deg"]
    assert fitted["value"] < planned["value"]  # heels taken lower: judged on what was done


def test_a_reason_that_nobody_asked_for_is_kept(story):
    story.refer()
    story.submit()
    story.agree(1)
    fitted = story.fitted(1, reasons={"LF.heel_trim_mm": "Soft horn."}, heel_trim_mm=1.5)
    story.sign_first("farrier", story.propose_reset(fitted))
    with story.database.reading() as session:
        (kept,) = reset_of(session, story.access(session, "vet").case_id, 1).deviations
    assert (kept.field, kept.reason) == ("heel_trim_mm", "Soft horn.")


@pytest.mark.parametrize("days", [1, -3])
def test_a_reset_is_neither_to_come_nor_older_than_its_plan(story, days):
    story.refer()
    story.submit()
    story.agree(1)
    on = story.today + timedelta(days=days)
    with pytest.raises(Invalid) as refused:
        story.propose_reset(replace(story.fitted(1), fitted_on=on))
    assert "fitted_on" in refused.value.faults


def test_nothing_is_fitted_to_a_plan_that_was_not_consented_to(story):
    story.refer()
    story.submit()
    with pytest.raises(WrongState):
        story.propose_reset(story.fitted(1))


def test_a_correction_is_a_new_record_whose_sheet_replaces_the_old(story):
    story.refer()
    story.submit()
    story.agree(1)
    old = story.fit(1)
    story.move(minutes=5)
    with story.database.transaction() as session:
        words = Words("The wedge was two degrees.", story.today, story.revision())
        ask_correction(session, story.access(session, "vet"), 1, words, story.now)
    assert stage_of(story) is Stage.CORRECTING
    reasons = {"LF.wedge_deg": "None of three degrees in the van"}
    new = story.fit(1, reasons=reasons, wedge_deg=2.0)
    story.countersign(1)
    assert count(story, Reset, Reset.n == 1) == 2
    assert count(story, Reset, Reset.corrects_id.is_not(None)) == 1
    assert verified(story, old).replaced_by == str(new.sheet_id)
    assert verified(story, story.latest("as_fitted")).exit_status == 0
    with story.database.reading() as session:
        view = reset_of(session, story.access(session, "vet").case_id, 1)
        assert view.limbs["LF"]["wedge_deg"] == 2


def test_the_check_names_a_changed_entry_and_a_changed_file(story):
    story.refer()
    story.submit()
    sheet = story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    assert checked(story).faults == ()
    with story.database.transaction() as session:
        changed = "UPDATE entry SET happened_on = '2026-11-01' WHERE kind = 'referral_sent'"
        session.execute(text(changed))
    (fault,) = checked(story).faults
    assert fault.startswith("case 1: entry ")
    assert "(referral_sent) was changed after it was written" in fault

    path = story.office.blobs.folder / sheet.pdf_sha256[:2] / sheet.pdf_sha256
    path.write_bytes(path.read_bytes()[:-1])
    faults = checked(story).faults
    assert len(faults) == 2
    assert faults[1].startswith(f"case 1: a signed state of sheet {sheet.sheet_id} ")
    path.unlink()
    assert len(checked(story).faults) == 2
