"""Rules on the foot, its film, its shoe and its record: what the examples in their files leave."""

import math
from dataclasses import replace

import pytest

from referral.core.measure.readings import Measured, Profile
from referral.core.predict.plan import Clip, Nails, Plan, Shoe
from referral.core.predict.prediction import predict
from referral.core.rules.derived import derived_quantity
from referral.core.rules.facts import Facts, Opposite, Previous
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import judge
from referral.core.rules.kinds.founder import at_tilt_before
from referral.core.rules.quantities import find_quantity
from referral.core.rules.rule import Rulebook
from referral.rulebook.loader import load_rulebook
from tests.core.predict.feet import FORE
from tests.core.predict.feet import film as worked_film
from tests.core.rules.feet import DAY, film, foot, measured, reading

SHIPPED = {rule.id: rule for rule in load_rulebook().rules}
BEFORE = DAY.replace(day=1)
WALL, FOUNDER, ANGLE = "dorsal_wall_angle_deg", "founder_distance_mm", "palmar_angle_deg"
CORTEX, BONE = "palmar_cortex_length_mm", "bone_angle_deg"


def answered(rule, inputs, *, complete=True):
    judgement = judge(inputs, Rulebook((SHIPPED[rule],), ""), (), DAY, complete=complete)
    return judgement.findings[0] if judgement.findings else None


def verdict(rule, inputs, **more):
    finding = answered(rule, inputs, **more)
    return finding and (finding.verdict, finding.reason)


@pytest.mark.parametrize(
    ("girth_mm", "expected"),
    # 500 kg with 34.0 cm is 5.44 kg/cm2, with 33.0 cm 5.77: W 4 pi / C^2, worked in the reference
    # for Turner's limit of 78 lb/in2 = 5.48 kg/cm2 (from memory)
    [(340.0, 5.44), (330.0, 5.77)],
)
def test_weight_over_area(girth_mm, expected):
    facts = Facts(body_mass_kg=500.0, coronet_circumference_mm=girth_mm)
    found = answered("R31", foot(facts=facts))
    assert found.value == pytest.approx(expected, abs=0.005)
    assert found.verdict == ("WITHIN" if expected < 5.48 else "OUTSIDE")
    assert "from memory" in found.says or found.verdict == "WITHIN"


def test_weight_over_area_in_pounds():
    # the same source: 453.6 kg and 13 in (33.02 cm) are 74.4 lb/in2
    facts = Facts(body_mass_kg=453.6, coronet_circumference_mm=330.2)
    metric = answered("R31", foot(facts=facts)).value
    assert metric * 2.20462 * 2.54**2 == pytest.approx(74.4, abs=0.05)


def test_a_girth_of_nothing_is_not_divided_by():
    facts = Facts(body_mass_kg=500.0, coronet_circumference_mm=0.0)
    assert verdict("R31", foot(facts=facts)) == ("CANNOT_TELL", "not_positive")


@pytest.mark.parametrize(
    ("chip", "ueln", "expected"),
    [
        # ISO 11784: 12 digits of 38 bits; worked examples of ueln.net
        ("826274877906943", None, "WITHIN"),
        ("826274877906944", None, "OUTSIDE"),
        ("82627487790694", None, "OUTSIDE"),
        ("82627487790694a", None, "OUTSIDE"),
        (None, "25000100155928M", "WITHIN"),
        (None, "372414001234567", "WITHIN"),
        (None, "250001-0155928M", "OUTSIDE"),
        ("826274877906944", "372414001234567", "OUTSIDE"),
    ],
)
def test_identity_numbers(chip, ueln, expected):
    assert answered("R28", foot(facts=Facts(chip=chip, ueln=ueln))).verdict == expected


