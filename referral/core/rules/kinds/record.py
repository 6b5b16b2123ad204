"""Rules on the record: named grading scales, well-formed identity, who may write what."""

import re

from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Setting
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.quantities import plan_for
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule
from referral.core.rules.words import found_words

LARGEST_NATIONAL_NUMBER = (1 << 38) - 1
CHIP = re.compile(r"\d{3}(?P<national>\d{12})", re.ASCII)
UELN = re.compile(r"\d{3}[0-9A-Z]{3}[0-9A-Z]{9}", re.ASCII)
WHERE_WRITTEN = "GB"


def judge_lameness(rule: Rule, limits: tuple[Limit, ...], setting: Setting) -> list[Finding] | None:
    """Return whether a lameness value names its scale, and is compared on that scale alone.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.rules.facts import Facts, Lameness
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "caution", "common practice", "-")
    >>> rule = Rule("X16", "Grade", "Name it.", "pattern", "now", (limit,), of="lameness_scale")
    >>> day = date(2026, 2, 1)
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, facts=Facts(lameness=Lameness(2.0)))
    >>> judge_lameness(rule, (limit,), Setting(foot, day))[0].reason
    'scale_unnamed'
    """
    facts = setting.inputs.facts
    if facts is None or facts.lameness is None:
        return None
    scale, before = facts.lameness.scale, facts.lameness_before
    if not scale:
        return [outcome(rule, limits[0], "OUTSIDE", Reason.SCALE_UNNAMED)]
    if before is None or before.scale == scale:
        return [outcome(rule, limits[0], "WITHIN", Reason.ONE_SCALE, scale)]
    if not before.scale:
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "the earlier scale")]
    detail = f"{before.scale}, then {scale}"
    return [outcome(rule, limits[0], "OUTSIDE", Reason.SCALES_MIXED, detail)]


def judge_identity(rule: Rule, limits: tuple[Limit, ...], setting: Setting) -> list[Finding] | None:
    """Return whether chip number and UELN are formed as their standards say.

    A chip is three digits of country or maker and a national number of 38 bits; a UELN has
    three digits of country, three signs of the database and nine of the horse.

    Notes
    -----
    Source: ISO 11784 (printed as 15 digits); ueln.net.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.rules.facts import Facts
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "caution", "published", "-")
    >>> rule = Rule("X17", "Identity", "Read it.", "pattern", "now", (limit,), of="identity")
    >>> day = date(2026, 2, 1)
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, facts=Facts(chip="826274877906944"))
    >>> judge_identity(rule, (limit,), Setting(foot, day))[0].reason
    'badly_formed'
    """
    facts = setting.inputs.facts
    chip, ueln = (facts.chip, facts.ueln) if facts else (None, None)
    if not (chip or ueln):
        if not setting.complete:
            return None
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "chip or UELN")]
    bad = [
        name
        for name, said, is_good in (("chip", chip, _is_chip), ("UELN", ueln, _is_ueln))
        if said and not is_good(said)
    ]
    if bad:
        return [outcome(rule, limits[0], "OUTSIDE", Reason.BADLY_FORMED, " and ".join(bad))]
    return [outcome(rule, limits[0], "WITHIN", Reason.WELL_FORMED)]


def judge_words(rule: Rule, limits: tuple[Limit, ...], setting: Setting) -> list[Finding] | None:
    """Return whether words of a vet's work stand in what a farrier wrote, where the law minds.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.rules.facts import Facts
    >>> from referral.core.rules.inputs import Inputs
    >>> limit = Limit(date(2026, 1, 1), "caution", "published", "-")
    >>> rule = Rule(
    ...     "X18", "Words", "Leave it.", "pattern", "now", (limit,), of="farrier_words",
    ...     words=("sedat",),
    ... )
    >>> day = date(2026, 2, 1)
    >>> facts = Facts(jurisdiction="GB", farrier_words=("Sedated it first.",))
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, facts=facts)
    >>> judge_words(rule, (limit,), Setting(foot, day))[0].says
    'Words: this was seen (sedat). Leave it.'
    """
    facts = setting.inputs.facts
    if facts is None or facts.farrier_words is None:
        return None
    if facts.jurisdiction is None:
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT, "whose law holds")]
    if facts.jurisdiction != WHERE_WRITTEN:
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.OTHER_LAW)]
    plan = plan_for(setting.inputs, "after_fit")
    texts = (*facts.farrier_words, (plan.reason if plan else None) or "")
    seen = found_words("\n".join(texts), rule.words)
    if seen:
        return [outcome(rule, limits[0], "OUTSIDE", Reason.SEEN, ", ".join(seen))]
    return [outcome(rule, limits[0], "WITHIN", Reason.NOTHING_SEEN)]


def _is_chip(said: str) -> bool:
    found = CHIP.fullmatch(said)
    return found is not None and int(found["national"]) <= LARGEST_NATIONAL_NUMBER


def _is_ueln(said: str) -> bool:
    return UELN.fullmatch(said) is not None
