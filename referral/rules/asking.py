"""What a form of rules asks, for the page that tries it and the one that keeps it."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from flask import request
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.core.rules.rule import Limit
from referral.errors import Invalid, NotAllowed, NotFound
from referral.rulebook.overrides import LIMITS, OFF, OWN, Override, in_force, newest_limits
from referral.rulebook.rule_file import RuleFile
from referral.rulebook.trying import with_value
from referral.rules.policy import VETS, Practice, named_practice, setters_of
from referral.rules.queries import (
    ChangeShown,
    changes_of,
    ids_of_others,
    overrides_of,
    practices_seen,
)
from referral.rules.schemas import (
    OwnForm,
    change_schema,
    check_complete,
    tier_fields,
    tiers_in,
)
from referral.rules.service import Proposal, SetOwn, SetRule, propose_change, propose_own
from referral.rules.shelf import read_own, rule_files, topic_of
from referral.web.forms import load_form
from referral.web.wiring import Wiring

NO_RULE = "There is no such rule."


@dataclass(frozen=True, slots=True)
class FoundRule:
    """One rule: its file, and the change with which an organisation wrote it, if it is its own."""

    file: RuleFile
    own: ChangeShown | None = None

    @property
    def topic(self) -> str:
        """The topic it stands under."""
        return topic_of(self.file)


@dataclass(frozen=True, slots=True)
class Asked:
    """A proposal of a practice's, and all that the practice has set already."""

    practice: Practice
    proposal: Proposal
    before: tuple[Override, ...]

    @property
    def after(self) -> tuple[Override, ...]:
        """What the practice will have set."""
        return (*self.before, self.proposal.override)


def own_rules(session: Session, organisations: list[UUID]) -> tuple[FoundRule, ...]:
    """Return the own rules of these organisations as they were last written."""
    last: dict[tuple[UUID, str], ChangeShown] = {}
    for each in changes_of(session, organisations):
        if each.text is not None:
            last[each.organisation_id, each.override.rule] = each
    found = []
    for change in last.values():
        file, _faults = read_own(change.text or "", change.topic or "", change.override.rule)
        if file is not None:
            found.append(FoundRule(file, change))
    return tuple(found)


def found_rule(session: Session, actor: Actor, wired: Wiring, rule_id: str) -> FoundRule:
    """Return a rule that this person may read, shipped or an organisation's own.

    Raises
    ------
    NotFound
        If there is none.
    """
    shipped = {each.rule.id: each for each in rule_files(wired.settings.rules_dir)}
    if rule_id in shipped:
        return FoundRule(shipped[rule_id])
    seen = [organisation_id for organisation_id, _name in practices_seen(session, actor)]
    own = [each for each in own_rules(session, seen) if each.file.rule.id == rule_id]
    if not own:
        raise NotFound(NO_RULE)
    mine = [each for each in own if each.own and each.own.organisation_id in actor.organisation_ids]
    return (mine or own)[0]


def asks_values(file: RuleFile) -> bool:
    """Say whether a change of this rule asks for a value inside and one outside its limits."""
    return bool(with_value(file, 0.0))


def asked_change(
    session: Session, actor: Actor, wired: Wiring, rule_id: str, now: datetime
) -> Asked:
    """Return what the form of a change asks, checked.

    Raises
    ------
    NotFound
        If there is no such rule.
    NotAllowed
        If this person may not set it.
    Invalid
        If a field is at fault, or the change is not in order.
    """
    found = found_rule(session, actor, wired, rule_id)
    practice = _practice(actor, found.topic)
    before = overrides_of(session, practice.organisation_id)
    if found.own is not None:
        return _asked_of_own(found, practice, before, now)
    limits: tuple[Limit, ...] = newest_limits(found.file.rule, now.date())
    stated = asks_values(found.file)
    given = load_form(change_schema(limits, stated=stated), request.form)
    check_complete(given, limits, stated=stated)
    command = SetRule(
        given["stance"],
        given["since"],
        given["reason"],
        given["evidence"],
        given["source"],
        tiers_in(given, limits) if tier_fields(limits) else (),
        given.get("inside"),
        given.get("outside"),
    )
    standing = in_force(before, command.since).get(rule_id)
    proposal = propose_change(found.file, standing, command, practice.name, now.date())
    return Asked(practice, proposal, before)


def _asked_of_own(
    found: FoundRule, practice: Practice, before: tuple[Override, ...], now: datetime
) -> Asked:
    """Return the proposal to put an own rule off: all else is written anew in its text."""
    given = load_form(change_schema((), stated=False), request.form)
    if given["stance"] == LIMITS:
        raise Invalid("Write the rule’s text anew to change its limits.")
    command = SetRule(OFF, given["since"], given["reason"])
    standing = in_force(before, command.since).get(found.file.rule.id)
    if standing is None or standing.stance != OWN:
        raise Invalid("This rule is not in force on that day.", {"since": ["It is not in force."]})
    proposal = propose_change(found.file, standing, command, practice.name, now.date())
    return Asked(practice, proposal, before)


def asked_own(session: Session, actor: Actor, wired: Wiring, now: datetime) -> Asked:
    """Return what the form of an own rule asks, checked.

    Raises
    ------
    NotAllowed
        If this person sets no rules, or not of this topic.
    Invalid
        If a field is at fault, or the rule is not in order.
    """
    setters_of(actor, "record")
    given = load_form(OwnForm(), request.form)
    practice = named_practice(setters_of(actor, given["topic"]), given["practice"])
    shipped = [each.rule.id for each in rule_files(wired.settings.rules_dir)]
    taken = [*shipped, *ids_of_others(session, practice.organisation_id)]
    command = SetOwn(given["topic"], given["rule_text"], given["since"], given["reason"])
    proposal = propose_own(command, taken, practice.name, now.date())
    own = proposal.override.own
    if not practice.is_vet and own is not None and own.measure is not None:
        raise NotAllowed(VETS)
    return Asked(practice, proposal, overrides_of(session, practice.organisation_id))


def _practice(actor: Actor, topic: str) -> Practice:
    said = request.form.get("practice", "")
    try:
        named = UUID(said) if said else None
    except ValueError:
        raise Invalid("Choose a practice.", {"practice": ["Choose one from the list."]}) from None
    return named_practice(setters_of(actor, topic), named)
