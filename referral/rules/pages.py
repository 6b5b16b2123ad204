"""What the pages of rules show, frozen and ready to print."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.core.rules.rule import Limit, Rulebook
from referral.rulebook.loader import content_hash
from referral.rulebook.overrides import (
    LIMITS,
    OFF,
    OWN,
    SHIPPED,
    Override,
    effective_book,
    in_force,
    is_fixed,
    is_looser,
    newest_limits,
)
from referral.rules.asking import FoundRule, asks_values, own_rules
from referral.rules.policy import Practice, practices_of
from referral.rules.queries import ChangeShown, changes_of, overrides_of, practices_seen
from referral.rules.schemas import TierField, more_fields, tier_fields
from referral.rules.scope import left_out, needs
from referral.rules.shelf import TOPICS, rule_files
from referral.rules.words import GROUPS, NO_NUMBER, LimitSaid, RuleSaid, file_said, limit_said
from referral.web.wiring import Wiring
from referral.web.written import day

MEMORY = "from memory"
STANCE_SAYS = {
    OFF: "Not asked at all",
    SHIPPED: "As it was shipped",
    OWN: "The practice’s own rule, as written then",
}


@dataclass(frozen=True, slots=True)
class RuleLine:
    """One rule in the list: what it says now, what it needs, who changed it."""

    said: RuleSaid
    limits: tuple[str, ...]
    needs: str
    is_from_memory: bool
    changed_by: tuple[str, ...]
    own_of: str


@dataclass(frozen=True, slots=True)
class BookPage:
    """All rules by topic, as filtered; the book's hash, and that of each practice's book.

    ``unreadable`` are own rules that were in order when they were kept and are no longer.
    """

    topics: tuple[tuple[str, tuple[RuleLine, ...]], ...]
    count: int
    book_sha256: str
    practices: tuple[tuple[str, int, str], ...]
    unreadable: tuple[tuple[str, str], ...]
    setters: tuple[Practice, ...]


@dataclass(frozen=True, slots=True)
class ChangeSaid:
    """One change of a practice's in words; its state is in force, to come or replaced since."""

    by: str
    state: str
    since: date
    says: tuple[str, ...]
    reason: str
    evidence: str | None
    source: str | None
    set_by: str
    set_at: datetime
    is_looser: bool


@dataclass(frozen=True, slots=True)
class RulePage:
    """One rule with everything that is known of it."""

    said: RuleSaid
    topic: str
    dated: tuple[tuple[str, tuple[LimitSaid, ...]], ...]
    needs: tuple[str, tuple[str, ...]]
    left_out: tuple[tuple[str, str], ...]
    set_by: str
    rule_sha256: str
    book_sha256: str
    practices: tuple[tuple[str, str], ...]
    changes: tuple[ChangeSaid, ...]
    setters: tuple[Practice, ...]
    is_fixed: bool
    is_own: bool


@dataclass(frozen=True, slots=True)
class ChangePage:
    """The form of a change: the rule, its tiers with their fields, what stands in them."""

    said: RuleSaid
    is_own: bool
    practices: tuple[Practice, ...]
    tiers: tuple[tuple[str, tuple[TierField, ...]], ...]
    more: tuple[TierField, ...]
    values: Mapping[str, object]
    stance: str
    asks_values: bool
    unit: str
    today: date


def book_page(
    session: Session, actor: Actor, wired: Wiring, today: date, wanted: tuple[str, str]
) -> BookPage:
    """Return the rules that hold a text and need a source; both may be left empty."""
    seen = practices_seen(session, actor)
    own = own_rules(session, [organisation_id for organisation_id, _name in seen])
    changes = {
        organisation_id: overrides_of(session, organisation_id) for organisation_id, _name in seen
    }
    found = [FoundRule(each) for each in rule_files(wired.settings.rules_dir)]
    lines = [_line(each, tuple(changes.values()), today) for each in (*found, *own)]
    shown = [each for each in lines if _is_wanted(each, *wanted)]
    topics = (
        (label, tuple(each for each in shown if each.said.topic == topic))
        for topic, label in TOPICS
    )
    book: Rulebook = wired.rulebook
    return BookPage(
        topics=tuple((label, rules) for label, rules in topics if rules),
        count=len(shown),
        book_sha256=book.content_hash,
        practices=tuple(
            (name, len(in_force(changes[each], today)), _hash(book, changes[each], today))
            for each, name in seen
            if changes[each]
        ),
        unreadable=tuple(
            (rule, each.by)
            for overrides in changes.values()
            for rule, each in in_force(overrides, today).items()
            if each.stance == OWN and each.own is None
        ),
        setters=practices_of(actor),
    )


def _hash(book: Rulebook, overrides: Sequence[Override], on: date) -> str:
    return effective_book(book, overrides, on).content_hash


def _line(found: FoundRule, changes: Sequence[tuple[Override, ...]], today: date) -> RuleLine:
    said = file_said(found.file)
    limits = newest_limits(found.file.rule, today) or found.file.rule.limits
    standing = [in_force(each, today).get(said.id) for each in changes]
    return RuleLine(
        said=said,
        limits=tuple(_short(limit) for limit in limits),
        needs=needs(found.file.rule)[0],
        is_from_memory=any(limit.evidence == MEMORY for limit in limits),
        changed_by=tuple(
            each.by for each in standing if each is not None and each.stance in (LIMITS, OFF)
        ),
        own_of=found.own.override.by if found.own else "",
    )


