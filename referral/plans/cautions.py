"""Cautions that vet and farrier acknowledged, so that they stay folded while nothing changes."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.cases.access import CaseAccess
from referral.cases.timeline import NewEntry, append, locked
from referral.core.rules.finding import Finding
from referral.core.rules.quiet import Acknowledged, may_go_quiet, quieted, still_holds
from referral.core.workflow import Move
from referral.errors import Invalid
from referral.plans.models import CautionAcknowledgement, FindingRow
from referral.plans.queries import plan_of
from referral.storage.ids import new_id
from referral.storage.together import CaseId, Rows

NONE_CHOSEN = "Tick the cautions that may stay folded."
NO_REASON = "Say why: the other side reads it."
NOT_THESE = "Only cautions of this plan that you have not acknowledged yet can be ticked."


@dataclass(frozen=True, slots=True)
class QuietCaution:
    """A caution that stays folded, and what each side said of it."""

    finding: FindingRow | Finding
    said: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class OpenCaution:
    """A caution that may be acknowledged, and by which side it has been."""

    finding_id: UUID
    limb: str
    title: str
    says: str
    by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AcknowledgeCautions:
    """The cautions of plan ``n`` that somebody acknowledges, with one reason."""

    n: int
    findings: frozenset[UUID]
    reason: str | None
    happened_on: date
    based_on: int | None


def acknowledged_on(session: Session, case_id: UUID) -> tuple[Acknowledged, ...]:
    """Return what was acknowledged on a case, oldest first."""
    rows = session.execute(
        select(CautionAcknowledgement, FindingRow, Person.name)
        .join(FindingRow, FindingRow.id == CautionAcknowledgement.finding_id)
        .join(Person, Person.id == CautionAcknowledgement.person_id)
        .where(CautionAcknowledgement.case_id == case_id)
        .order_by(CautionAcknowledgement.acknowledged_at, CautionAcknowledgement.id)
    )
    return tuple(
        Acknowledged(finding.limb, as_finding(finding), row.role, row.reason, name)
        for row, finding, name in rows
    )


def select_acknowledging(case_id: CaseId) -> Rows:
    """Return the query for which sides have acknowledged anything on a case."""
    return (
        select(CautionAcknowledgement.role)
        .where(CautionAcknowledgement.case_id == case_id)
        .distinct()
    )


def as_finding(row: FindingRow | Finding) -> Finding:
    """Return a stored finding as it was judged."""
    return Finding(**{each.name: getattr(row, each.name) for each in fields(Finding)})


def quiet_of(
    limb: str, findings: Iterable[FindingRow | Finding], known: Sequence[Acknowledged]
) -> tuple[QuietCaution, ...]:
    """Return the findings of a limb that stay folded, with both sides' words."""
    told = ((each, quieted(limb, as_finding(each), known)) for each in findings)
    return tuple(
        QuietCaution(each, tuple((by.role, by.reason) for by in holding))
        for each, holding in told
        if holding
    )


def open_of(
    findings: Iterable[FindingRow], known: Sequence[Acknowledged], role: str | None
) -> tuple[OpenCaution, ...]:
    """Return the cautions that somebody in a role may acknowledge still."""
    found = []
    for row in findings:
        finding = as_finding(row)
        by = {each.role for each in known if still_holds(each, row.limb, finding)}
        if may_go_quiet(finding) and role not in by:
            found.append(OpenCaution(row.id, row.limb, row.title, row.says, tuple(sorted(by))))
    return tuple(found)


def acknowledge_cautions(
    session: Session, access: CaseAccess, command: AcknowledgeCautions, now: datetime
) -> None:
    """Keep that somebody acknowledges cautions of a plan, each with the same reason.

    Raises
    ------
    Invalid
        If none is ticked, no reason is given, or one is not a caution of this plan.
    """
    access = locked(session, access, now)
    view = plan_of(session, access.case_id, command.n)
    role = access.role_for(Move.ACKNOWLEDGE_CAUTION).value
    known = acknowledged_on(session, access.case_id)
    may = {each.finding_id: each for each in open_of(view.findings, known, role)}
    faults = _faults(command, may)
    if faults:
        raise Invalid("Nothing is acknowledged yet.", faults)
    chosen = [may[each] for each in may if each in command.findings]
    session.add_all(
        CautionAcknowledgement(
            id=new_id(now),
            case_id=access.case_id,
            finding_id=each.finding_id,
            person_id=access.actor_id,
            role=role,
            reason=command.reason or "",
            acknowledged_at=now,
        )
        for each in chosen
    )
    titles = "; ".join(f"{each.limb} {each.title}" for each in chosen)
    facts = {"plan_n": command.n, "titles": titles, "findings": [str(c.finding_id) for c in chosen]}
    texts = {"reason": command.reason}
    move = Move.ACKNOWLEDGE_CAUTION
    new = NewEntry(move, command.happened_on, facts, texts, view.plan.id, command.based_on)
    append(session, access, new, now)


def _faults(command: AcknowledgeCautions, may: Mapping[UUID, OpenCaution]) -> dict[str, list[str]]:
    faults = {}
    if not command.findings:
        faults["findings"] = [NONE_CHOSEN]
    elif not command.findings <= may.keys():
        faults["findings"] = [NOT_THESE]
    if not command.reason:
        faults["reason"] = [NO_REASON]
    return faults
