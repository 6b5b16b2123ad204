"""The kinds of rule that are not thresholds, one file each, and the table of them.

A kind returns its findings, or ``None`` when what it looks at was not supplied.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Setting
from referral.core.rules.kinds.agreement import judge_wedge
from referral.core.rules.kinds.between import judge_difference, judge_pair_lift
from referral.core.rules.kinds.devices import (
    judge_frog_plate,
    judge_surface,
    judge_turned_back,
    judge_weak_heels,
)
from referral.core.rules.kinds.filmed import (
    judge_film_before_trim,
    judge_film_doubts,
    judge_recent_film,
)
from referral.core.rules.kinds.fitting import judge_fitting
from referral.core.rules.kinds.founder import judge_founder_rise
from referral.core.rules.kinds.presence import judge_film_scale, judge_recheck
from referral.core.rules.kinds.record import judge_identity, judge_lameness, judge_words
from referral.core.rules.kinds.red_flag import judge_red_flags
from referral.core.rules.rule import Limit, Rule

Judge = Callable[[Rule, tuple[Limit, ...], Setting], list[Finding] | None]

KIND_JUDGES: Mapping[tuple[str, str], Judge] = MappingProxyType(
    {
        ("agreement_of_two", "wedge"): judge_wedge,
        ("agreement_of_two", "pair_lift"): judge_pair_lift,
        ("presence", "film_scale"): judge_film_scale,
        ("presence", "film_before_trim"): judge_film_before_trim,
        ("presence", "recent_film"): judge_recent_film,
        ("presence", "recheck"): judge_recheck,
        ("red_flag", "red_flags"): judge_red_flags,
        ("red_flag", "founder_rise"): judge_founder_rise,
        ("pattern", "film_doubts"): judge_film_doubts,
        ("pattern", "fitted_as_signed"): judge_fitting,
        ("pattern", "frog_plate"): judge_frog_plate,
        ("pattern", "surface"): judge_surface,
        ("pattern", "turned_back"): judge_turned_back,
        ("pattern", "wedge_on_weak_heels"): judge_weak_heels,
        ("pattern", "lameness_scale"): judge_lameness,
        ("pattern", "identity"): judge_identity,
        ("pattern", "farrier_words"): judge_words,
    }
)
"""By kind and what it is about (``of``); a new rule of a known kind adds a row and a function."""

BOUNDED: Mapping[tuple[str, str], str] = MappingProxyType(
    {
        ("agreement_of_two", "wedge"): "deg",
        ("agreement_of_two", "pair_lift"): "mm",
        ("presence", "recent_film"): "weeks",
    }
)
"""Those whose limits have bounds, and in which unit."""


def judge_of(rule: Rule) -> Judge:
    """Return what judges a rule that is not a threshold.

    Raises
    ------
    KeyError
        If there is no such kind, or it is about nothing that is known.

    Examples
    --------
    >>> from datetime import date
    >>> limit = Limit(date(2026, 1, 1), "caution", "common practice", "-")
    >>> rule = Rule("X02", "Recheck", "Name.", "presence", "now", (limit,), of="recheck")
    >>> judge_of(rule).__name__
    'judge_recheck'
    """
    if rule.kind == "difference":
        return judge_difference
    return KIND_JUDGES[rule.kind, rule.of or ""]
