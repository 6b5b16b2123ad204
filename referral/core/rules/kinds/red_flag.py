"""Red flags: seen means the vet, now; not asked about never passes."""

from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Setting
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule


def judge_red_flags(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return whether a red flag was seen, all of them in one finding.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.rules.facts import Facts
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "red_flag", "common practice", "-")
    >>> rule = Rule("X04", "Red flags", "Ring.", "red_flag", "now", (limit,), of="red_flags")
    >>> day = date(2026, 2, 1)
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, facts=Facts(red_flags=()))
    >>> judge_red_flags(rule, (limit,), Setting(foot, day))[0].reason
    'no_red_flag'
    """
    facts = setting.inputs.facts
    if facts is None and not setting.complete:
        return None
    if facts is None or facts.red_flags is None:
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT)]
    if not facts.red_flags:
        return [outcome(rule, limits[0], "WITHIN", Reason.NO_RED_FLAG)]
    seen = ", ".join(flag.replace("_", " ") for flag in facts.red_flags)
    return [outcome(rule, limits[0], "OUTSIDE", Reason.RED_FLAG_PRESENT, seen)]
