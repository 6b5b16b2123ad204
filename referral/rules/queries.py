"""Reads on what organisations set in the place of rules."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, aliased

from referral.accounts.actor import Actor
from referral.accounts.models import Organisation, OrganisationKind, Person
from referral.cases.models import CaseMember
from referral.core.rules.rule import Limit, Rulebook
from referral.core.workflow import Role
from referral.rulebook.overrides import OWN, Override, effective_book
from referral.rules.models import RuleChangeRow
from referral.rules.shelf import read_own


@dataclass(frozen=True, slots=True)
class ChangeShown:
    """One change of a rule as a page lists it: whose, what, since when, why, by whom."""

    organisation_id: UUID
    override: Override
    topic: str | None
    text: str | None
    evidence: str | None
    source: str | None
    set_by: str
    set_at: datetime


def changes_of(
    session: Session, organisations: Iterable[UUID] | Select[UUID | None]
) -> tuple[ChangeShown, ...]:
    """Return what these organisations have set, in the order in which it was written."""
    theirs = organisations if isinstance(organisations, Select) else list(organisations)
    rows = session.execute(
        select(RuleChangeRow, Organisation.name, Person.name)
        .join(Organisation, Organisation.id == RuleChangeRow.organisation_id)
        .join(Person, Person.id == RuleChangeRow.set_by)
        .where(RuleChangeRow.organisation_id.in_(theirs))
        .order_by(RuleChangeRow.set_at, RuleChangeRow.id)
    ).all()
    return tuple(
        ChangeShown(
            row.organisation_id,
            override_of(row, organisation),
            row.topic,
            row.text,
            row.evidence,
            row.source,
            person,
            row.set_at,
        )
        for row, organisation, person in rows
    )


@dataclass(frozen=True, slots=True)
class SetChange:
    """One kept change as it judges, with its row and the moment it was written."""

    change_id: UUID
    set_at: datetime
    override: Override


def set_changes_of(session: Session, organisation_id: UUID) -> tuple[SetChange, ...]:
    """Return what an organisation has set, in the order in which it was written."""
    by = session.get_one(Organisation, organisation_id).name
    rows = session.scalars(
        select(RuleChangeRow)
        .where(RuleChangeRow.organisation_id == organisation_id)
        .order_by(RuleChangeRow.set_at, RuleChangeRow.id)
    )
    return tuple(SetChange(row.id, row.set_at, override_of(row, by)) for row in rows)


def override_of(row: RuleChangeRow, by: str) -> Override:
    """Return a kept change as the rulebook takes it."""
    own = read_own(row.text, row.topic or "", row.rule)[0] if row.text else None
    return Override(
        rule=row.rule,
        stance=row.stance,
        by=by,
        since=row.since,
        reason=row.reason,
        limits=tuple(_limit(row, each) for each in row.limits or ()),
        own=own.rule if own else None,
    )


def _limit(row: RuleChangeRow, tier: Mapping[str, Any]) -> Limit:
    return Limit(
        **{**tier, "since": row.since, "evidence": row.evidence, "source": row.source},
    )


def overrides_of(session: Session, organisation_id: UUID | None) -> tuple[Override, ...]:
    """Return what one organisation has set, in the order in which it was written."""
    if organisation_id is None:
        return ()
    return tuple(each.override for each in changes_of(session, [organisation_id]))


def ids_of_others(session: Session, organisation_id: UUID) -> tuple[str, ...]:
    """Return the ids that other organisations gave to rules of their own."""
    return tuple(
        session.scalars(
            select(RuleChangeRow.rule)
            .where(RuleChangeRow.stance == OWN, RuleChangeRow.organisation_id != organisation_id)
            .distinct()
        )
    )


def practice_of_case(session: Session, case_id: UUID) -> UUID | None:
    """Return the organisation of the case's vet: of several, of the one who joined first."""
    return session.scalars(_practice(case_id)).one_or_none()


def _practice(case_id: UUID) -> Select[UUID | None]:
    return (
        select(CaseMember.organisation_id)
        .where(
            CaseMember.case_id == case_id,
            CaseMember.role == Role.VET,
            CaseMember.until.is_(None),
            CaseMember.organisation_id.is_not(None),
        )
        .order_by(CaseMember.since, CaseMember.id)
        .limit(1)
    )


def cases_of_practice(session: Session, organisation_id: UUID) -> tuple[UUID, ...]:
    """Return the cases that this organisation's book judges on."""
    with_its_vet = session.scalars(
        select(CaseMember.case_id)
        .where(
            CaseMember.organisation_id == organisation_id,
            CaseMember.role == Role.VET,
            CaseMember.until.is_(None),
        )
        .distinct()
    ).all()
    return tuple(
        case_id for case_id in with_its_vet if practice_of_case(session, case_id) == organisation_id
    )


def overrides_on_case(session: Session, case_id: UUID) -> tuple[Override, ...]:
    """Return what the organisation of the case's vet has set."""
    return tuple(each.override for each in changes_of(session, _practice(case_id)))


def book_on_case(session: Session, case_id: UUID, book: Rulebook, on: date) -> Rulebook:
    """Return the book that judges on a case on a day: that of its vet's organisation."""
    return effective_book(book, overrides_on_case(session, case_id), on)


def practices_seen(session: Session, actor: Actor) -> Sequence[tuple[UUID, str]]:
    """Return the practices whose rules this person may read, by name.

    Those they work for, and those of the vets on the cases they have a part in.
    """
    mine, theirs = aliased(CaseMember), aliased(CaseMember)
    on_my_cases = (
        select(theirs.organisation_id)
        .join(mine, mine.case_id == theirs.case_id)
        .where(
            mine.person_id == actor.person_id,
            mine.until.is_(None),
            theirs.role == Role.VET,
            theirs.until.is_(None),
        )
    )
    rows = session.execute(
        select(Organisation.id, Organisation.name)
        .where(
            Organisation.kind == OrganisationKind.PRACTICE,
            Organisation.id.in_(actor.organisation_ids) | Organisation.id.in_(on_my_cases),
        )
        .order_by(Organisation.name, Organisation.id)
    ).all()
    return [(organisation_id, name) for organisation_id, name in rows]