def test_a_trim_alone_is_no_sinking():
    # worked foot: 9.55 mm; 5 mm off the heels tilt it by -1.89 degrees to 9.94 mm
    before = predict(worked_film(), Measured(), Plan(), FORE).now.readings
    after = predict(worked_film(), Measured(), Plan(heel_trim_mm=5.0), FORE).after_fit.readings
    turn = math.radians(before[ANGLE].value - after[ANGLE].value)
    shown = (round(before[FOUNDER].value, 2), round(after[FOUNDER].value, 2))
    assert shown == (9.55, 9.94)
    tilted = {
        name: turned(xy, turn)
        for name, xy in worked_film().landmarks_mm.items()
        if name in ("hairline", "extensor_process")
    }
    later = worked_film(landmarks=tilted)
    inputs = Inputs(
        Profile("LF", "adult_horse", DAY),
        {"now": Measured({FOUNDER: after[FOUNDER], ANGLE: after[ANGLE]})},
        facts=Facts(previous=Previous(BEFORE, before)),
        film=later,
    )
    now = find_quantity(inputs, FOUNDER, "now")
    assert at_tilt_before(inputs, now, before[ANGLE]) == pytest.approx(9.55, abs=0.01)
    assert verdict("R43", inputs) == ("WITHIN", "no_change")


def turned(xy, angle):
    x, y = xy
    return [
        x * math.cos(angle) - y * math.sin(angle),
        x * math.sin(angle) + y * math.cos(angle),
    ]


def sunk(now_mm, before_mm, **angles):
    now = measured(reading(FOUNDER, now_mm, 0.5), *angle_of(angles.get("now")))
    before = measured(reading(FOUNDER, before_mm, 0.5), *angle_of(angles.get("before")))
    facts = Facts(previous=Previous(BEFORE, before.readings))
    return foot(stages={"now": now}, facts=facts)


def angle_of(value):
    return () if value is None else (reading(ANGLE, value, 0.3),)


@pytest.mark.parametrize(
    ("now_mm", "expected"),
    # 1.96 sqrt(0.5^2 + 0.5^2) = 1.386 mm: JCGM 100:2008, 5.1.2, and the normal distribution
    [(10.88, ("WITHIN", "no_change")), (10.89, ("OUTSIDE", "has_risen"))],
)
def test_a_rise_is_real_beyond_what_both_measurements_can_tell(now_mm, expected):
    assert verdict("R43", sunk(now_mm, 9.5, now=5.0, before=5.0)) == expected


def test_sinking_is_not_called_where_the_tilt_cannot_be_taken_out():
    expected = ("CANNOT_TELL", "missing_reading")
    assert verdict("R43", sunk(13.0, 9.5, now=5.0, before=3.0)) == expected
    assert verdict("R43", sunk(13.0, 9.5, now=5.0)) == expected
    assert verdict("R43", sunk(13.0, 9.5, before=5.0)) == expected


def test_sinking_needs_a_scale_on_both_films():
    inputs = sunk(13.0, 9.5, now=5.0, before=5.0)
    unscaled = {**inputs.facts.previous.readings, FOUNDER: reading(FOUNDER, 9.5, state="none")}
    facts = Facts(previous=Previous(BEFORE, unscaled))
    bare = foot(stages=inputs.stages, facts=facts)
    assert verdict("R43", bare) == ("CANNOT_TELL", "no_scale")


def of_pair(here, there, **other):
    return foot(
        stages={"after_fit": measured(*here)},
        plan=Plan(),
        facts=Facts(opposite=Opposite({each.code: each for each in there}, **other)),
    )


def test_the_pair_is_compared_with_the_uncertainty_of_both():
    inputs = of_pair([reading(WALL, 50.0, 0.3)], [reading(WALL, 54.0, 0.4)])
    found = answered("R32", inputs)
    assert (found.value, found.u) == (4.0, 0.5)
    assert (found.verdict, found.severity) == ("TOO_CLOSE", "caution")


