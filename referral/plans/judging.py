"""Judge a plan, or what was fitted, limb by limb; build the content that an agreement binds.

Everything here is computed from what it is given. The content's inputs part is
compared as stored text, so nothing is ever recomputed from floats to see whether
a plan is still the one that was judged.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from typing import Any

from referral.core.errors import CoreError, ImpossiblePlan
from referral.core.measure.film import Film
from referral.core.measure.readings import Caveat, Measured, Profile
from referral.core.predict.growth import OwnRates
from referral.core.predict.plan import Plan
from referral.core.predict.prediction import Prediction, predict
from referral.core.rules.facts import Facts
from referral.core.rules.finding import CaseLimit, Finding, Judgement
from referral.core.rules.judging import Inputs, judge
from referral.core.rules.summary import WORST_ORDER
from referral.errors import Invalid
from referral.films.queries import LimbBasis, basis_record
from referral.plans.content import plan_from_content
from referral.rulebook.loader import Rulebook
from referral.storage.canonical import canonical_json, sha256_hex

NOT_POSSIBLE = "fitted_not_possible"
"""The code of the warning that what was fitted does not go with the foot as measured."""


@dataclass(frozen=True, slots=True)
class Subject:
    """Everything one judging rests on, limb by limb; reasons are keyed ``LF.heel_trim_mm``."""

    animal: str
    conditions: Mapping[str, frozenset[str]]
    bases: Mapping[str, LimbBasis]
    plans: Mapping[str, Mapping[str, Any]]
    limits: tuple[CaseLimit, ...]
    facts: Facts
    fitted: Mapping[str, Mapping[str, Any]] | None = None
    reasons: Mapping[str, str] = field(default_factory=dict)
    own: Mapping[str, OwnRates] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LimbOutcome:
    """What a plan is expected to do on one limb, and how it stands to every limit."""

    limb: str
    prediction: Prediction
    judgement: Judgement


@dataclass(frozen=True, slots=True)
class Judged:
    """All limbs judged, and the canonical content with its hash."""

    outcomes: tuple[LimbOutcome, ...]
    basis: str
    basis_sha256: str
    worst: str
    summary: str
    rulebook_sha256: str

    def findings(self) -> tuple[tuple[str, Finding], ...]:
        """Return every finding with its limb, in order."""
        return tuple(
            (each.limb, finding) for each in self.outcomes for finding in each.judgement.findings
        )


def judge_subject(subject: Subject, rulebook: Rulebook, on: date) -> Judged:
    """Predict and judge every limb of the plan.

    Raises
    ------
    Invalid
        If a plan is one that no foot could follow; says which field and why.
    """
    outcomes = tuple(_judge_limb(subject, limb, rulebook, on) for limb in sorted(subject.plans))
    content = {
        "inputs": inputs_record(subject, rulebook.content_hash),
        "findings": {
            each.limb: [asdict(finding) for finding in each.judgement.findings] for each in outcomes
        },
    }
    basis = canonical_json(content)
    worst = min((each.judgement.worst for each in outcomes), key=WORST_ORDER.index)
    return Judged(
        outcomes=outcomes,
        basis=basis.decode(),
        basis_sha256=sha256_hex(basis),
        worst=worst,
        summary=_summary(outcomes),
        rulebook_sha256=rulebook.content_hash,
    )


def _summary(outcomes: tuple[LimbOutcome, ...]) -> str:
    if len(outcomes) == 1:
        return outcomes[0].judgement.summary
    return " ".join(f"{each.limb}: {each.judgement.summary}" for each in outcomes)


def _judge_limb(subject: Subject, limb: str, rulebook: Rulebook, on: date) -> LimbOutcome:
    basis = subject.bases[limb]
    profile = Profile(limb, subject.animal, on, subject.conditions.get(limb, frozenset()))
    plan = plan_from_content(subject.plans[limb])
    fitted = plan_from_content(subject.fitted[limb]) if subject.fitted else None
    film = basis.film.as_core() if basis.film else None
    try:
        own = subject.own.get(limb, OwnRates())
        prediction = _foretold(_Foot(film, basis.stated, profile, own), plan, fitted)
    except CoreError as error:
        raise Invalid(error.message, {f"{limb}.{error.at or 'plan'}": [error.message]}) from error
    stages: dict[str, Measured] = {
        "now": prediction.now,
        "after_fit": prediction.after_fit,
        "at_due": prediction.at_due,
        "change": prediction.change,
    }
    if fitted:
        stages["as_fitted"] = prediction.after_fit
    inputs = Inputs(
        profile=profile,
        stages=stages,
        plan=plan,
        as_fitted=fitted,
        facts=_limb_facts(subject, limb),
        film=film,
    )
    rules = rulebook if fitted else _before_fitting(rulebook)
    judgement = judge(inputs, rules, subject.limits, on, complete=True)
    return LimbOutcome(limb, prediction, judgement)


def _before_fitting(rulebook: Rulebook) -> Rulebook:
    """Return the rulebook without what can only be asked of a foot that was fitted."""
    rules = tuple(rule for rule in rulebook.rules if rule.stage != "as_fitted")
    return replace(rulebook, rules=rules)


@dataclass(frozen=True, slots=True)
class _Foot:
    """What is known of the foot that a plan is for."""

    film: Film | None
    stated: Measured
    profile: Profile
    own: OwnRates

    def after(self, plan: Plan) -> Prediction:
        return predict(self.film, self.stated, plan, self.profile, self.own)


def _foretold(foot: _Foot, plan: Plan, fitted: Plan | None) -> Prediction:
    """Return the prediction; what was done is a fact even where the film's foot forbids it."""
    try:
        return foot.after(fitted or plan)
    except ImpossiblePlan as error:
        if fitted is None:
            raise
        untouched = foot.after(Plan())
        says = f"What was fitted does not go with the foot as measured: {error.message}"
        absent = Measured(absent=dict.fromkeys(untouched.now.readings, says))
        return replace(
            untouched,
            after_fit=absent,
            at_due=absent,
            change=absent,
            phi_deg=None,
            bearing_length_mm=None,
            weeks=fitted.interval_weeks,
            joints={},
            assumptions=(),
            warnings=(Caveat(NOT_POSSIBLE, says),),
        )


def _limb_facts(subject: Subject, limb: str) -> Facts:
    start = f"{limb}."
    said = {
        key.removeprefix(start): reason
        for key, reason in subject.reasons.items()
        if key.startswith(start)
    }
    return replace(subject.facts, deviations=said)


def inputs_record(subject: Subject, rulebook_sha256: str) -> Mapping[str, Any]:
    """Return what an agreement is bound to besides the findings, as plain JSON values."""
    own = {limb: asdict(each) for limb, each in subject.own.items() if each != OwnRates()}
    return {
        **({"own_rates": own} if own else {}),
        "plan": {limb: dict(content) for limb, content in subject.plans.items()},
        "as_fitted": None
        if subject.fitted is None
        else {limb: dict(content) for limb, content in subject.fitted.items()},
        "limits": [
            {key: _plain(value) for key, value in asdict(limit).items()} for limit in subject.limits
        ],
        "readings": {limb: basis_record(basis) for limb, basis in subject.bases.items()},
        "animal": subject.animal,
        "conditions": {limb: sorted(each) for limb, each in subject.conditions.items()},
        "rulebook": rulebook_sha256,
    }


def _plain(value: Any) -> Any:  # noqa: ANN401 - a field of a limit, a JSON value out
    return value.isoformat() if isinstance(value, date) else value
