"""The verbs of rules: check what an organisation wants of a rule, and keep it as a new row."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.core.rules.rule import Limit, Rule
from referral.errors import Invalid
from referral.rulebook.limits import BOUNDS, tier_faults
from referral.rulebook.overrides import LIMITS, OWN, SHIPPED, Override, is_fixed, newest_limits
from referral.rulebook.rule_file import RuleFile
from referral.rulebook.trying import TriedExample, answer_of, tried_examples, with_value
from referral.rules.models import RuleChangeRow
from referral.rules.shelf import read_own
from referral.storage.ids import new_id
from referral.storage.jobs import enqueue
from referral.web.fonts import printing_faults
from referral.web.written import words

FIXED = "A shipped red flag stays as it is; nobody sets it otherwise."
PAST = "Choose today or a day to come: what was judged before stays as it was judged."
SAME = "Nothing is other than it was; change a limit or a severity, or leave it."
ASK = "Some fields need another look; what you typed is still here."
SHIPPED_ID = re.compile(r"R\d+")
UNKNOWN_ID = "RULE00"

TELL_OF_RULE = "tell_of_rule"
"""The work of telling vets and farriers that a rule changed after consent."""


@dataclass(frozen=True, slots=True)
class SetRule:
    """What an organisation wants of a rule that is shipped; ``tiers`` in the shipped order.

    One more after those is a tier of its own, for all feet.
    ``inside`` and ``outside`` are values that the new limits must answer so.
    """

    stance: str
    since: date
    reason: str
    evidence: str | None = None
    source: str | None = None
    tiers: Sequence[Mapping[str, Any]] = ()
    inside: float | None = None
    outside: float | None = None


@dataclass(frozen=True, slots=True)
class SetOwn:
    """A rule of an organisation's own: the text of its file, its topic, since when and why."""

    topic: str
    text: str
    since: date
    reason: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """A change that is in order: how it judges, how its row is kept, what examples answer."""

    override: Override
    row: Mapping[str, Any]
    tried: tuple[TriedExample, ...] = ()


def propose_change(
    file: RuleFile, standing: Override | None, command: SetRule, by: str, today: date
) -> Proposal:
    """Return a change of a rule, checked as a rule file is.

    Raises
    ------
    Invalid
        If the rule is fixed, the day has passed, nothing changes, tiers are out of order, or
        an example is answered otherwise than it says; with a sentence beside each field.
    """
    if is_fixed(file.rule):
        raise Invalid(FIXED)
    _check_since(command.since, today)
    if command.stance == (standing.stance if standing else SHIPPED) and command.stance != LIMITS:
        raise Invalid(ASK, {"stance": [SAME]})
    limits: tuple[Limit, ...] = ()
    tried: tuple[TriedExample, ...] = ()
    if command.stance == LIMITS:
        limits = _limits_of(file, command)
        _check_limits(file, standing, limits, command.since)
        tried = tried_examples(file, replace(file.rule, limits=limits))
        _check_examples(file, limits, command, tried)
    override = Override(file.rule.id, command.stance, by, command.since, command.reason, limits)
    row = {
        "evidence": command.evidence if limits else None,
        "source": command.source if limits else None,
        "limits": [dict(tier) for tier in _rows(limits)] or None,
    }
    return Proposal(override, row, tried)


def _check_since(since: date, today: date) -> None:
    if since < today:
        raise Invalid(ASK, {"since": [PAST]})


def _limits_of(file: RuleFile, command: SetRule) -> tuple[Limit, ...]:
    """Return the newest shipped limits with what is said of each tier in their place.

    A tier more than those has nothing of theirs but the unit.
    """
    shipped = newest_limits(file.rule, command.since)
    more = Limit(command.since, "", "", "", shipped[0].unit if shipped else None)
    places = (*shipped, more)[: len(command.tiers)]
    return tuple(
        replace(
            limit,
            **tier,
            since=command.since,
            evidence=command.evidence or "",
            source=command.source or "",
        )
        for limit, tier in zip(places, command.tiers, strict=True)
    )


def _rows(limits: Sequence[Limit]) -> Sequence[Mapping[str, Any]]:
    kept = ("severity", "unit", *BOUNDS, "only", "says")
    return [
        {
            **{name: value for name in kept if (value := getattr(limit, name)) is not None},
            **({"tolerance": dict(limit.tolerance)} if limit.tolerance else {}),
        }
        for limit in limits
    ]