@pytest.mark.parametrize(
    ("there", "reason"),
    [
        ([], "missing_reading"),
        ([reading(WALL, math.nan)], "not_finite"),
        ([reading(WALL, 50.0, -1.0)], "not_finite"),
    ],
)
def test_the_pair_is_not_compared_with_what_is_not_there(there, reason):
    assert verdict("R32", of_pair([reading(WALL, 50.0)], there)) == ("CANNOT_TELL", reason)


def test_a_pair_is_not_compared_alone_nor_a_lift_without_the_other_shoe():
    assert verdict("R32", foot(plan=Plan())) == ("NOT_APPLICABLE", "not_compared")
    assert verdict("R32", foot(plan=Plan()), complete=False) is None
    assert verdict("R50", foot(plan=Plan()), complete=False) is None
    assert verdict("R50", foot()) is None
    pair = of_pair([], [], lift_mm=10.0)
    assert answered("R50", pair).value == 10.0


def against_before(code, now, before, **states):
    facts = Facts(previous=Previous(BEFORE, {code: reading(code, before, 0.1, **states)}))
    return foot(stages={"now": measured(reading(code, now, 0.1))}, facts=facts)


def test_a_bone_that_changes_its_length_tells_of_a_scale():
    found = answered("R48", against_before(CORTEX, 53.0, 50.0))
    assert found.value == pytest.approx(6.0)
    assert found.verdict == "OUTSIDE"


def test_what_cannot_change_is_compared_as_it_is_for_its_limit_is_what_scatter_may_do():
    facts = Facts(previous=Previous(BEFORE, {BONE: reading(BONE, 44.0, 1.4)}))
    inputs = foot(stages={"now": measured(reading(BONE, 45.9, 1.4))}, facts=facts)
    assert verdict("R47", inputs) == ("WITHIN", "inside")


def test_a_share_of_the_other_foot_has_the_uncertainty_of_both():
    rule = replace(SHIPPED["R48"], against="opposite", stage="after_fit")
    inputs = of_pair([reading(CORTEX, 53.0, 0.1)], [reading(CORTEX, 50.0, 0.1)])
    (found,) = judge(inputs, Rulebook((rule,), ""), (), DAY).findings
    # of r = a/b: u = sqrt(u_a^2 + (r u_b)^2) / b, JCGM 100:2008, 5.1.2
    assert found.u == pytest.approx(100 * math.hypot(0.1, 1.06 * 0.1) / 50.0)


def test_a_length_of_nothing_before_is_not_divided_by():
    assert verdict("R48", against_before(CORTEX, 53.0, 0.0)) == ("CANNOT_TELL", "not_positive")


@pytest.mark.parametrize(
    ("measure", "plan", "reason"),
    [
        ("last_nail_from_toe_percent", Plan(nails=Nails()), "missing_fact"),
        ("nail_count", Plan(nails=Nails()), "missing_fact"),
        ("clip_to_crack_mm", Plan(clips=(Clip("toe"),)), "missing_fact"),
        ("sole_clearance_mm", Plan(), "missing_fact"),
        ("shoe_cover_mm", Plan(shoe=Shoe("tip")), "missing_fact"),
        ("shoe_behind_heel_mm", Plan(shoe=Shoe("open", heel_extension_mm=math.inf)), "not_finite"),
        ("shoe_past_plumb_line_mm", Plan(), "missing_reading"),
    ],
)
def test_what_is_not_said_is_not_compared(measure, plan, reason):
    assert derived_quantity(foot(plan=plan), measure, "after_fit").reason == reason


def test_no_nails_at_all_is_a_number():
    found = derived_quantity(foot(plan=Plan(nails=Nails(count=0))), "nail_count", "after_fit")
    assert found.value == 0.0


def plumbed(value, plan, **angles):
    readings = [reading("plumb_to_heel_mm", value, 1.0, state="external", basis="stated")]
    readings += [reading(code, angle) for code, angle in angles.items()]
    stages = {"now": measured(*readings)}
    return derived_quantity(foot(stages=stages, plan=plan), "shoe_past_plumb_line_mm", "after_fit")


