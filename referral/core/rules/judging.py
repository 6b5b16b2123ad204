"""Judge one foot's plan against a rulebook and the vet's limits: every finding, in order."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from referral.core.rules.changed import with_changes
from referral.core.rules.claims import (
    STRENGTHS,
    Claim,
    Settled,
    case_claim,
    rule_claim,
    settle,
)
from referral.core.rules.derived import DERIVED, quantity_of
from referral.core.rules.finding import CaseLimit, Finding, Judgement, blank_finding
from referral.core.rules.inputs import Inputs, Setting
from referral.core.rules.kinds import judge_of
from referral.core.rules.quantities import is_outside, is_supplied
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import (
    Rule,
    Rulebook,
    limits_in_force,
    out_of_scope,
    severity_rank,
)
from referral.core.rules.summary import folded, summary_of, worst_of
from referral.core.rules.threshold import judge_claim

__all__ = ["Inputs", "judge"]


UNSAID = frozenset({Reason.MISSING_FACT, Reason.MISSING_READING, Reason.MISSING_STAGE})


@dataclass(slots=True)
class _Tally:
    """What has been found so far."""

    claims: list[Claim] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    not_run: list[str] = field(default_factory=list)


def judge(
    inputs: Inputs,
    rulebook: Rulebook,
    limits: Sequence[CaseLimit],
    on: date,
    *,
    complete: bool = False,
) -> Judgement:
    """Return every rule's and limit's answer on one foot, and what they add up to.

    Parameters
    ----------
    inputs : Inputs
        The foot, its readings by stage, plan, as-fitted record, facts and film.
    rulebook : Rulebook
        The rules; their order does not matter.
    limits : sequence of CaseLimit
        The vet's limits on the case, in the order in which they are numbered.
    on : date
        The day whose limits count: an old day gives the old answer.
    complete : bool
        Whether the facts are always supplied, as on a case; then missing facts are
        CANNOT_TELL instead of leaving the rules that need them in ``not_run``.

    Returns
    -------
    Judgement
        Findings from worst to best; values and limits in the unit each one names.
        Missing data is never WITHIN.

    Raises
    ------
    BadRule
        If a limit of the vet's has no bound or no known strength.

    Notes
    -----
    Guard band U = 2u after JCGM 106:2012; with u = 0 values are compared as they
    are, with a tolerance of 1e-9 for the arithmetic and no rounding.

    Examples
    --------
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Plan
    >>> day = date(2026, 11, 25)
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, plan=Plan(heel_trim_mm=5.0))
    >>> limit = CaseLimit("heel_trim_mm", "after_fit", "must", at_most=4.0)
    >>> judge(foot, Rulebook((), ""), [limit], day).summary
    '1 limit broken'
    """
    tally = _taken(rulebook, limits, Setting(inputs, on, complete))
    for settled in settle(tally.claims):
        tally.findings.extend(judge_claim(settled, inputs))
    findings = folded(with_changes(tally.findings, rulebook.rules))
    return Judgement(
        worst=worst_of(findings),
        summary=summary_of(findings),
        rulebook=rulebook.content_hash,
        not_run=tuple(tally.not_run),
        findings=tuple(findings),
    )


def claims_on(
    inputs: Inputs, rulebook: Rulebook, limits: Sequence[CaseLimit], on: date
) -> tuple[tuple[Settled, ...], tuple[Finding, ...]]:
    """Return what judging a foot compares: the settled claims, and all other findings.

    Raises
    ------
    BadRule
        If a limit of the vet's has no bound or no known strength.

    Examples
    --------
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Plan
    >>> day = date(2026, 11, 25)
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, plan=Plan(heel_trim_mm=5.0))
    >>> limit = CaseLimit("heel_trim_mm", "after_fit", "must", at_most=4.0)
    >>> claims, others = claims_on(foot, Rulebook((), ""), [limit], day)
    >>> [each.claim.rule for each in claims], others
    (['case:0'], ())
    """
    tally = _taken(rulebook, limits, Setting(inputs, on))
    return settle(tally.claims), with_changes(tally.findings, rulebook.rules)


def _taken(rulebook: Rulebook, limits: Sequence[CaseLimit], setting: Setting) -> _Tally:
    tally = _Tally()
    for index, limit in enumerate(limits):
        _take_case_limit(tally, index, limit, setting.inputs)
    for rule in sorted(rulebook.rules, key=lambda rule: rule.id):
        _take_rule(tally, rule, setting)
    return tally


def _take_case_limit(tally: _Tally, index: int, limit: CaseLimit, inputs: Inputs) -> None:
    claim = case_claim(index, limit)
    if limit.limb is not None and limit.limb != inputs.profile.limb:
        blank = blank_finding(claim.rule, claim.title, claim.stage, claim.origin)
        tally.findings.append(_out_of_scope(blank, STRENGTHS[limit.strength], Reason.OTHER_LIMB))
        return
    _take_claim(tally, claim, inputs)


def _take_rule(tally: _Tally, rule: Rule, setting: Setting) -> None:
    tiers = limits_in_force(rule, setting.inputs.profile, setting.on)
    reason = out_of_scope(rule.applies, setting.inputs) or _put_off(rule)
    if reason is not None or not tiers:
        blank = blank_finding(rule.id, rule.title, rule.stage, rule.origin)
        severity = max((limit.severity for limit in rule.limits), key=severity_rank, default="note")
        finding = _out_of_scope(blank, severity, reason or Reason.NOT_IN_FORCE)
        tally.findings.append(replace(finding, measure=rule.measure))
    elif rule.kind == "threshold":
        _take_threshold(tally, rule, rule_claim(rule, tiers), setting)
    else:
        found = judge_of(rule)(rule, tiers, setting)
        tally.findings.extend(found or [])
        tally.not_run.extend([rule.id] if found is None else [])


def _put_off(rule: Rule) -> Reason | None:
    return Reason.PUT_OFF if rule.change is not None and rule.change.is_off else None


def _take_threshold(tally: _Tally, rule: Rule, claim: Claim, setting: Setting) -> None:
    """Take a rule's claim, unless it is about what nobody has to say or to read."""
    may_be_unsaid = claim.measure in DERIVED or is_outside(claim.measure) or claim.stage == "now"
    if may_be_unsaid or rule.optional:
        found = quantity_of(setting.inputs, claim.measure, claim.stage)
        if found.reason in UNSAID and not setting.complete:
            tally.not_run.append(claim.rule)
            return
        if found.reason in UNSAID and rule.optional:
            blank = blank_finding(claim.rule, claim.title, claim.stage, claim.origin)
            severity = max((each.severity for each in claim.bounds), key=severity_rank)
            tally.findings.append(_out_of_scope(blank, severity, Reason.NOT_READ))
            return
    _take_claim(tally, claim, setting.inputs)


def _take_claim(tally: _Tally, claim: Claim, inputs: Inputs) -> None:
    if is_supplied(inputs, claim.measure, claim.stage):
        tally.claims.append(claim)
    else:
        tally.not_run.append(claim.rule)


def _out_of_scope(blank: Finding, severity: str, reason: Reason) -> Finding:
    says = f"{blank.title}: not judged, {reason.sentence}."
    return replace(blank, severity=severity, reason=reason.value, says=says)
