"""Films and sheets erased: their files, what stays of them, and what anything else still uses."""

import io
import json
from dataclasses import replace

import pikepdf
import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.assessments.models import AssessmentPhoto
from referral.assessments.photos import READ_PHOTO, AddPhotos, SentPhoto, add_photos, photo_reader
from referral.assessments.queries import assessment_of, photo_of, photos_to_show
from referral.assessments.service import Assess, assess
from referral.cases.holds import lift_hold, place_hold
from referral.cases.models import CaseMember, Entry, Erasure
from referral.core.workflow import Move, Role
from referral.erasing.gathering import FILM, PHOTO, SHEET, what_goes
from referral.erasing.service import check_erasable
from referral.errors import Invalid, NotAllowed, NotFound, WrongState
from referral.films.models import ReadingRow
from referral.films.service import AddFilm, MeasureFilm, TakenHow, add_film, measure_film
from referral.plans.pages import plan_form_page, plan_page
from referral.sheets.models import Sheet, Signature
from referral.sheets.queries import issued_lookup
from referral.sheets.verify import verify_pdf
from referral.storage.decode.film import read_apart
from referral.storage.ids import new_id
from referral.storage.jobs import Worker
from tests.factories import a_case, a_person
from tests.features.erasing.acting import (
    WHY,
    count,
    erased,
    faults,
    film_of,
    settle,
    stored,
    work,
)
from tests.features.resets.story import RULEBOOK
from tests.web.yard import plain_jpeg


def test_a_film_goes_with_its_picture_and_its_numbers_stay(filmed):
    film = film_of(filmed)
    before = count(filmed, ReadingRow)
    going = erased(filmed, FILM, film.id)
    files = {film.original_sha256, film.picture_sha256}
    assert {each.digest for each in going.files} == files <= stored(filmed)
    assert [f"file {each}" in " ".join(faults(filmed)) for each in sorted(files)] == [True, True]
    assert work(filmed) == 1
    assert not files & stored(filmed)
    assert faults(filmed) == ()
    assert count(filmed, ReadingRow) == before
    assert film_of(filmed).original_name == ""
    assert film_of(filmed).original_sha256 == film.original_sha256


def test_what_stays_says_who_when_and_why_in_a_row_and_in_the_timeline(filmed):
    film = film_of(filmed)
    erased(filmed, FILM, film.id)
    with filmed.database.reading() as session:
        row = session.scalars(select(Erasure)).one()
        entry = session.scalars(select(Entry).where(Entry.kind == Move.ERASE.value)).one()
        state = filmed.access(session, "vet").state
    assert (row.what, row.subject_id, row.why) == (FILM, film.id, WHY)
    assert (row.erased_by, row.erased_at) == (filmed.cast.vet.id, filmed.now)
    assert entry.reference == row.id
    assert entry.content["files"] == row.files
    assert entry.content["why"].keys() == {"sha256"}
    assert state.task == "Write the plan"


def test_a_film_that_was_erased_is_measured_by_nobody_and_its_plan_stays_agreed(story):
    film = film_of(story)
    erased(story, FILM, film.id)
    with story.database.transaction() as session:
        placed = MeasureFilm(film.id, {"toe": [1.0, 1.0]}, None, story.today)
        with pytest.raises(NotFound, match="was erased on 25 Nov 2026"):
            measure_film(session, story.access(session, "vet"), placed, story.now)
    story.fit(1)
    (limb,) = sheet_content(story, "as_fitted")["limbs"]
    assert limb["film"] is None
    assert limb["film_absent"].endswith("was erased on 25 Nov 2026; the readings stand.")
    story.countersign(1)
    work(story)
    assert faults(story) == ()


def test_a_plan_says_that_its_own_film_was_erased_and_a_new_one_only_while_it_rests_on_it(story):
    film = film_of(story)
    assert told(story) == ((), ())
    erased(story, FILM, film.id)
    said = (
        "LF: the film of 25 Nov 2026 was erased on 25 Nov 2026. Its readings stand, and nobody can "
        "check or measure them again."
    )
    assert told(story) == ((said,), (said,))
    story.move(days=1)
    story.film()
    assert told(story) == ((said,), ())


def told(story):
    """Return what the page of plan 1 says of erased films, and what the form of a new one does."""
    with story.database.reading() as session:
        access = story.access(session, "vet")
        plan = plan_page(session, access, 1, RULEBOOK, story.now)
        form = plan_form_page(session, access, story.today, amends=False)
    return plan.erased_ground, form.erased_ground


