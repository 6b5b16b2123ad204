"""What holds for every value, limit and order."""

import math
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from referral.core.measure.registry import MEASURES
from referral.core.predict.plan import ExecutionU, Nails, Plan, Shoe
from referral.core.rules.facts import Facts
from referral.core.rules.finding import STAGES, VERDICTS, CaseLimit
from referral.core.rules.guard import Bound, p_beyond
from referral.core.rules.judging import judge
from referral.core.rules.reasons import Reason
from referral.core.rules.summary import WORST_ORDER
from referral.rulebook.loader import load_rulebook
from tests.core.rules.feet import (
    DAY,
    SOLE,
    after_fit,
    book,
    foot,
    measured,
    reading,
    threshold,
    tier,
)

SHIPPED = load_rulebook()
NUMBER = st.floats(-200.0, 200.0)
ANY_NUMBER = st.floats(allow_nan=True, allow_infinity=True)
U = st.one_of(st.just(0.0), st.floats(0.0, 10.0))
CODES = st.sampled_from(
    [
        SOLE,
        "palmar_angle_deg",
        "breakover_distance_mm",
        "behind_centre_percent",
        "bearing_length_mm",
    ]
)
READINGS = st.builds(
    reading,
    CODES,
    ANY_NUMBER,
    ANY_NUMBER,
    state=st.sampled_from(["marker", "none", "estimated", "unsaid", "external", "foot_frame"]),
    basis=st.sampled_from(["film", "stated", "predicted"]),
)
STAGE_SETS = st.dictionaries(
    st.sampled_from(STAGES), st.lists(READINGS).map(lambda each: measured(*each))
)
DAYS = st.none() | st.dates(date(2019, 1, 1), date(2027, 12, 31))
SHOES = st.builds(
    Shoe, st.sampled_from(["open", "egg_bar"]), thickness_mm=NUMBER, breakover_setback_mm=NUMBER
)
PLANS = st.builds(
    Plan,
    toe_trim_mm=ANY_NUMBER,
    heel_trim_mm=ANY_NUMBER,
    heel_trim_medial_mm=st.none() | ANY_NUMBER,
    wedge_deg=ANY_NUMBER,
    wedge_mm=st.none() | ANY_NUMBER,
    wedge_length_mm=st.none() | ANY_NUMBER,
    shoe=st.none() | SHOES,
    nails=st.none() | st.builds(Nails, st.none() | st.integers(0, 12)),
    attachment=st.none() | st.just("nailed"),
    interval_weeks=st.none() | ANY_NUMBER,
    fit_on=DAYS,
    reason=st.none() | st.text(),
    execution_u=st.just(ExecutionU()),
)
FACTS = st.builds(
    Facts,
    red_flags=st.none() | st.lists(st.text()).map(tuple),
    recheck_owner=st.none() | st.text(),
    recheck_on=DAYS,
    plan_signed_on=DAYS,
)
LIMITS = st.builds(
    CaseLimit,
    CODES,
    st.sampled_from(STAGES),
    st.sampled_from(["must", "should"]),
    at_least=st.none() | NUMBER,
    at_most=st.none() | NUMBER,
).filter(lambda limit: limit.at_least is not None or limit.at_most is not None)
FEET = st.builds(
    foot,
    st.sampled_from(["LF", "RF", "LH", "RH"]),
    st.sampled_from(["adult_horse", "pony", "foal", "donkey"]),
    st.sampled_from([(), ("chronic_laminitis",)]),
    stages=STAGE_SETS,
    plan=st.none() | PLANS,
    as_fitted=st.none() | PLANS,
    facts=st.none() | FACTS,
)
TIERS = threshold(tier("note", at_least=20.0), tier(at_least=15.0), tier("breach", at_least=10.0))


@given(value=NUMBER, further=st.floats(0.0, 100.0), u=U)
def test_more_past_a_limit_never_unflags(value, further, u):
    near = judge(after_fit(reading(SOLE, value, u)), book(TIERS), (), DAY).worst
    far = judge(after_fit(reading(SOLE, value - further, u)), book(TIERS), (), DAY).worst
    assert WORST_ORDER.index(far) <= WORST_ORDER.index(near)


@given(value=NUMBER, further=st.floats(0.0, 100.0), u=U)
def test_more_past_a_limit_is_never_less_probably_outside(value, further, u):
    bound = Bound("high", 10.0, "caution")
    assert 0.0 <= p_beyond(value, u, bound) <= p_beyond(value + further, u, bound) <= 1.0


@given(feet=FEET, limits=st.lists(LIMITS, max_size=3), order=st.permutations(SHIPPED.rules))
def test_the_order_of_the_rules_does_not_matter(feet, limits, order):
    assert judge(feet, book(*order), limits, DAY) == judge(feet, book(*SHIPPED.rules), limits, DAY)


@given(feet=FEET, limits=st.lists(LIMITS, max_size=3), complete=st.booleans(), on=DAYS)
def test_judging_never_fails_and_answers_in_the_agreed_words(feet, limits, complete, on):
    judgement = judge(feet, SHIPPED, limits, on or DAY, complete=complete)
    assert judgement.worst in WORST_ORDER
    assert judgement.summary
    reasons = {each.value for each in Reason}
    for finding in judgement.findings:
        assert finding.verdict in VERDICTS
        assert finding.reason in reasons
        assert finding.says
        numbers = (finding.value, finding.u, finding.limit, finding.margin, finding.p_outside)
        assert all(math.isfinite(number) for number in numbers if number is not None)
    answered = {finding.rule for finding in judgement.findings}
    expected = {rule.id for rule in SHIPPED.rules} | {f"case:{n}" for n in range(len(limits))}
    assert answered | set(judgement.not_run) == expected


@given(feet=FEET)
def test_a_missing_reading_is_never_within(feet):
    findings = {each.rule: each for each in judge(feet, SHIPPED, (), DAY).findings}
    for rule in SHIPPED.rules:
        stage = feet.stages.get(rule.stage)
        read_from_film = rule.kind == "threshold" and rule.measure in MEASURES
        if read_from_film and (stage is None or rule.measure not in stage.readings):
            verdict = findings[rule.id].verdict if rule.id in findings else "CANNOT_TELL"
            assert verdict in ("CANNOT_TELL", "NOT_APPLICABLE")


@given(value=NUMBER, u=U, days=st.integers(-400, 400))
def test_a_later_limit_never_changes_an_older_answer(value, u, days):
    newer = date(2026, 6, 1)
    on = newer + timedelta(days=days)
    old_rule = threshold(tier(at_least=12.0))
    new_rule = threshold(tier(at_least=12.0), tier(since=newer, at_least=15.0))
    inputs = after_fit(reading(SOLE, value, u))
    before, after = (judge(inputs, book(rule), (), on) for rule in (old_rule, new_rule))
    assert on >= newer or before == after
