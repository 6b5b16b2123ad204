"""Judge a plan, or what was fitted, limb by limb; everything is computed from what is given."""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date

from referral.core.errors import CoreError, ImpossiblePlan
from referral.core.ground import OPPOSITE
from referral.core.measure.film import Film
from referral.core.measure.readings import Caveat, Measured, Profile
from referral.core.predict.growth import OwnRates
from referral.core.predict.plan import Plan
from referral.core.predict.prediction import Prediction, predict
from referral.core.rules.facts import Facts, Opposite
from referral.core.rules.finding import Finding, Judgement
from referral.core.rules.judging import Inputs, judge
from referral.core.rules.summary import WORST_ORDER
from referral.errors import Invalid
from referral.plans.agreement import inputs_record
from referral.plans.content import plan_from_content
from referral.plans.longest import longest_says
from referral.plans.subject import CLUB, FootFacts, Subject
from referral.rulebook.loader import Rulebook
from referral.rulebook.overrides import effective_book
from referral.storage.canonical import canonical_json, sha256_hex

NOT_POSSIBLE = "fitted_not_possible"
"""The code of the warning that what was fitted does not go with the foot as measured."""


@dataclass(frozen=True, slots=True)
class LimbOutcome:
    """What a plan is expected to do on one limb, and how it stands to every limit.

    ``longest`` finds how long it may be left, which takes a prediction for every week.
    """

    limb: str
    prediction: Prediction
    judgement: Judgement
    longest: Callable[[], str]


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
    """Predict and judge every limb of the plan by the book of the vet's organisation on that day.

    Raises
    ------
    Invalid
        If a plan is one that no foot could follow; says which field and why.
    """
    rulebook = effective_book(rulebook, subject.overrides, on)
    expected = {limb: _expected(subject, limb, on) for limb in sorted(subject.plans)}
    outcomes = tuple(_judge_limb(subject, expected, limb, rulebook) for limb in expected)
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
        summary=summary_by_limb({each.limb: each.judgement.summary for each in outcomes}),
        rulebook_sha256=rulebook.content_hash,
    )


def summary_by_limb(said: Mapping[str, str]) -> str:
    """Return the sentences on all limbs as one, each with its limb where there are several."""
    if len(said) == 1:
        return next(iter(said.values()))
    return " ".join(f"{limb}: {sentence}." for limb, sentence in said.items())


@dataclass(frozen=True, slots=True)
class _Expected:
    """One limb's foot and plan, and what the plan, or what was done, makes of it."""

    profile: Profile
    plan: Plan
    fitted: Plan | None
    film: Film | None
    stated: Measured
    prediction: Prediction
    own: OwnRates

    def after_weeks(self, weeks: int) -> Inputs:
        """Return the foot when it is due after so many weeks."""
        plan = replace(self.fitted or self.plan, interval_weeks=float(weeks))
        foot = _Foot(self.film, self.stated, self.profile, self.own)
        late = _foretold(foot, plan, plan if self.fitted else None).at_due
        return Inputs(self.profile, {"at_due": late}, plan, film=self.film)

    @property
    def lift_mm(self) -> float:
        """How high shoe and pad lift this foot."""
        done = self.fitted or self.plan
        return done.pad_mm + (done.shoe.thickness_mm if done.shoe else 0.0)


def _expected(subject: Subject, limb: str, on: date) -> _Expected:
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
    return _Expected(profile, plan, fitted, film, basis.stated, prediction, own)


def _judge_limb(
    subject: Subject, expected: Mapping[str, _Expected], limb: str, rulebook: Rulebook
) -> LimbOutcome:
    here = expected[limb]
    prediction = here.prediction
    observed = subject.feet.get(limb, FootFacts()).observed.readings
    now = replace(prediction.now, readings={**observed, **prediction.now.readings})
    stages: dict[str, Measured] = {
        "now": now,
        "after_fit": prediction.after_fit,
        "at_due": prediction.at_due,
        "change": prediction.change,
    }
    if here.fitted:
        stages["as_fitted"] = prediction.after_fit
    inputs = Inputs(
        profile=here.profile,
        stages=stages,
        plan=here.plan,
        as_fitted=here.fitted,
        facts=_limb_facts(subject, expected, limb),
        film=here.film,
        is_done=here.fitted is not None,
    )
    rules = rulebook if here.fitted else _before_fitting(rulebook)
    on, limits = here.profile.on, [each for each in subject.limits if each.limb in (None, limb)]
    judgement = judge(inputs, rules, subject.limits, on, complete=True)
    return LimbOutcome(
        limb, prediction, judgement, lambda: longest_says(here.after_weeks, rules, limits, on)
    )


def _opposite(subject: Subject, expected: Mapping[str, _Expected], limb: str) -> Opposite | None:
    """Return the other foot of the pair as it is to stand, or as it was last read."""
    other = OPPOSITE[limb]
    is_club = CLUB in subject.conditions.get(other, frozenset())
    if other in expected:
        there = expected[other]
        return Opposite(there.prediction.after_fit.readings, there.lift_mm, is_club)
    measured = subject.others.get(other)
    return Opposite(measured.readings, None, is_club) if measured else None


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


def _limb_facts(subject: Subject, expected: Mapping[str, _Expected], limb: str) -> Facts:
    start = f"{limb}."
    said = {
        key.removeprefix(start): reason
        for key, reason in subject.reasons.items()
        if key.startswith(start)
    }
    foot = subject.feet.get(limb, FootFacts())
    return replace(
        subject.facts,
        deviations=said,
        opposite=_opposite(subject, expected, limb),
        film_doubts=foot.film_doubts,
        previous=foot.previous,
        heels_damaged=foot.heels_damaged,
        coronet_circumference_mm=foot.girth_mm,
        resets_in_device=foot.resets_in_device,
        lameness=foot.lameness,
        lameness_before=foot.lameness_before,
    )