def sheet_content(story, kind):
    with story.database.reading() as session:
        digest = session.scalar(
            select(Sheet.snapshot_sha256).where(Sheet.kind == kind).order_by(Sheet.made_at.desc())
        )
    return json.loads(story.office.blobs.get(digest))


def test_what_would_go_names_the_sheet_that_still_prints_the_film(story):
    film, sheet = film_of(story), story.latest("agreed_plan")
    with story.database.reading() as session:
        case_id = story.access(session, "vet").case_id
        going = what_goes(session, case_id, story.office.blobs, FILM, film.id)
    (printed,) = [each for each in going.stays if "printed" in each]
    assert printed == (
        f"Also printed on the signed sheet “Agreed plan” of 25 Nov 2026 ({sheet.sheet_id}), "
        "which is not erased by this."
    )
    assert [each.is_kept for each in going.files] == [False, False]


def test_the_same_file_on_another_case_stays_and_is_served_there(filmed):
    film = film_of(filmed)
    blobs = filmed.office.blobs
    with filmed.database.transaction() as session:
        other = replace(filmed, number=a_case(session, filmed.cast, filmed.now))
        data = blobs.get(film.original_sha256)
        read = read_apart(data, "film.dcm")
        taken = TakenHow("RF", "lateromedial", filmed.today, "before", "no")
        command = AddFilm(film.original_sha256, "film.dcm", read, taken, filmed.today)
        twin = add_film(session, other.access(session, "vet"), blobs, command, filmed.now)
    settle(filmed)
    going = erased(filmed, FILM, film.id)
    assert [each.is_kept for each in going.files] == [True, True]
    work(filmed)
    assert {film.original_sha256, film.picture_sha256} <= stored(filmed)
    assert faults(filmed) == ()
    erased(other, FILM, twin)
    other.move(minutes=1)
    work(other)
    assert not {film.original_sha256, film.picture_sha256} & stored(filmed)


def test_a_sheet_goes_in_every_state_it_had_and_says_to_a_copy_that_it_was_issued_here(story):
    sheet = story.latest("agreed_plan")
    copy = story.office.blobs.get(sheet.pdf_sha256)
    with story.database.reading() as session:
        named = set(session.scalars(select(Signature.pdf_sha256)))
        named |= set(session.scalars(select(Sheet.snapshot_sha256)))
    going = erased(story, SHEET, sheet.sheet_id)
    work(story)
    assert named <= {each.digest for each in going.files}
    assert len(going.files) == len(named) + 1  # and the draft that the vet looked at
    assert stored(story) == {film_of(story).original_sha256, film_of(story).picture_sha256}
    assert faults(story) == ()
    authority = story.office.authority
    with story.database.reading() as session:
        withdrawn, look = authority.crl(story.now), issued_lookup(session)
        answer = verify_pdf(copy, authority.root_pem, withdrawn, look, story.now)
    assert answer.exit_status == 0
    assert answer.issued_here
    assert answer.erased == story.now.isoformat()
    assert "erased here on 25 Nov 2026" in " ".join(answer.says)


def test_no_text_of_an_erased_sheet_is_left_in_the_store(story):
    sheet = story.latest("agreed_plan")
    with pikepdf.open(io.BytesIO(story.office.blobs.get(sheet.pdf_sha256))) as pdf:
        (attached,) = pdf.attachments.values()
        content = attached.get_file().read_bytes()
    assert b"It is what this foot allows" not in content  # a plan's words are not printed
    horse = b"Marrow"
    assert horse in content
    erased(story, SHEET, sheet.sheet_id)
    work(story)
    for path in story.office.blobs.folder.glob("*/*"):
        assert horse not in path.read_bytes()


def test_a_sheet_that_waits_for_its_second_signature_is_not_erased(story):
    story.fit(1)
    sheet = story.latest("as_fitted")
    with pytest.raises(WrongState, match="waits for its second signature"):
        erased(story, SHEET, sheet.sheet_id)
    story.countersign(1)
    erased(story, SHEET, sheet.sheet_id)


