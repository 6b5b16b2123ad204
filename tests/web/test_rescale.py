"""A film's scale set anew: what rested on it is judged again, and says so; put back, it holds."""

import json
import re
from io import BytesIO

import pikepdf
import pytest
from sqlalchemy import select

from referral.cases.remarks import AddObservation, add_observation
from referral.core.measure.film import measure
from referral.core.measure.stated import StatedValue, stated_readings
from referral.errors import OutOfDate
from referral.films.models import Film
from referral.films.phantom import Exposure, Foot, draw_phantom
from referral.films.queries import film_of
from referral.films.service import MeasureFilm, TypeReadings, measure_film, type_readings
from referral.plans.queries import plan_of
from referral.sheets.drafts import draft_agreed_plan
from tests.web.signing import at, browser_of, hidden_in, story_in
from tests.web.yard import PLAN, a_yard, film_form, landmarks_form, plain_jpeg, words_of

STALE = "Judged on other ground"


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def refer_with_a_film(yard):
    film = yard.film()
    yard.measure(film)
    problem = {"limb": "LF", "condition": "under_run_heels", "certainty": "confirmed"}
    yard.done("vet", "/problems/new", "/problems", problem)
    yard.limit(measure="breakover_distance_mm", at_most="40")
    goals = {"limbs": "LF", "urgency": "routine", "goals": "Breakover back"}
    yard.done("vet", "/referrals/new", "/referrals", goals)
    yard.done("farrier", "", "/acknowledgements", {})
    return film


def plan_page(yard):
    return words_of(yard.open("vet", "/plans/1"))


def keep(yard, clock, film, **changed):
    clock.move(minutes=1)
    yard.done("vet", film, f"{film}/landmarks", landmarks_form(**changed))


def moved(landmarks):
    return json.dumps({**landmarks, "p3_tip": [landmarks["p3_tip"][0] + 1, landmarks["p3_tip"][1]]})


def test_a_longer_marker_makes_the_plan_stale_and_the_same_again_makes_it_hold(yard, clock):
    film = refer_with_a_film(yard)
    yard.submit(**PLAN)
    assert STALE not in plan_page(yard)
    keep(yard, clock, film, marker_length_mm="72")  # 60 mm became 72: every length grows by a fifth
    page = plan_page(yard)
    assert STALE in page
    assert "Agree, and look at the sheet to sign" not in page
    keep(yard, clock, film)
    assert STALE not in plan_page(yard)
    assert "Agree, and look at the sheet to sign" in plan_page(yard)


def test_a_landmark_moved_by_a_pixel_makes_it_stale(yard, clock):
    film = refer_with_a_film(yard)
    yard.submit(**PLAN)
    landmarks = json.loads(landmarks_form()["landmarks"])
    keep(yard, clock, film, landmarks=moved(landmarks))
    assert STALE in plan_page(yard)
    keep(yard, clock, film)
    assert STALE not in plan_page(yard)


def test_another_film_makes_it_stale(yard, clock):
    refer_with_a_film(yard)
    yard.submit(**PLAN)
    clock.move(minutes=1)
    film = yard.done("vet", "/films/new", "/films", film_form(plain_jpeg(grey=91)))
    yard.measure(film.removeprefix(yard.home))
    assert STALE in plan_page(yard)


def test_words_about_the_case_change_nothing(yard, clock):
    refer_with_a_film(yard)
    yard.submit(**PLAN)
    clock.move(minutes=1)
    seen = {"about": "wear", "words": "Worn at the toe"}
    yard.done("farrier", "/observations/new", "/observations", seen)
    yard.done(
        "farrier", "/notes/calls/new", "/notes/calls", {"with_whom": "vet", "words": "So be it"}
    )
    assert STALE not in plan_page(yard)


def test_what_is_judged_again_is_judged_on_the_new_scale(yard, clock):
    film = refer_with_a_film(yard)
    yard.submit(**PLAN)
    before = words_of(yard.open("vet", film))
    assert "60 mm" not in before
    keep(yard, clock, film, marker_length_mm="72")
    old = breakover(plan_page(yard))
    clock.move(minutes=1)
    yard.done("vet", "/plans/1", "/plans/1/judgements", {})
    assert STALE not in plan_page(yard)
    # breakover before the tip on the film is a length: it grows by 72 / 60, the setback does not
    assert breakover(plan_page(yard)) == pytest.approx((old + 20) * 1.2 - 20, abs=1.0)


