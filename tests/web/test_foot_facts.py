"""What is known of a foot beside its film reaches the rules of a plan, and is kept with it."""

import json

import pytest
from sqlalchemy import select

from referral.plans.models import FindingRow, JudgementRow
from tests.browser.sample import FOOT_PX
from tests.factories import READINGS
from tests.web.yard import PLAN, TODAY, a_yard, film_form, landmarks_form

SEEN = {"limb": "LF", "seen_on": TODAY}


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def assess(yard, **seen):
    yard.done("farrier", "/assessments/new", "/assessments", {**SEEN, **seen})


def found(yard, rule, limb="LF"):
    """Return the verdict and reason of a rule on the newest plan judged."""
    with yard.database.reading() as session:
        newest = session.scalars(
            select(JudgementRow.id).order_by(JudgementRow.judged_at.desc(), JudgementRow.id.desc())
        ).first()
        row = session.scalars(
            select(FindingRow).where(
                FindingRow.judgement_id == newest,
                FindingRow.rule == rule,
                FindingRow.limb == limb,
            )
        ).one()
        return row.verdict, row.reason


def outside_of(yard):
    with yard.database.reading() as session:
        basis = session.scalars(select(JudgementRow.basis)).one()
    return json.loads(basis)["inputs"]["outside"]["LF"]


def test_without_an_assessment_what_it_would_show_cannot_be_told(yard):
    yard.submit()
    for rule in ("R13", "R15", "R31", "R34", "R51"):
        assert found(yard, rule)[0] == "CANNOT_TELL", rule


def test_what_the_farrier_sees_and_measures_is_judged(yard):
    assess(
        yard,
        distortion=["crushed_heels"],
        heel_medial_length_mm="62",
        heel_lateral_length_mm="70",
        frog_width_length_ratio="0.5",
        heel_to_frog_widest_mm="-20",
        photo_wall_angle_deg="50",
        photo_heel_angle_deg="38",
        coronet_circumference_mm="330",
    )
    yard.submit()
    assert found(yard, "R37") == ("OUTSIDE", "heels_damaged")
    for rule in ("R13", "R15", "R34", "R51"):
        assert found(yard, rule) == ("OUTSIDE", "beyond"), rule
    kept = outside_of(yard)
    assert kept["heels_damaged"] is True
    assert kept["girth_mm"] == 330
    assert kept["readings"]["heel_lateral_length_mm"][0] == 70


def test_the_newest_assessment_counts_and_an_older_answer_stands_where_it_is_silent(yard):
    assess(yard, distortion=["crushed_heels"], frog_width_length_ratio="0.5")
    assess(yard, distortion=["none"], landing="flat")
    yard.submit()
    assert outside_of(yard)["heels_damaged"] is False
    assert found(yard, "R15") == ("OUTSIDE", "beyond")


def test_an_assessment_after_the_plan_asks_for_it_to_be_judged_again(yard):
    made = yard.submit().removeprefix(yard.home)
    assert "Judged on other ground" not in yard.open("vet", made).text
    assess(yard, distortion=["crushed_heels"])
    assert "Judged on other ground" in yard.open("vet", made).text


def test_the_horses_numbers_and_the_law_of_the_case_are_asked(yard):
    yard.submit(**{"LF-reason": "The vet sedated it for this."})
    assert found(yard, "R28")[0] in ("WITHIN", "CANNOT_TELL")
    assert found(yard, "R29") == ("OUTSIDE", "seen")


@pytest.mark.parametrize(
    ("who", "answer"),
    [("farrier", ("OUTSIDE", "seen")), ("vet", ("WITHIN", "nothing_seen"))],
)
def test_a_vets_work_in_an_observation_is_minded_in_the_farriers_alone(yard, who, answer):
    seen = {"limb": "LF", "about": "other", "words": "Diagnosed an abscess.", "happened_on": TODAY}
    yard.done(who, "/observations/new", "/observations", seen)
    yard.submit()
    assert found(yard, "R29") == answer


def test_left_and_right_of_one_plan_are_compared(yard):
    yard.readings(limb="RF")
    right = {"limbs": ["LF", "RF"], "urgency": "routine", "goals": "Both fores alike"}
    yard.done("vet", "/referrals/new", "/referrals", right)
    yard.done("farrier", "", "/acknowledgements", {})
    both = {key.replace("LF-", "RF-"): value for key, value in PLAN.items() if "LF-" in key}
    yard.submit(**{**both, "RF-thickness_mm": "4"})
    assert found(yard, "R50") == found(yard, "R50", "RF") == ("OUTSIDE", "beyond")


