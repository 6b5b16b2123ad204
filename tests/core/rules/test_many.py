"""Arrays of plans are judged as each plan alone is."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from referral.core.rules.finding import SEVERITIES, VERDICTS
from referral.core.rules.guard import TOLERANCE, Bound, decide
from referral.core.rules.many import CANNOT_TELL, ManyQuantities, decide_many, judge_many
from referral.core.rules.rule import severity_rank
from referral.core.rules.threshold import answers

LIMIT = st.sampled_from([-3.0, 0.0, 2.0, 10.0, 15.0]) | st.floats(-50.0, 50.0)
BOUND = st.builds(
    Bound, st.sampled_from(["low", "high"]), LIMIT, st.sampled_from(SEVERITIES), st.booleans()
)
VALUE = LIMIT | st.floats(-100.0, 100.0)
U = st.just(0.0) | st.floats(0.0, 5.0)


def quantities(values, u, known=None):
    every = np.ones(len(values), bool) if known is None else np.array(known)
    return ManyQuantities(np.array(values), u, every)


@given(values=st.lists(VALUE, min_size=1), u=U, bound=BOUND)
def test_each_verdict_is_that_of_the_value_alone(values, u, bound):
    found = [VERDICTS[code] for code in decide_many(quantities(values, u), bound)]
    assert found == [decide(value, u, bound) for value in values]


@given(values=st.lists(VALUE, min_size=1), u=U, bounds=st.lists(BOUND, min_size=1, max_size=5))
def test_each_answer_is_the_first_of_those_to_the_value_alone(values, u, bounds):
    found = judge_many(quantities(values, u), tuple(bounds))
    for place, value in enumerate(values):
        first = answers(value, u, tuple(bounds))[0]
        assert VERDICTS[found.verdicts[place]] == first.verdict
        assert found.margins[place] == first.margin
        assert found.severities[place] == severity_rank(first.bound.severity)


@given(value=st.just(math.nan) | VALUE, u=U, bound=BOUND)
def test_what_is_not_known_is_never_within(value, u, bound):
    unknown = quantities([value, value], u, [False, False])
    assert decide_many(unknown, bound).tolist() == [CANNOT_TELL] * 2
    found = judge_many(unknown, (bound, bound))
    assert found.verdicts.tolist() == [CANNOT_TELL] * 2
    assert np.isnan(found.margins).all()


def test_a_value_at_the_limit_but_for_rounding_is_at_the_limit():
    at_limit = quantities([3 * 1.1, 3.3 + 2 * TOLERANCE], 0.0)
    codes = decide_many(at_limit, Bound("high", 3.3, "caution"))
    assert [VERDICTS[code] for code in codes] == ["WITHIN", "OUTSIDE"]


def test_arrays_of_any_shape_keep_it():
    values = np.linspace(0.0, 20.0, 24).reshape(2, 3, 4)
    many = ManyQuantities(values, 0.7, np.ones(values.shape, bool))
    found = judge_many(many, (Bound("low", 15.0, "caution"), Bound("low", 10.0, "breach")))
    assert found.verdicts.shape == found.margins.shape == found.severities.shape == values.shape
