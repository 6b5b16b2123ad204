"""Judge many plans of one foot in one call: every rule and limit that compares numbers.

What differs from plan to plan comes in columns; everything else is as it is for the foot with
one of those plans. The comparisons are those of one plan, value for value.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from referral.core.geometry.points import Floats
from referral.core.predict.plan import Plan
from referral.core.rules.claims import Settled, limit_bounds
from referral.core.rules.derived import DERIVED
from referral.core.rules.finding import VERDICTS, CaseLimit, Finding
from referral.core.rules.guard import Bound
from referral.core.rules.inputs import Inputs
from referral.core.rules.judging import claims_on
from referral.core.rules.kinds.agreement import angles_apart_deg, length_along_mm
from referral.core.rules.kinds.between import apart, judgeable
from referral.core.rules.many import (
    OUTSIDE,
    Codes,
    ManyAnswers,
    ManyQuantities,
    judge_many,
    p_outside_many,
)
from referral.core.rules.quantities import Quantity, find_quantity, plan_for
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Rule, Rulebook, limits_in_force, severity_rank
from referral.core.rules.threshold import OUT_OF_SCOPE, claimed_quantity
from referral.core.units import unit_of

NOT_APPLICABLE = VERDICTS.index("NOT_APPLICABLE")
NUMERIC_KINDS = frozenset({"threshold", "difference", "agreement_of_two"})
NUMERIC_OTHERS = frozenset({"recent_film"})
"""What rules of another kind are about that compare a number all the same."""

NEVER = frozenset(
    each.value
    for each in (
        Reason.OTHER_LIMB,
        Reason.OTHER_ANIMAL,
        Reason.OTHER_CONDITION,
        Reason.OTHER_DEVICE,
        Reason.OTHER_ATTACHMENT,
        Reason.NOT_IN_FORCE,
        Reason.PUT_OFF,
        Reason.NOT_COMPARED,
        Reason.CLUB_FOOT,
    )
)
"""Why a rule is for none of the plans, whatever they say."""

Columns = Mapping[tuple[str, str], ManyQuantities]
"""By (stage, measure): the number that each plan has there, in the unit of the measure's name."""


@dataclass(frozen=True, slots=True)
class Row:
    """One rule's or limit's answers on every plan, and the numbers they rest on.

    Where one answer holds for all plans ``p_outside`` is its own, if it has one.
    """

    rule: str
    answers: ManyAnswers
    bounds: tuple[Bound, ...] = ()
    quantities: ManyQuantities | None = None
    p_outside: float | None = None


@dataclass(frozen=True, slots=True)
class ManyJudgement:
    """Every numeric rule's answer on every plan: arrays of shape (rule, ...).

    ``verdicts`` are places in `VERDICTS`; ``margins`` are negative outside, NaN where there is
    none; ``severities`` are ranks.
    """

    rows: tuple[Row, ...]

    @property
    def rules(self) -> tuple[str, ...]:
        """Return the rules and limits, in the order of the arrays."""
        return tuple(row.rule for row in self.rows)

    @property
    def verdicts(self) -> Codes:
        """Return the answers."""
        return np.stack([row.answers.verdicts for row in self.rows])

    @property
    def margins(self) -> Floats:
        """Return how far inside the deciding bound each value lies."""
        return np.stack([row.answers.margins for row in self.rows])

    @property
    def severities(self) -> Codes:
        """Return how severe each deciding bound is."""
        return np.stack([row.answers.severities for row in self.rows])

    def p_outside(self, rule: str) -> Floats:
        """Return the probability that each plan is outside a rule, NaN where it has no number.

        Raises
        ------
        ValueError
            If it is no rule of these.
        """
        row = self.rows[self.rules.index(rule)]
        if row.quantities is None:
            p_outside = np.nan if row.p_outside is None else row.p_outside
            return np.full(row.answers.margins.shape, p_outside)
        return p_outside_many(row.quantities, row.bounds, row.answers.deciding)