def test_one_foot_alone_is_compared_with_nothing(yard):
    yard.submit()
    assert found(yard, "R32") == found(yard, "R50") == ("NOT_APPLICABLE", "not_compared")
    assert found(yard, "R43") == ("NOT_APPLICABLE", "not_compared")


def toe_apart(yard, clock):
    """Submit a plan and return how far its toe angle and the other foot's are apart."""
    clock.move(minutes=1)
    yard.submit()
    with yard.database.reading() as session:
        return session.scalars(
            select(FindingRow.value)
            .join(JudgementRow, JudgementRow.id == FindingRow.judgement_id)
            .where(FindingRow.rule == "R32", FindingRow.limb == "LF")
            .order_by(JudgementRow.judged_at.desc())
        ).first()


def test_typed_readings_of_the_other_foot_are_compared(yard, clock):
    yard.readings(limb="RF")
    near = toe_apart(yard, clock)
    # nothing is planned for that foot, so what it stands on is not known
    assert found(yard, "R50") == ("CANNOT_TELL", "missing_fact")
    lower = READINGS["dorsal_wall_angle_deg"] - 6.0
    yard.readings(limb="RF", dorsal_wall_angle_deg=str(lower))
    # the plan puts this foot's toe steeper than the other's: a lower one is as much farther off
    assert toe_apart(yard, clock) == pytest.approx(near + 6.0)
    assert found(yard, "R32") == ("OUTSIDE", "beyond")


def test_a_club_foot_for_which_nothing_is_planned_is_not_held_against_the_other(yard):
    yard.readings(limb="RF", dorsal_wall_angle_deg="62")
    club = {"limb": "RF", "condition": "club_foot", "certainty": "confirmed"}
    yard.done("vet", "/problems/new", "/problems", club)
    yard.submit()
    assert found(yard, "R32") == ("NOT_APPLICABLE", "club_foot")


def test_what_is_measured_outside_on_the_other_foot_is_not_compared(yard):
    assess(yard, limb="RF", photo_wall_angle_deg="50", photo_heel_angle_deg="38")
    yard.submit()
    assert found(yard, "R32") == ("NOT_APPLICABLE", "not_compared")


def test_the_other_foots_film_counts_until_readings_of_a_later_day_are_typed(yard, clock):
    filmed(yard, "2026-10-28", limb="RF")
    yard.readings(limb="RF", dorsal_wall_angle_deg="41", taken_on="2026-10-27")
    by_film = toe_apart(yard, clock)
    yard.readings(limb="RF", dorsal_wall_angle_deg="41", taken_on="2026-10-28")
    assert toe_apart(yard, clock) == by_film
    yard.readings(limb="RF", dorsal_wall_angle_deg="41", taken_on="2026-10-29")
    assert toe_apart(yard, clock) != pytest.approx(by_film, abs=1.0)


def filmed(yard, taken_on, limb="LF", **moved):
    film = yard.done("vet", "/films/new", "/films", film_form(taken_on=taken_on, limb=limb))
    film = film.removeprefix(yard.home)
    places = {**FOOT_PX, **moved}
    yard.done("vet", film, f"{film}/landmarks", landmarks_form(landmarks=json.dumps(places)))


def test_a_film_is_held_against_the_one_before(yard):
    x, y = FOOT_PX["p3_palmar_process"]
    filmed(yard, "2026-10-28", p3_palmar_process=[x, y - 120])
    filmed(yard, TODAY)
    yard.submit()
    assert found(yard, "R47") == ("OUTSIDE", "beyond")
    assert found(yard, "R53") == ("NOT_APPLICABLE", "not_in_force")


def test_a_film_whose_taking_was_not_told_cannot_be_trusted_on_it(yard):
    filmed(yard, TODAY)
    yard.submit()
    assert found(yard, "R03") == ("CANNOT_TELL", "missing_fact")
    assert found(yard, "R02") == ("WITHIN", "recent")
    assert found(yard, "R47") == ("NOT_APPLICABLE", "not_compared")