def test_a_trim_brings_the_heels_back_along_their_wall():
    plan = Plan(heel_trim_mm=5.0, shoe=Shoe("open", heel_extension_mm=4.0))
    # 5 mm off a heel of 45 degrees brings it back by 5 mm: plane geometry
    assert plumbed(-8.0, plan, heel_angle_deg=45.0).value == pytest.approx(1.0)
    assert plumbed(-8.0, plan, photo_heel_angle_deg=45.0).value == pytest.approx(1.0)
    assert plumbed(-8.0, plan, heel_angle_deg=95.0).value == pytest.approx(-4.0)
    assert plumbed(-8.0, plan).value == pytest.approx(-4.0)
    sides = Plan(heel_trim_medial_mm=2.0, heel_trim_lateral_mm=5.0)
    assert plumbed(-8.0, sides, heel_angle_deg=45.0).value == pytest.approx(-6.0)


def test_an_unreadable_number_on_the_foot_is_not_there():
    assert plumbed(math.nan, Plan()).reason == "missing_reading"


def test_the_share_of_the_last_nail_has_the_uncertainty_of_both_lengths():
    length = reading("foot_length_mm", 130.0, 1.0, state="external", basis="stated")
    back = reading("heel_to_widest_mm", 65.0, 1.0, state="external", basis="stated")
    plan = Plan(nails=Nails(last_behind_widest_mm=0.0))
    at = foot("LH", stages={"now": measured(length, back)}, plan=plan)
    found = derived_quantity(at, "last_nail_from_toe_percent", "after_fit")
    # 1 - 65/130, with u = sqrt(u_a^2 + (a/b)^2 u_b^2) / b: JCGM 100:2008, 5.1.2
    assert found.value == pytest.approx(50.0)
    assert found.u == pytest.approx(100 * math.hypot(1.0, 0.5) / 130.0)


@pytest.mark.parametrize("rule", ["R38", "R23", "R37", "R40"])
def test_what_is_about_a_plan_is_not_asked_without_one(rule):
    conditions = ("chronic_laminitis", "pedal_bone_fracture")
    assert verdict(rule, foot(conditions=conditions)) is None


def test_a_film_of_a_case_needs_its_day_and_a_worksheets_is_of_the_same_one():
    inputs = foot(conditions=("chronic_laminitis",), plan=Plan(), film=film("marker"))
    assert verdict("R02", inputs) == ("CANNOT_TELL", "missing_fact")
    assert verdict("R02", inputs, complete=False) == ("WITHIN", "recent")
    assert verdict("R02", foot(conditions=("toe_crack",)), complete=False) is None


def test_what_a_worksheet_cannot_know_is_not_run():
    for rule in ("R03", "R25", "R28", "R29", "R37", "R43", "R53"):
        assert verdict(rule, foot(plan=Plan(wedge_deg=2.0)), complete=False) is None, rule


def test_once_it_is_done_it_is_judged_as_it_was_done():
    nailed = Plan(attachment="nails", nails=Nails(count=6))
    fitted = Plan(attachment="nails", nails=Nails(count=9))
    planned = foot(plan=nailed, as_fitted=fitted)
    done = foot(plan=nailed, as_fitted=fitted, is_done=True)
    assert answered("R17", planned).verdict == "WITHIN"
    assert answered("R17", done).verdict == "OUTSIDE"


def test_a_plate_below_the_frog_does_not_press():
    negative = Shoe("heart_bar", frog_plate_height_mm=-2.0)
    inputs = foot(conditions=("pedal_bone_fracture",), plan=Plan(shoe=negative))
    assert verdict("R38", inputs) == ("WITHIN", "no_pressure")
    plated = Shoe("heart_bar", frog_plate="neutral")
    inputs = foot(conditions=("pedal_bone_fracture",), plan=Plan(shoe=plated))
    assert verdict("R38", inputs) == ("WITHIN", "no_pressure")
