"""A rule as data: what it looks at, for which feet, and its dated limits."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType

from referral.core.measure.readings import Profile
from referral.core.rules.finding import SEVERITIES
from referral.core.rules.inputs import Inputs
from referral.core.rules.reasons import Reason

KINDS = ("threshold", "difference", "agreement_of_two", "presence", "red_flag", "pattern")
AGAINST = ("previous", "opposite")
"""What a difference is taken to: the visit before this one, or the other foot of the pair."""

ANY_DEVICE = "any"
EVIDENCE = ("published", "textbook", "common practice", "from memory")
ORIGINS = ("shipped", "practice", "case")
LIMBS = ("LF", "RF", "LH", "RH")
FORE = frozenset({"LF", "RF"})
HIND = frozenset({"LH", "RH"})


@dataclass(frozen=True, slots=True)
class Limit:
    """One dated limit. Limits of one rule with the same ``since`` are its tiers.

    ``only`` is ``therapeutic`` (the foot has a condition), ``routine`` (it has
    none) or ``None`` (both). ``says`` takes the place of the rule's sentence.
    """

    since: date
    severity: str
    evidence: str
    source: str
    unit: str | None = None
    at_least: float | None = None
    at_most: float | None = None
    more_than: float | None = None
    less_than: float | None = None
    only: str | None = None
    says: str | None = None
    tolerance: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Applies:
    """The feet a rule is for. Adult forefeet if nothing else is said; ``None`` means any.

    ``devices`` may hold ``any``: every shoe there is, but not a bare foot.
    """

    limbs: frozenset[str] = FORE
    animals: frozenset[str] | None = frozenset({"adult_horse"})
    not_animals: frozenset[str] = frozenset()
    conditions: frozenset[str] | None = None
    devices: frozenset[str] | None = None
    attachments: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class RuleChange:
    """Who set a rule otherwise than it was shipped, since when and why; of an own rule likewise.

    ``shipped`` are the limits that were in force before, empty for a rule of their own.
    ``is_off`` says that the rule is not asked, ``is_looser`` that something passes now, or
    passes with less said, that would not have as shipped.
    """

    by: str
    since: date
    reason: str
    shipped: tuple[Limit, ...] = ()
    is_off: bool = False
    is_looser: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. A threshold and a difference have a ``measure``, every other kind an ``of``.

    ``against`` says what a difference is taken to, ``relative`` that it is a share of that,
    in percent. ``words`` are what a pattern looks for. An ``optional`` rule is for a reading
    that films need not show: it stands beside one that must be there. ``change`` is there if
    an organisation set the rule, or set it otherwise.
    """

    id: str
    title: str
    says: str
    kind: str
    stage: str
    limits: tuple[Limit, ...]
    measure: str | None = None
    of: str | None = None
    applies: Applies = field(default_factory=Applies)
    origin: str = "shipped"
    against: str | None = None
    relative: bool = False
    words: tuple[str, ...] = ()
    optional: bool = False
    change: RuleChange | None = None


@dataclass(frozen=True, slots=True)
class Rulebook:
    """All rules that judge together, and the SHA-256 of their content."""

    rules: tuple[Rule, ...]
    content_hash: str


def severity_rank(severity: str) -> int:
    """Return how severe a severity is: 0 for a note to 3 for a red flag.

    Raises
    ------
    ValueError
        If there is no such severity.

    Examples
    --------
    >>> severity_rank("breach") > severity_rank("caution")
    True
    """
    return SEVERITIES.index(severity)


def limits_in_force(rule: Rule, profile: Profile, on: date) -> tuple[Limit, ...]:
    """Return the tiers of the newest date not after ``on`` that are for this foot.

    Returns
    -------
    tuple of Limit
        In the rule's order; empty before the first date, or if none is for this foot.

    Examples
    --------
    >>> from referral.core.measure.readings import Profile
    >>> old = Limit(date(2020, 1, 1), "caution", "common practice", "-", "mm", at_least=12)
    >>> new = Limit(date(2026, 1, 1), "caution", "common practice", "-", "mm", at_least=15)
    >>> rule = Rule("X01", "Sole", "Leave more.", "threshold", "now", (old, new))
    >>> foot = Profile("LF", "adult_horse", date(2025, 5, 1))
    >>> [tier.at_least for tier in limits_in_force(rule, foot, date(2025, 5, 1))]
    [12]
    """
    dates = [limit.since for limit in rule.limits if limit.since <= on]
    if not dates:
        return ()
    group = "therapeutic" if profile.conditions else "routine"
    newest = max(dates)
    return tuple(
        limit for limit in rule.limits if limit.since == newest and limit.only in (None, group)
    )


def out_of_scope(applies: Applies, inputs: Inputs) -> Reason | None:
    """Return why a rule is not for this foot, or ``None`` if it is.

    Examples
    --------
    >>> from referral.core.measure.readings import Profile
    >>> hind = Inputs(Profile("LH", "adult_horse", date(2026, 1, 1)), {})
    >>> out_of_scope(Applies(), hind).value
    'other_limb'
    """
    profile = inputs.profile
    shoe = inputs.plan.shoe if inputs.plan else None
    attachment = inputs.plan.attachment if inputs.plan else None
    animals = applies.animals
    wrong_animal = profile.animal in applies.not_animals or not _allows(animals, {profile.animal})
    checks = (
        (profile.limb not in applies.limbs, Reason.OTHER_LIMB),
        (wrong_animal, Reason.OTHER_ANIMAL),
        (not _allows(applies.conditions, profile.conditions), Reason.OTHER_CONDITION),
        (not _allows(applies.devices, {shoe.category} if shoe else set()), Reason.OTHER_DEVICE),
        (not _allows(applies.attachments, {attachment or ""}), Reason.OTHER_ATTACHMENT),
    )
    return next((reason for fails, reason in checks if fails), None)


def _allows(wanted: frozenset[str] | None, seen: frozenset[str] | set[str]) -> bool:
    """Return whether nothing is asked for, or something asked for is there."""
    return wanted is None or bool(wanted & seen) or (ANY_DEVICE in wanted and bool(seen))
