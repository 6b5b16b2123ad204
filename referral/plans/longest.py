"""How long a plan may be left before a must at the due date no longer holds, in a sentence."""

from collections.abc import Callable, Sequence
from datetime import date

from referral.core.rules.finding import CaseLimit
from referral.core.rules.inputs import Inputs
from referral.core.rules.interval import MOST_WEEKS, judges_due_date, longest_interval_weeks
from referral.core.rules.rule import Rulebook

UNTOLD = "How long it may be left cannot be told: a must at the due date cannot be checked."
NEVER = "No interval keeps every must at the due date."


def longest_says(
    foresee: Callable[[int], Inputs], rulebook: Rulebook, limits: Sequence[CaseLimit], on: date
) -> str:
    """Return how many weeks every must at the due date holds; empty if there is none."""
    if not judges_due_date(rulebook, limits):
        return ""
    weeks = longest_interval_weeks(foresee, rulebook, limits, on)
    if weeks is None:
        return UNTOLD
    if weeks == 0:
        return NEVER
    most = " or more" if weeks == MOST_WEEKS else ""
    return (
        f"Every must at the due date holds for {weeks} weeks{most}, and so does the rule on the "
        "interval."
    )
