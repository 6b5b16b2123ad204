"""Rules on the film itself: how old it is, whether it is from before the trim, its doubts."""

from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Setting
from referral.core.rules.kinds.bounded import bounded_findings
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.quantities import Quantity, plan_for
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule

DAYS_A_WEEK = 7.0
AGES = {"WITHIN": Reason.RECENT, "OUTSIDE": Reason.TOO_OLD}
NOT_SAID = "not_said"


def judge_recent_film(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return how many weeks before the fitting the film was taken; no film is OUTSIDE.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "caution", "common practice", "-", "weeks", at_most=6)
    >>> rule = Rule("X09", "Film", "Film it.", "presence", "now", (limit,), of="recent_film")
    >>> day = date(2026, 2, 1)
    >>> bare = Inputs(Profile("LF", "adult_horse", day), {})
    >>> judge_recent_film(rule, (limit,), Setting(bare, day, complete=True))[0].reason
    'no_film'
    """
    film, plan = setting.inputs.film, plan_for(setting.inputs, "after_fit")
    if film is None:
        if not setting.complete:
            return None
        return [outcome(rule, limits[0], "OUTSIDE", Reason.NO_FILM)]
    fit_on = (plan.fit_on if plan else None) or setting.inputs.profile.on
    if film.taken_on is None and setting.complete:
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "day of the film")]
    days = (fit_on - (film.taken_on or fit_on)).days
    return bounded_findings(rule, limits, Quantity(days / DAYS_A_WEEK, 0.0, "weeks"), AGES)


def judge_film_before_trim(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return whether the film of a first plan shows the foot before it was trimmed.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "note", "common practice", "-")
    >>> rule = Rule("X10", "Film", "Film it.", "presence", "now", (limit,), of="film_before_trim")
    >>> day = date(2026, 2, 1)
    >>> judge_film_before_trim(
    ...     rule, (limit,), Setting(Inputs(Profile("LF", "adult_horse", day), {}), day)
    ... ) is None
    True
    """
    film, facts = setting.inputs.film, setting.inputs.facts
    if facts is not None and facts.previous is not None:
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NOT_IN_FORCE)]
    if film is None:
        if not setting.complete:
            return None
        return [outcome(rule, limits[0], "OUTSIDE", Reason.NO_FILM)]
    if film.trim not in ("before", "after"):
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "before or after")]
    if film.trim == "after":
        return [outcome(rule, limits[0], "OUTSIDE", Reason.NOT_BEFORE_TRIM)]
    return [outcome(rule, limits[0], "WITHIN", Reason.RECENT)]


def judge_film_doubts(
    rule: Rule, limits: tuple[Limit, ...], setting: Setting
) -> list[Finding] | None:
    """Return whether the film has one of the doubts that the rule names, by their codes.

    ``not_said`` among the rule's words stands for what nobody answered: CANNOT_TELL.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.rules.facts import Facts
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "note", "common practice", "-")
    >>> rule = Rule(
    ...     "X11", "View", "Film it anew.", "pattern", "now", (limit,), of="film_doubts",
    ...     words=("oblique", "not_said"),
    ... )
    >>> day = date(2026, 2, 1)
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, facts=Facts(film_doubts=("oblique",)))
    >>> judge_film_doubts(rule, (limit,), Setting(foot, day))[0].says
    'View: this was seen (oblique). Film it anew.'
    """
    facts, now = setting.inputs.facts, setting.inputs.stages.get("now")
    told = facts.film_doubts if facts else None
    codes = {*(told or ()), *(caveat.code for caveat in (now.warnings if now else ()))}
    seen = [word for word in rule.words if word in codes and word != NOT_SAID]
    if seen:
        detail = ", ".join(word.replace("_", " ") for word in seen)
        return [outcome(rule, limits[0], "OUTSIDE", Reason.SEEN, detail)]
    if NOT_SAID in rule.words and NOT_SAID in codes:
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "how it was taken")]
    if told is not None:
        return [outcome(rule, limits[0], "WITHIN", Reason.NOTHING_SEEN)]
    if not setting.complete:
        return None
    if setting.inputs.film is None:
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NO_FILM)]
    return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "how it was taken")]