def breakover(page):
    said = page.partition("Breakover distance ")[2].split()
    numbers = [each for each in said[:12] if each.replace("−", "").replace(".", "").isdigit()]
    return float(numbers[2].replace("−", "-"))


TO_BE_AGREED = "To be agreed again: its ground changed"


@pytest.fixture
def agreed(app, tmp_path, clock):
    """A plan that rests on a film whose marker is called 25 mm long, agreed to by the vet."""
    story = story_in(app, tmp_path)
    story.refer(with_film=True)
    set_marker(story, 25.0)
    story.submit()
    story.sign_first("vet", story.propose_agreement(story.agreement(1)))
    at(story, clock)
    return story


def set_marker(story, length_mm, **plane):
    """Call the marker longer, or in another plane, where the same ends and landmarks stay."""
    phantom = draw_phantom(Foot(), Exposure(taken_on=story.today))
    scale = {
        "kind": "marker",
        "length_mm": length_mm,
        "ends_px": phantom.marker_ends_px,
        "plane": "sagittal",
        **plane,
    }
    story.move(minutes=3)
    with story.database.transaction() as session:
        film = session.scalars(select(Film)).one()
        placed = MeasureFilm(film.id, phantom.landmarks_px, scale, story.today)
        measure_film(session, story.access(session, "vet"), placed, story.now)


def seen_by(app, story, clock, who, path=""):
    at(story, clock)
    return words_of(browser_of(app, story, who).get(f"/cases/1{path}"))


def test_an_agreement_falls_when_the_marker_is_called_longer(app, agreed, clock):
    assert "Plan 1 Agreed" in seen_by(app, agreed, clock, "farrier")
    set_marker(agreed, 30.0)
    for who in ("vet", "farrier", "owner"):
        assert STALE in seen_by(app, agreed, clock, who, "/plans/1")
        assert f"Plan 1 {TO_BE_AGREED}" in seen_by(app, agreed, clock, who)
    page = seen_by(app, agreed, clock, "vet")
    assert "Waiting on you: Vet Review the plan" in page
    assert "It is your turn Review plan 1" in page
    with pytest.raises(OutOfDate, match="ask the vet again"):
        agreed.sign_plan()
    with pytest.raises(OutOfDate, match="judge the plan again"):
        agreed.propose_agreement(agreed.agreement(1))


def test_a_plan_judged_again_on_the_new_scale_can_be_agreed_to_anew(app, agreed, clock):
    set_marker(agreed, 30.0)
    at(agreed, clock)
    vet = browser_of(app, agreed, "vet")
    path = "/cases/1/plans/1/judgements"
    answer = vet.post(path, hidden_in(vet.get("/cases/1/plans/1").text, path))
    assert answer.status_code == 303
    page = seen_by(app, agreed, clock, "vet", "/plans/1")
    assert STALE not in page
    assert "Agree, and look at the sheet to sign" in page
    agreed.sign_first("vet", agreed.propose_agreement(agreed.agreement(1)))
    assert "Plan 1 Agreed" in seen_by(app, agreed, clock, "farrier")
    agreed.sign_plan()
    assert "Signed by both" in seen_by(app, agreed, clock, "farrier")


def test_the_marker_put_back_makes_the_agreement_hold_again(app, agreed, clock):
    set_marker(agreed, 30.0)
    set_marker(agreed, 25.0)
    page = seen_by(app, agreed, clock, "vet", "/plans/1")
    assert STALE not in page
    assert "Agree, and look at the sheet to sign" not in page
    assert "Plan 1 Agreed" in seen_by(app, agreed, clock, "farrier")
    agreed.sign_plan()
    assert "Signed by both" in seen_by(app, agreed, clock, "farrier")


def test_what_is_measured_outside_beside_a_film_leaves_an_agreement(app, agreed, clock):
    agreed.move(minutes=1)
    gauge = {"photo_wall_angle_deg": StatedValue(50.0, scale="external")}
    typed = TypeReadings("LF", agreed.today, stated_readings(gauge), agreed.today)
    with agreed.database.transaction() as session:
        type_readings(session, agreed.access(session, "farrier"), typed, agreed.now)
    assert STALE not in seen_by(app, agreed, clock, "vet", "/plans/1")
    assert "Plan 1 Agreed" in seen_by(app, agreed, clock, "vet")
    agreed.sign_plan()
    assert "Signed by both" in seen_by(app, agreed, clock, "vet")


