"""Reads for the inbox and for letters; of a case nothing is read but by who has a part in it."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.cases.models import Case, CaseMember, Entry, Invitation
from referral.cases.offices import offices_of
from referral.cases.words import entry_says
from referral.core.workflow import Role
from referral.horses.models import Horse
from referral.inbox.wording import office_says, rule_says
from referral.notices.models import Letter, Notice
from referral.notices.policy import (
    FLAG_LAPSED,
    MAIL_LOST,
    NOT_COMING,
    RECHECK_LATE,
    RULE_CHANGED,
    is_urgent,
    offices_told,
)
from referral.notices.queries import unread_count

PAGE = 20
OF_ITSELF: Mapping[str, tuple[str, str]] = {
    RECHECK_LATE: ("A recheck", "is late: make it, or set another day"),
    RULE_CHANGED: (
        "A rule of the vet’s practice",
        "has changed since consent and answers the plan otherwise: look at it before it is fitted",
    ),
    NOT_COMING: (
        "Somebody who was asked",
        "declined, or did not answer within seven days: the case says who, and asks again",
    ),
    FLAG_LAPSED: (
        "A red flag",
        "was managed until a day that has passed: it is live again, and planned work waits",
    ),
}
"""What a notice says that comes without an entry: the beginning of its sentence, and the rest."""


@dataclass(frozen=True, slots=True)
class Part:
    """A person's part in a case, as far as a notice shows it.

    Without a number they are not on it: it is a case of ``colleagues`` in an organisation whose
    coordinator they are, and they know of it what the diary shows.
    """

    number: int | None
    horse: str
    roles: frozenset[Role]
    colleagues: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class InboxLine:
    """One notice as the inbox prints it; ``part`` is None once the person has left the case."""

    notice_id: UUID
    made_at: datetime
    is_unread: bool
    is_flag: bool
    is_lost_mail: bool
    says: str
    who: str
    part: Part | None


@dataclass(frozen=True, slots=True)
class InboxPage:
    """One page of the inbox, newest first; ``unread`` counts on all pages."""

    lines: tuple[InboxLine, ...]
    page: int
    has_older: bool
    unread: int


def parts_of(session: Session, person_id: UUID, case_ids: Collection[UUID]) -> Mapping[UUID, Part]:
    """Return this person's part in each of these cases that they or their office are on now."""
    rows = session.execute(
        select(Case.id, Case.number, Horse.name, CaseMember.role)
        .join(CaseMember, CaseMember.case_id == Case.id)
        .join(Horse, Horse.id == Case.horse_id)
        .where(Case.id.in_(case_ids), CaseMember.person_id == person_id, CaseMember.until.is_(None))
    ).all()
    roles: dict[UUID, set[Role]] = {}
    for case_id, _number, _horse, role in rows:
        roles.setdefault(case_id, set()).add(Role(role))
    mine = {
        case_id: Part(number, horse, frozenset(roles[case_id]))
        for case_id, number, horse, _role in rows
    }
    return {**_office_parts(session, person_id, set(case_ids) - set(mine)), **mine}


def _office_parts(
    session: Session, person_id: UUID, case_ids: Collection[UUID]
) -> Mapping[UUID, Part]:
    if not case_ids:
        return {}
    rows = session.execute(
        select(Case.id, Horse.name, Person.name)
        .join(CaseMember, CaseMember.case_id == Case.id)
        .join(Horse, Horse.id == Case.horse_id)
        .join(Person, Person.id == CaseMember.person_id)
        .where(
            Case.id.in_(case_ids),
            CaseMember.organisation_id.in_(offices_of(person_id)),
            CaseMember.until.is_(None),
        )
        .order_by(CaseMember.since, CaseMember.id)
    ).all()
    names: dict[UUID, dict[str, None]] = {}
    for case_id, _horse, name in rows:
        names.setdefault(case_id, {})[name] = None
    office = frozenset({Role.COORDINATOR})
    return {
        case_id: Part(None, horse, office, tuple(names[case_id])) for case_id, horse, _name in rows
    }