def test_a_photo_of_an_assessment_goes_and_is_shown_no_more(filmed):
    photo_id = a_photo(filmed)
    with filmed.database.reading() as session:
        case_id = filmed.access(session, "vet").case_id
        assert len(photos_to_show(session, case_id)) == 1
        photo_of(session, case_id, photo_id)
    before = stored(filmed)
    going = erased(filmed, PHOTO, photo_id)
    assert going.said == "a photo of an assessment, “The limb as a whole”, of 25 Nov 2026"
    work(filmed)
    assert before - stored(filmed) == {each.digest for each in going.files}
    assert len(going.files) == 2
    assert faults(filmed) == ()
    with filmed.database.reading() as session:
        assert photos_to_show(session, case_id) == []
        with pytest.raises(NotFound, match="This photo was erased on 25 Nov 2026"):
            photo_of(session, case_id, photo_id)
        row = session.get_one(AssessmentPhoto, photo_id)
        view = assessment_of(session, case_id, row.assessment_id)
    assert (view.photos, view.erased) == ((), (("whole", filmed.now),))
    assert row.original_name == ""


def a_photo(story):
    blobs = story.office.blobs
    with story.database.transaction() as session:
        farrier = story.access(session, "farrier")
        seen = Assess("LF", story.today, {"landing": "flat"}, {}, None, story.today)
        assessment = assess(session, farrier, seen, story.now)
        sent = SentPhoto(plain_jpeg((9, 9)), "a.jpg")
        command = AddPhotos(assessment, "whole", [sent], story.today)
        add_photos(session, story.access(session, "farrier"), blobs, command, story.now)
    reading = {READ_PHOTO: photo_reader(story.database, blobs)}
    assert Worker(story.database, reading, lambda: story.now).run_waiting() == 1
    settle(story)
    with story.database.reading() as session:
        return session.scalars(select(AssessmentPhoto.id)).one()


def test_a_held_case_erases_nothing_until_the_hold_is_lifted(filmed):
    film = film_of(filmed)
    with filmed.database.transaction() as session:
        vet = filmed.access(session, "vet")
        place_hold(session, vet, "A claim by the insurer", filmed.today, filmed.now)
    with pytest.raises(WrongState, match=r"Under legal hold since 25 Nov 2026, by .*insurer"):
        erased(filmed, FILM, film.id)
    assert count(filmed, Erasure) == [0]
    with filmed.database.transaction() as session:
        vet = filmed.access(session, "vet")
        with pytest.raises(Invalid, match="It is held already"):
            place_hold(session, vet, "Again", filmed.today, filmed.now)
        lift_hold(session, vet, "The claim is settled", filmed.today, filmed.now)
        with pytest.raises(Invalid, match="not under legal hold"):
            lift_hold(session, vet, "Again", filmed.today, filmed.now)
    erased(filmed, FILM, film.id)
    work(filmed)
    assert faults(filmed) == ()


def test_only_the_vet_and_a_coordinator_of_the_practice_who_is_on_the_case_erase(filmed):
    film = film_of(filmed)
    for who in ("farrier", "owner"):
        with pytest.raises(NotAllowed, match="Only the case’s vet"):
            erased(filmed, FILM, film.id, who)
    for organisation, may in ((filmed.cast.forge_id, False), (filmed.cast.practice_id, True)):
        coordinator = on_the_case(filmed, organisation)
        with filmed.database.reading() as session:
            access = replace(filmed.access(session, "vet"), actor_id=coordinator)
            access = replace(access, roles=(Role.COORDINATOR,))
            if may:
                check_erasable(session, access, filmed.office.blobs, FILM, film.id)
            else:
                with pytest.raises(NotAllowed, match="Only the case’s vet"):
                    check_erasable(session, access, filmed.office.blobs, FILM, film.id)


def on_the_case(story, organisation_id):
    with story.database.transaction() as session:
        organisation = session.get(Organisation, organisation_id)
        person = a_person(session, "coordinator", organisation, now=story.now)
        row = CaseMember(
            id=new_id(story.now),
            case_id=story.access(session, "vet").case_id,
            person_id=person.id,
            organisation_id=organisation_id,
            role="coordinator",
            since=story.now,
        )
        session.add(row)
        return person.id


def test_a_second_erasure_and_one_without_a_reason_are_refused(filmed):
    film = film_of(filmed)
    with pytest.raises(Invalid, match="Say why"):
        erased(filmed, FILM, film.id, why=" ")
    erased(filmed, FILM, film.id)
    with pytest.raises(Invalid, match="erased already, on 25 Nov 2026"):
        erased(filmed, FILM, film.id)
    with pytest.raises(NotFound):
        erased(filmed, SHEET, film.id)
    assert count(filmed, Erasure) == [1]