def test_words_leave_an_agreement_as_it_is(app, agreed, clock):
    agreed.move(minutes=1)
    with agreed.database.transaction() as session:
        seen = AddObservation("LF", "wear", "Worn at the toe", agreed.today)
        add_observation(session, agreed.access(session, "farrier"), seen, agreed.now)
    assert "Plan 1 Agreed" in seen_by(app, agreed, clock, "vet")
    assert STALE not in seen_by(app, agreed, clock, "vet", "/plans/1")
    agreed.sign_plan()
    assert "Signed by both" in seen_by(app, agreed, clock, "vet")


def test_the_sheet_the_plan_and_the_film_say_the_same_numbers(app, agreed, clock):
    sheet = agreed.latest("agreed_plan")
    with pikepdf.open(BytesIO(agreed.office.blobs.get(sheet.pdf_sha256))) as document:
        said = json.loads(document.attachments["handover.json"].get_file().read_bytes())
    on_sheet = {each["code"]: each["now"] for each in said["limbs"][0]["readings"] if each["now"]}
    with agreed.database.reading() as session:
        case_id = agreed.access(session, "vet").case_id
        film_id = session.scalars(select(Film.id)).one()
        readings = measure(film_of(session, case_id, film_id).as_core()).readings
        judged = plan_of(session, case_id, 1).judgement.predictions["LF"]["now"]["readings"]
    page = seen_by(app, agreed, clock, "farrier", f"/films/{film_id}")
    assert judged.keys() == readings.keys()
    for code, reading in readings.items():
        assert judged[code]["value"] == pytest.approx(reading.value, rel=1e-8, abs=1e-8)
    lengths = [code for code in on_sheet if code.endswith("_mm")]
    assert lengths
    for code in lengths:
        reading = readings[code]
        assert on_sheet[code]["value"] == pytest.approx(reading.value, abs=0.05)
        assert f"{reading.value:.1f} ± {2 * reading.u:.1f}" in page.replace("\N{MINUS SIGN}", "-")
    # 60 mm was true; called 25 mm, every length is 25 / 60 of what it was.
    truth = draw_phantom(Foot(), Exposure(taken_on=agreed.today)).truth
    for code in lengths:
        assert on_sheet[code]["value"] == pytest.approx(truth[code] * 25.0 / 60.0, abs=0.06)


def film_printed(story):
    """Return what a sheet of the plan as it stands now prints beside the film, and its drawing."""
    with story.database.reading() as session:
        access = story.access(session, "vet")
        command = story.agreement(1)
        draft = draft_agreed_plan(session, access, story.office, command, story.now)
    film = json.loads(draft.snapshot)["limbs"][0]["film"]
    return film["scale_says"], film["overlay_svg"]


@pytest.mark.pdf
def test_the_sheet_says_of_the_scale_what_the_films_page_says(app, tmp_path):
    story = story_in(app, tmp_path)
    story.refer(with_film=True)
    set_marker(story, 25.0, plane="tube_side", offset_mm=65.0, sid_mm=700.0, oid_mm=80.0)
    story.submit()
    says, drawn = film_printed(story)
    assert "nearer the tube than the middle of the foot" in says
    assert "Put right by × 1.117:" in says  # (700 - 80) / (700 - 80 - 65)
    assert {">A</text>", ">B</text>"} <= set(re.findall(r">[^<]*</text>", drawn))


@pytest.mark.parametrize(("limb", "back"), [("LH", False), ("RH", False), ("RF", True)])
def test_typed_readings_of_another_foot_send_the_plan_back_only_within_the_pair(
    app, tmp_path, clock, limb, back
):
    story = story_in(app, tmp_path)
    story.refer()
    story.submit()
    story.agree(1)
    at(story, clock)
    vet = browser_of(app, story, "vet")
    before = words_of(vet.get("/cases/1"))
    assert "Fit and record the reset" in before
    page = vet.get("/cases/1/readings/new")
    said = {"limb": limb, "taken_on": story.today.isoformat(), "scale": "marker"}
    said |= {"dorsal_wall_angle_deg": "50", **hidden_in(page.text, "/cases/1/readings")}
    assert vet.post("/cases/1/readings", said).status_code == 303
    assert ("Fit and record the reset" not in words_of(vet.get("/cases/1"))) == back
    assert (STALE in words_of(vet.get("/cases/1/plans/1"))) == back