def part_shown(notice: Notice, parts: Mapping[UUID, Part]) -> Part | None:
    """Return the part by which a person is shown a notice, or None if they are shown no more."""
    part = parts.get(notice.case_id)
    if part is not None and part.number is None and not offices_told(notice.kind):
        return None
    return part


def roles_of(session: Session, person_id: UUID) -> frozenset[Role]:
    """Return every role this person has on any case now."""
    rows = session.scalars(
        select(CaseMember.role)
        .where(CaseMember.person_id == person_id, CaseMember.until.is_(None))
        .distinct()
    )
    return frozenset(Role(each) for each in rows)


def inbox_page(session: Session, person_id: UUID, page: int) -> InboxPage:
    """Return one page of a person's notices, newest first; pages count from 1."""
    rows = session.execute(
        select(Notice, Entry, Person.name)
        .outerjoin(Entry, Entry.id == Notice.entry_id)
        .outerjoin(Person, Person.id == Entry.actor_id)
        .where(Notice.person_id == person_id)
        .order_by(Notice.made_at.desc(), Notice.id.desc())
        .offset((page - 1) * PAGE)
        .limit(PAGE + 1)
    ).all()
    shown = rows[:PAGE]
    parts = parts_of(session, person_id, {notice.case_id for notice, _entry, _name in shown})
    lost = _recipients(session, [notice for notice, _entry, _name in shown])
    lines = tuple(
        _line(notice, entry, name or lost.get(notice.id, ""), part_shown(notice, parts))
        for notice, entry, name in shown
    )
    return InboxPage(lines, page, len(rows) > PAGE, unread_count(session, person_id))


def _line(notice: Notice, entry: Entry | None, who: str, part: Part | None) -> InboxLine:
    who, says = _words(notice, entry, who, part)
    return InboxLine(
        notice_id=notice.id,
        made_at=notice.made_at,
        is_unread=notice.read_at is None,
        is_flag=is_urgent(notice.kind),
        is_lost_mail=notice.kind == MAIL_LOST,
        says=says,
        who=who,
        part=part,
    )


def _words(notice: Notice, entry: Entry | None, who: str, part: Part | None) -> tuple[str, str]:
    """Return who did something and what, or what came of itself; nothing to who has no part."""
    if part is None:
        return "", ""
    if part.number is None:
        return "", office_says(notice.kind)
    if notice.kind in OF_ITSELF:
        who, says = OF_ITSELF[notice.kind]
        return who, f"{says}. {rule_says(notice.facts)}" if notice.facts else says
    if notice.kind == MAIL_LOST:
        return who, "could not be reached by mail; ring them if it cannot wait"
    return who, entry_says(notice.kind, entry.content if entry else {})


def _recipients(session: Session, notices: Sequence[Notice]) -> Mapping[UUID, str]:
    """Return, for each notice of a lost mail, the name or the typed address of whom it was for."""
    letters = {each.id: each.undelivered_id for each in notices if each.undelivered_id}
    rows = session.execute(
        select(Letter.id, func.coalesce(Person.name, Invitation.email))
        .outerjoin(Person, Person.id == Letter.person_id)
        .outerjoin(Invitation, Invitation.id == Letter.invitation_id)
        .where(Letter.id.in_(letters.values()))
    ).all()
    names = {letter_id: name for letter_id, name in rows}  # noqa: C416 - rows are no pairs to mypy
    return {notice_id: names[letter_id] for notice_id, letter_id in letters.items()}


def notices_in(session: Session, letter_id: UUID) -> Sequence[Notice]:
    """Return what a letter tells of, oldest first."""
    return session.scalars(
        select(Notice).where(Notice.letter_id == letter_id).order_by(Notice.made_at, Notice.id)
    ).all()