def _check_limits(
    file: RuleFile, standing: Override | None, limits: Sequence[Limit], since: date
) -> None:
    is_set = standing is not None and standing.stance == LIMITS
    before = standing.limits if standing and is_set else newest_limits(file.rule, since)
    if _rows(before) == _rows(limits):
        raise Invalid(ASK, {"stance": [SAME]})
    faults = [each.partition(": ")[2] for each in tier_faults(limits)]
    if faults:
        sentences = [f"{each[:1].upper()}{each[1:]}." for each in faults]
        raise Invalid(ASK, {_first_field(limits): sentences})


def _first_field(limits: Sequence[Limit]) -> str:
    bound = next((name for name in BOUNDS if getattr(limits[0], name) is not None), "severity")
    return f"limit_1_{bound}"


def _check_examples(
    file: RuleFile, limits: Sequence[Limit], command: SetRule, tried: Sequence[TriedExample]
) -> None:
    wrong = [each for each in tried if each.is_wrong]
    if wrong:
        sentence = "With these limits an example that no limit decides is answered otherwise."
        raise Invalid(ASK, {"stance": [sentence]})
    changed = replace(file.rule, limits=tuple(replace(each, since=date.min) for each in limits))
    stated = (("inside", command.inside, "WITHIN"), ("outside", command.outside, "OUTSIDE"))
    faults = {}
    for field, value, verdict in stated:
        examples = with_value(file, value) if value is not None else ()
        answers = [answer_of(changed, each) for each in examples]
        wrong_ones = [each for each in answers if each[0] != verdict]
        if wrong_ones:
            said = words(wrong_ones[0][0].lower())
            faults[field] = [f"These limits answer {said} to it ({words(wrong_ones[0][1])})."]
    if faults:
        raise Invalid(ASK, faults)


def propose_own(command: SetOwn, taken: Sequence[str], by: str, today: date) -> Proposal:
    """Return an own rule, checked as `referral rules check` does.

    Raises
    ------
    Invalid
        If its text is no rule file or says what no sheet can print, an example is answered
        otherwise than it says, its id is taken, or the day has passed; with a sentence beside each
        field.
    """
    _check_since(command.since, today)
    rule_id = _id_in(command.text)
    file, faults = read_own(command.text, command.topic, rule_id)
    if rule_id in taken or SHIPPED_ID.fullmatch(rule_id):
        faults = (*faults, f"the id {rule_id} is taken, or kept for the shipped book; take another")
    if faults or file is None:
        raise Invalid(ASK, {"rule_text": [f"{each[:1].upper()}{each[1:]}." for each in faults]})
    if is_fixed(file.rule):
        raise Invalid(ASK, {"rule_text": ["Red flags are the shipped book’s alone; take breach."]})
    if unprintable := printing_faults(_printed(file.rule)):
        raise Invalid(ASK, {"rule_text": unprintable})
    override = Override(rule_id, OWN, by, command.since, command.reason, own=file.rule)
    return Proposal(override, {"topic": command.topic, "text": command.text})


def _printed(rule: Rule) -> str:
    """Return what sheets print of a rule; its file can write any sign as an escape."""
    of_limits = (each for limit in rule.limits for each in (limit.says, limit.source))
    return "\n".join(each for each in (rule.title, rule.says, *of_limits) if each)


def _id_in(text: str) -> str:
    """Return the id that a rule file says, or one that no rule has, where it cannot be read."""
    try:
        said = tomllib.loads(text).get("id")
    except (ValueError, RecursionError):
        return UNKNOWN_ID
    return said if isinstance(said, str) and said.isalnum() else UNKNOWN_ID


def keep_change(
    session: Session, organisation_id: UUID, person_id: UUID, proposal: Proposal, now: datetime
) -> RuleChangeRow:
    """Keep a change as a new row; on the day it begins it is seen whom it concerns."""
    override = proposal.override
    given = {"evidence": None, "source": None, "limits": None, "topic": None, "text": None}
    row = RuleChangeRow(
        id=new_id(now),
        organisation_id=organisation_id,
        rule=override.rule,
        stance=override.stance,
        since=override.since,
        reason=override.reason,
        **{**given, **proposal.row},
        set_by=person_id,
        set_at=now,
    )
    session.add(row)
    session.flush()
    begins = datetime.combine(override.since, time(), tzinfo=UTC)
    payload = {"organisation": str(organisation_id), "change": str(row.id)}
    enqueue(session, TELL_OF_RULE, payload, now, max(now, begins))
    return row