def judge_columns(
    foot: Inputs,
    rulebook: Rulebook,
    limits: Sequence[CaseLimit],
    on: date,
    columns: Columns,
) -> ManyJudgement:
    """Return every numeric rule's and limit's answer on many plans of one foot.

    Parameters
    ----------
    foot : Inputs
        The foot with one of the plans: it says which rules apply, and what does not vary.
    rulebook, limits, on : Rulebook, sequence of CaseLimit, date
        As for judging one plan (`judge`).
    columns : mapping of (stage, measure) to ManyQuantities
        What varies, all of one shape (...); at least one. Lengths that may not be judged are
        not known there.

    Returns
    -------
    ManyJudgement
        For each rule the first of the answers that `judge` gives on each plan by itself.
        Rules that compare no number are left out: they ask for one plan as a whole.

    Raises
    ------
    BadRule
        If a limit of the vet's has no bound or no known strength.

    Notes
    -----
    Guard band U = 2u after JCGM 106:2012.

    Examples
    --------
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.predict.plan import Plan
    >>> foot = Inputs(Profile("LF", "adult_horse", date(2026, 1, 1)), {}, Plan())
    >>> limit = CaseLimit("heel_trim_mm", "after_fit", "must", at_most=4.0)
    >>> trims = ManyQuantities(np.array([3.0, 5.0]), 0.0, np.ones(2, bool))
    >>> columns = {("after_fit", "heel_trim_mm"): trims}
    >>> found = judge_columns(foot, Rulebook((), ""), [limit], date(2026, 1, 1), columns)
    >>> found.rules, [VERDICTS[code] for code in found.verdicts[0]], found.margins.tolist()
    (('case:0',), ['WITHIN', 'OUTSIDE'], [[1.0, -1.0]])
    """
    claims, findings = claims_on(foot, rulebook, limits, on)
    rules = {rule.id: rule for rule in rulebook.rules}
    work = _Work(foot, on, columns, next(iter(columns.values())).values.shape)
    rows = [work.claimed(each) for each in claims if each.kept]
    for finding in findings:
        rule = rules.get(finding.rule)
        if rule is None or rule.kind in NUMERIC_KINDS or rule.of in NUMERIC_OTHERS:
            rows.append(work.found(finding, rule))
    return ManyJudgement(tuple(rows))


