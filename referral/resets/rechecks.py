"""Rechecks: whose and when, and who is told once one is late, each once, by the worker.

A recheck that nobody made is put before its owner more than 7 days after its day, and before
the coordinators more than 14 days after it (common practice, no source). Whether it is late is
worked out anew from the entries when the time has come.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import Case, CaseMember
from referral.cases.offices import office_people
from referral.cases.queries import case_histories
from referral.cases.timeline import NewEntry, append
from referral.clock import day_at, morning_of
from referral.core.diary import ALERT_AFTER_DAYS, CAUTION_AFTER_DAYS, What, due_items
from referral.core.workflow import Move, Role
from referral.errors import Invalid
from referral.notices.policy import RECHECK_LATE, offices_told
from referral.notices.service import Happened, tell
from referral.resets.models import Recheck
from referral.resets.queries import current_recheck
from referral.storage.ids import new_id
from referral.storage.jobs import Finish, Handler, enqueue

REMIND = "remind_of_recheck"
"""The work of telling somebody that a recheck is late."""

OWNER, COORDINATORS = "owner", "coordinators"
AFTER_DAYS: Mapping[str, int] = {OWNER: CAUTION_AFTER_DAYS, COORDINATORS: ALERT_AFTER_DAYS}


@dataclass(frozen=True, slots=True)
class SetRecheck:
    """The next look: when, whose it is, which films are wanted."""

    due_on: date
    owner_role: str
    owner_id: UUID
    films_wanted: str | None
    words: str | None
    happened_on: date


def set_recheck(session: Session, access: CaseAccess, command: SetRecheck, now: datetime) -> None:
    """Set the recheck; it takes the place of the one before.

    Raises
    ------
    Invalid
        If its day has passed, or its owner is not on the case as that.
    """
    access.check_role(Move.SET_RECHECK)
    if command.due_on < command.happened_on:
        raise Invalid("The recheck is past.", {"due_on": ["Choose a day to come."]})
    if command.owner_id not in members_as(session, access.case_id, command.owner_role):
        raise Invalid("Say whose it is.", {"owner": ["They are not on this case as that."]})
    row = keep_recheck(session, access, command, now)
    facts = {
        "recheck_on": command.due_on.isoformat(),
        "recheck_owner": command.owner_role,
    }
    texts = {"words": command.words, "films_wanted": command.films_wanted}
    told = frozenset({command.owner_id})
    new = NewEntry(Move.SET_RECHECK, command.happened_on, facts, texts, row.id, also_tell=told)
    append(session, access, new, now)


def keep_recheck(
    session: Session, access: CaseAccess, command: SetRecheck, now: datetime
) -> Recheck:
    """Keep a recheck and have its owner told if it is late; its entry is the caller's."""
    row = Recheck(
        id=new_id(now),
        case_id=access.case_id,
        due_on=command.due_on,
        owner_role=command.owner_role,
        owner_id=command.owner_id,
        films_wanted=command.films_wanted,
        set_by=access.actor_id,
        set_at=now,
    )
    session.add(row)
    session.flush()
    _remind_later(session, row, OWNER, access.zone, now)
    return row


def members_as(session: Session, case_id: UUID, role: str) -> Sequence[UUID]:
    """Return who is on a case as this now, the first to join first."""
    return session.scalars(
        select(CaseMember.person_id)
        .where(CaseMember.case_id == case_id, CaseMember.role == role, CaseMember.until.is_(None))
        .order_by(CaseMember.since, CaseMember.id)
    ).all()


def _remind_later(session: Session, row: Recheck, whom: str, zone: str, now: datetime) -> None:
    day = row.due_on + timedelta(days=AFTER_DAYS[whom] + 1)
    enqueue(session, REMIND, {"recheck": str(row.id), "whom": whom}, now, morning_of(day, zone))


def recheck_reminder(now: Callable[[], datetime]) -> Handler:
    """Return how somebody is told that a recheck is late."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        recheck_id, whom = UUID(payload["recheck"]), str(payload["whom"])
        return lambda session: remind(session, recheck_id, whom, now())

    return Handler(prepare, lambda _payload: lambda _session: None)


def remind(session: Session, recheck_id: UUID, whom: str, now: datetime) -> None:
    """Tell whoever is to know that a recheck is late, and see to who is told next.

    Nobody is told of a recheck that another took the place of, that was made, or whose case
    is closed.
    """
    row = session.get_one(Recheck, recheck_id)
    # whoever hands a part over meanwhile waits, or has done: who is told has it
    case_row = select(Case).where(Case.id == row.case_id).with_for_update(key_share=True)
    case = session.scalars(case_row).unique().one()
    last = current_recheck(session, case.id)
    if last is None or last.id != row.id or not _is_late(session, case, now):
        return
    people = owners(session, row) if whom == OWNER else coordinators(session, case.id)
    tell(session, people, Happened(case.id, RECHECK_LATE, None), now)
    if whom == OWNER:
        _remind_later(session, row, COORDINATORS, case.zone, now)


def _is_late(session: Session, case: Case, now: datetime) -> bool:
    entries, _last = case_histories(session, [case.id])[case.id]
    items = due_items(entries, day_at(now, case.zone), has_owner=False)
    return any(each.what is What.RECHECK and each.days_late > CAUTION_AFTER_DAYS for each in items)


def owners(session: Session, row: Recheck) -> frozenset[UUID]:
    """Return whose a recheck is now: its own owner, or who has that part since they left."""
    people = members_as(session, row.case_id, row.owner_role)
    return frozenset({row.owner_id} if row.owner_id in people else people)


def coordinators(session: Session, case_id: UUID) -> frozenset[UUID]:
    """Return the coordinators on a case and those of the organisations that have a part in it."""
    offices = office_people(session, case_id, offices_told(RECHECK_LATE))
    return offices | frozenset(members_as(session, case_id, Role.COORDINATOR.value))