def _short(limit: Limit) -> str:
    said = limit_said(limit)
    group = f", {said.group}" if said.group else ""
    if said.says == NO_NUMBER:
        return said.severity.replace("_", " ")
    return f"{said.says}: {said.severity.replace('_', ' ')}{group}"


def _is_wanted(line: RuleLine, text: str, source: str) -> bool:
    said = line.said
    held = f"{said.id} {said.title} {said.says} {said.compares} {said.feet}".casefold()
    return (not source or line.needs == source) and all(
        word in held for word in text.casefold().split()
    )


def rule_page(
    session: Session, actor: Actor, wired: Wiring, found: FoundRule, today: date
) -> RulePage:
    """Return the page of one rule, with what the practices that this person sees have set."""
    rule = found.file.rule
    seen = practices_seen(session, actor)
    changes = changes_of(session, [organisation_id for organisation_id, _name in seen])
    here = [each for each in changes if each.override.rule == rule.id]
    if found.own is not None:
        here = [each for each in here if each.organisation_id == found.own.organisation_id]
    book: Rulebook = wired.rulebook
    changed_by = {each.organisation_id: each.override.by for each in here}
    return RulePage(
        said=file_said(found.file),
        topic=dict(TOPICS).get(found.topic, found.topic),
        dated=dated_limits(rule.limits, today),
        needs=needs(rule),
        left_out=left_out(rule, newest_limits(rule, today)),
        set_by=_set_by(found),
        rule_sha256=content_hash((rule,)),
        book_sha256=book.content_hash,
        practices=tuple(
            (by, _hash(book, overrides_of(session, each), today)) for each, by in changed_by.items()
        ),
        changes=tuple(_change_said(each, here, newest_limits(rule, today), today) for each in here)[
            ::-1
        ],
        setters=tuple(
            each
            for each in practices_of(actor)
            if each.may_set(found.topic)
            and (found.own is None or found.own.organisation_id == each.organisation_id)
        ),
        is_fixed=is_fixed(rule),
        is_own=found.own is not None,
    )


def _set_by(found: FoundRule) -> str:
    if found.own is not None:
        return f"{found.own.override.by}’s own rule, written by {found.own.set_by}"
    return "Shipped" if found.file.rule.origin == "shipped" else "This instance’s own rule"


def dated_limits(
    limits: Sequence[Limit], today: date
) -> tuple[tuple[str, tuple[LimitSaid, ...]], ...]:
    """Return the limits by their day, to come first, each under what its day means today."""
    days = sorted({limit.since for limit in limits}, reverse=True)
    present = max((each for each in days if each <= today), default=None)
    found = []
    for since in days:
        label = "Earlier, from" if present and since < present else "To come, from"
        label = "In force since" if since == present else label
        said = tuple(limit_said(limit) for limit in limits if limit.since == since)
        found.append((f"{label} {day(since)}", said))
    return tuple(found)


def _change_said(
    change: ChangeShown, others: Sequence[ChangeShown], shipped: Sequence[Limit], today: date
) -> ChangeSaid:
    override = change.override
    mine = [each.override for each in others if each.organisation_id == change.organisation_id]
    standing = in_force(mine, today).get(override.rule)
    state = "to come" if override.since > today else "replaced since"
    if standing is override:
        state = "in force"
    says = tuple(_short(limit) for limit in override.limits)
    is_off = override.stance == OFF and bool(shipped)
    looser = bool(override.limits) and is_looser(shipped, override.limits)
    return ChangeSaid(
        by=override.by,
        state=state,
        since=override.since,
        says=says or (STANCE_SAYS[override.stance],),
        reason=override.reason,
        evidence=change.evidence,
        source=change.source,
        set_by=change.set_by,
        set_at=change.set_at,
        is_looser=is_off or looser,
    )


def change_page(
    session: Session,
    found: FoundRule,
    practices: tuple[Practice, ...],
    today: date,
    chosen: UUID | None,
) -> ChangePage:
    """Return the form of a change, filled with what stands for the practice now."""
    rule = found.file.rule
    limits = newest_limits(rule, today)
    practice = chosen or practices[0].organisation_id
    standing = in_force(overrides_of(session, practice), today).get(rule.id)
    is_own = found.own is not None
    now = standing.limits if standing and standing.stance == LIMITS else limits
    fields, more = tier_fields(limits), () if is_own else more_fields(limits)
    return ChangePage(
        said=file_said(found.file),
        is_own=is_own,
        practices=practices,
        tiers=tuple(
            (
                GROUPS.get(limit.only or "", ""),
                tuple(each for each in fields if each.tier == index),
            )
            for index, limit in enumerate(() if is_own else limits)
        ),
        more=more,
        values={
            each.name: _written(getattr(now[each.tier], each.key))
            for each in (*fields, *more)
            if each.tier < len(now)
        },
        stance=OFF if is_own else LIMITS,
        asks_values=not is_own and asks_values(found.file),
        unit=limits[0].unit or "" if limits else "",
        today=today,
    )


def _written(value: object) -> object:
    return f"{value:g}" if isinstance(value, float) else value