@dataclass(frozen=True, slots=True)
class _Work:
    """One call: the foot, the day, what varies, and the shape of it all."""

    foot: Inputs
    on: date
    columns: Columns
    shape: tuple[int, ...]

    def claimed(self, settled: Settled) -> Row:
        """Return the answers of a threshold or of a limit of the vet's."""
        claim = settled.claim
        column = self.columns.get((claim.stage, claim.measure))
        derived = DERIVED.get(claim.measure)
        unit = derived.unit if derived else unit_of(claim.measure)
        same_unit = {bound.unit for bound in claim.bounds} == {unit}
        if column is None or not same_unit:
            at_plan = claimed_quantity(claim, self.foot)
            if at_plan.reason in OUT_OF_SCOPE:
                severity = max(severity_rank(bound.severity) for bound in settled.kept)
                return Row(claim.rule, self._all(NOT_APPLICABLE, severity))
            column = self._constant(at_plan)
        return self._judged(claim.rule, column, settled.kept)

    def found(self, finding: Finding, rule: Rule | None) -> Row:
        """Return the answers of a rule of another kind, from its answer on the one plan."""
        is_for_all = finding.reason in NEVER or rule is None
        if rule is not None and not is_for_all and rule.of == "wedge":
            return self._wedge(rule)
        if rule is not None and not is_for_all and rule.kind == "difference":
            varied = self._difference(rule)
            if varied is not None:
                return self._judged(rule.id, varied, self._bounds(rule))
        code, severity = VERDICTS.index(finding.verdict), severity_rank(finding.severity)
        answers = self._all(code, severity, finding.margin)
        return Row(finding.rule, answers, p_outside=finding.p_outside)

    def _difference(self, rule: Rule) -> ManyQuantities | None:
        """Return how far each plan's reading lies from the other one; None if none varies."""
        column = self.columns.get((rule.stage, rule.measure or ""))
        other = getattr(self.foot.facts, rule.against or "", None)
        there = judgeable(other.readings.get(rule.measure) if other else None)
        one = there.value or 0.0, there.u or 0.0
        if column is None or there.reason is not None or (rule.relative and one[0] == 0.0):
            return None
        value, u = apart(column.values, column.u, one, relative=rule.relative)
        return ManyQuantities(value, 0.0 if rule.against == "previous" else u, column.known)

    def _wedge(self, rule: Rule) -> Row:
        """Return whether each plan's wedge is the same in degrees and in millimetres."""
        angle, height = (self._number(rule.stage, each) for each in ("wedge_deg", "wedge_mm"))
        length = self._wedge_length(rule, angle)
        known = length.known & (length.values > 0.0) & (length.values < np.inf)
        with np.errstate(invalid="ignore", divide="ignore"):  # such values are not known
            apart_deg, u = angles_apart_deg(angle.values, height.values, length.values, length.u)
        row = self._judged(rule.id, ManyQuantities(apart_deg, u, known), self._bounds(rule))
        # a height that nobody gave is a fault, and there may be no wedge to speak of
        unsaid = ~height.known
        none = (angle.values == 0.0) & (unsaid | (height.values == 0.0))
        codes = np.where(none, NOT_APPLICABLE, np.where(unsaid, OUTSIDE, row.answers.verdicts))
        margins = np.where(none | unsaid, np.nan, row.answers.margins)
        return replace(
            row, answers=replace(row.answers, verdicts=codes.astype(np.int8), margins=margins)
        )

    def _wedge_length(self, rule: Rule, angle: ManyQuantities) -> ManyQuantities:
        plan = plan_for(self.foot, rule.stage) or Plan()
        if plan.wedge_length_mm is not None:
            return self._constant(Quantity(plan.wedge_length_mm, 0.0))
        bearing = self._number("after_fit", "bearing_length_mm")
        behind = plan.shoe.heel_extension_mm if plan.shoe else 0.0
        return replace(bearing, values=length_along_mm(bearing.values, behind, angle.values))

    def _number(self, stage: str, measure: str) -> ManyQuantities:
        """Return what varies, or what the foot's own plan has, for every plan."""
        column = self.columns.get((stage, measure))
        return column or self._constant(find_quantity(self.foot, measure, stage))

    def _constant(self, quantity: Quantity) -> ManyQuantities:
        value = np.nan if quantity.value is None else quantity.value
        known = np.full(self.shape, quantity.reason is None and quantity.value is not None)
        return ManyQuantities(np.full(self.shape, value), quantity.u or 0.0, known)

    def _bounds(self, rule: Rule) -> tuple[Bound, ...]:
        limits = limits_in_force(rule, self.foot.profile, self.on)
        return tuple(bound for limit in limits for bound in limit_bounds(limit))

    def _judged(self, rule: str, column: ManyQuantities, bounds: tuple[Bound, ...]) -> Row:
        answers = judge_many(column, bounds)
        if column.applies is not None:
            codes = np.where(column.applies, answers.verdicts, NOT_APPLICABLE).astype(np.int8)
            answers = replace(answers, verdicts=codes)
        return Row(rule, answers, bounds, column)

    def _all(self, code: int, severity: int, margin: float | None = None) -> ManyAnswers:
        """Return one answer for every plan."""
        return ManyAnswers(
            np.full(self.shape, code, np.int8),
            np.full(self.shape, np.nan if margin is None else margin),
            np.full(self.shape, severity, np.int8),
            np.zeros(self.shape, np.int8),
        )
