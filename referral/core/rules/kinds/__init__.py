"""The kinds of rule that are not thresholds, one file each, and the table of them.

A kind returns its findings, or ``None`` when what it looks at was not supplied.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Setting
from referral.core.rules.kinds.agreement import judge_wedge
from referral.core.rules.kinds.fitting import judge_fitting
from referral.core.rules.kinds.presence import judge_film_scale, judge_recheck
from referral.core.rules.kinds.red_flag import judge_red_flags
from referral.core.rules.rule import Limit, Rule

Judge = Callable[[Rule, tuple[Limit, ...], Setting], list[Finding] | None]

KIND_JUDGES: Mapping[tuple[str, str], Judge] = MappingProxyType(
    {
        ("agreement_of_two", "wedge"): judge_wedge,
        ("presence", "film_scale"): judge_film_scale,
        ("presence", "recheck"): judge_recheck,
        ("red_flag", "red_flags"): judge_red_flags,
        ("pattern", "fitted_as_signed"): judge_fitting,
    }
)
"""By kind and what it is about (``of``); a new rule of a known kind adds a row and a function."""
