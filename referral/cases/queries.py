"""Reads on cases; each starts from what the actor may see."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Integer, Select, select
from sqlalchemy.orm import Session

from referral.accounts.models import Organisation, Person
from referral.cases.access import CaseAccess
from referral.cases.models import (
    Case,
    CaseMember,
    Entry,
    FlagAnswer,
    Limit,
    Observation,
    Problem,
    Question,
    RedFlag,
    Referral,
)
from referral.clock import day_at
from referral.core.diary import Dated
from referral.core.workflow import CaseState, Happening, Move, Role, on_day, state_of
from referral.errors import NotFound
from referral.storage.together import CaseId, Rows, Together, asked_by


def case_for(
    session: Session, person_id: UUID, number: int, now: datetime | None = None
) -> CaseAccess:
    """Return the case as this person sees it, on the day that ``now`` is in its yard.

    Without ``now`` no day has passed: a red flag that was ever managed is managed still. Whatever
    is written is asked of the case with its moment.

    Raises
    ------
    NotFound
        If there is no such case, or the person has no part in it.
    """
    read = _SEEN.read(session, number=number, person_id=person_id)
    if not read["parts"]:
        raise NotFound("There is no such case.")
    case = read["parts"][0]
    history = _dated(read["entries"])
    state = state_of(each.happening for each in history)
    if now is not None:
        state = on_day(state, day_at(now, case.zone))
    return CaseAccess(
        case_id=case.id,
        number=number,
        horse_id=case.horse_id,
        jurisdiction=case.jurisdiction,
        zone=case.zone,
        actor_id=person_id,
        roles=tuple(Role(each.role) for each in read["parts"]),
        state=state,
        revision=read["entries"][-1].seq if history else 0,
        history=history,
    )


_PARTS = (
    select(Case.id, Case.horse_id, Case.jurisdiction, Case.zone, CaseMember.role)
    .join(CaseMember, CaseMember.case_id == Case.id)
    .where(
        Case.number == asked_by("number", Integer()),
        CaseMember.person_id == asked_by("person_id"),
        CaseMember.until.is_(None),
    )
    .order_by(CaseMember.since, CaseMember.id)
)


_SEEN = Together(
    parts=_PARTS,
    entries=select(Entry.kind, Entry.actor_role, Entry.content, Entry.happened_on, Entry.seq)
    .where(Entry.case_id == _PARTS.with_only_columns(Case.id).limit(1).scalar_subquery())
    .order_by(Entry.seq),
)
"""A case with what happened on it, for somebody who has a part in it; nothing for anybody else."""


def _dated(entries: Iterable[Any]) -> Sequence[Dated]:
    return [Dated(Happening(kind, role, said), on) for kind, role, said, on, _seq in entries]


def case_state(session: Session, case_id: UUID) -> tuple[CaseState, int]:
    """Return a case's state and the number of its last entry."""
    states = case_states(session, [case_id])
    return states.get(case_id, (CaseState(), 0))


def case_states(session: Session, case_ids: Iterable[UUID]) -> Mapping[UUID, tuple[CaseState, int]]:
    """Return state and last entry number of many cases in one query."""
    return {
        case_id: (state_of(each.happening for each in entries), last)
        for case_id, (entries, last) in case_histories(session, case_ids).items()
    }


def case_histories(
    session: Session, case_ids: Iterable[UUID]
) -> Mapping[UUID, tuple[Sequence[Dated], int]]:
    """Return what happened on many cases, in order, and the last entry's number, in one query."""
    found: dict[UUID, list[Dated]] = {}
    last: dict[UUID, int] = {}
    rows = session.execute(
        select(
            Entry.case_id,
            Entry.seq,
            Entry.kind,
            Entry.actor_role,
            Entry.content,
            Entry.happened_on,
        )
        .where(Entry.case_id.in_(list(case_ids)))
        .order_by(Entry.case_id, Entry.seq)
    )
    for case_id, seq, kind, role, content, on in rows:
        found.setdefault(case_id, []).append(Dated(Happening(kind, role, content), on))
        last[case_id] = seq
    return {case_id: (entries, last[case_id]) for case_id, entries in found.items()}


def cases_of(session: Session, person_id: UUID) -> Sequence[Case]:
    """Return every case that this person has a part in, newest first."""
    return (
        session.scalars(
            select(Case)
            .where(
                Case.id.in_(
                    select(CaseMember.case_id).where(
                        CaseMember.person_id == person_id, CaseMember.until.is_(None)
                    )
                )
            )
            .order_by(Case.number.desc())
        )
        .unique()
        .all()
    )


def horses_on_cases(person_id: UUID) -> Select[UUID]:
    """Return the query for the horses of every case that this person has a part in."""
    return (
        select(Case.horse_id)
        .join(CaseMember, CaseMember.case_id == Case.id)
        .where(CaseMember.person_id == person_id, CaseMember.until.is_(None))
    )


def select_people(case_id: CaseId) -> Rows:
    """Return the query for everybody on the case, as the pages name them."""
    return (
        select(
            Person.id,
            Person.name,
            CaseMember.role,
            Organisation.name.label("organisation"),
            Person.phone,
            Organisation.out_of_hours_phone.label("out_of_hours"),
        )
        .join(CaseMember, CaseMember.person_id == Person.id)
        .outerjoin(Organisation, Organisation.id == CaseMember.organisation_id)
        .where(CaseMember.case_id == case_id, CaseMember.until.is_(None))
        .order_by(CaseMember.since, CaseMember.id)
    )


def people_on(
    session: Session, case_id: UUID
) -> Sequence[tuple[CaseMember, Person, Organisation | None]]:
    """Return everybody on the case with their organisation."""
    rows = session.execute(
        select(CaseMember, Person, Organisation)
        .join(Person, Person.id == CaseMember.person_id)
        .outerjoin(Organisation, Organisation.id == CaseMember.organisation_id)
        .where(CaseMember.case_id == case_id, CaseMember.until.is_(None))
        .order_by(CaseMember.since, CaseMember.id)
    ).all()
    return [(member, person, organisation) for member, person, organisation in rows]


def names_on(session: Session, case_id: UUID) -> Mapping[UUID, str]:
    """Return the name of everybody who is or ever was on the case."""
    return dict(session.execute(select_names(case_id)).all())


def select_names(case_id: CaseId) -> Select[UUID, str]:
    """Return the query for the name of everybody who is or ever was on the case."""
    ever = select(CaseMember.person_id).where(CaseMember.case_id == case_id)
    return select(Person.id, Person.name).where(Person.id.in_(ever))


def current_limits(session: Session, case_id: UUID) -> Sequence[Limit]:
    """Return the limits in force: neither replaced nor withdrawn, oldest first."""
    return session.scalars(select_limits(case_id)).all()


def select_limits(case_id: CaseId) -> Select[Limit]:
    """Return the query for the limits in force."""
    replaced = select(Limit.replaces_id).where(
        Limit.case_id == case_id, Limit.replaces_id.is_not(None)
    )
    return (
        select(Limit)
        .where(Limit.case_id == case_id, Limit.withdrawn.is_(False), Limit.id.not_in(replaced))
        .order_by(Limit.set_at, Limit.id)
    )


def current_problems(session: Session, case_id: UUID) -> Sequence[Problem]:
    """Return the latest problem recorded on each limb."""
    return latest_by_limb(session.scalars(select_problems(case_id)))


def select_problems(case_id: CaseId) -> Select[Problem]:
    """Return the query for every problem recorded, oldest first."""
    return (
        select(Problem).where(Problem.case_id == case_id).order_by(Problem.recorded_at, Problem.id)
    )


def latest_by_limb(problems: Iterable[Problem]) -> Sequence[Problem]:
    """Return of problems, oldest first, the latest on each limb."""
    return list({row.limb: row for row in problems}.values())


def latest_referral(session: Session, case_id: UUID) -> Referral | None:
    """Return the referral in force, if one was sent."""
    return session.scalars(select_referral(case_id)).one_or_none()


def select_referral(case_id: CaseId) -> Select[Referral]:
    """Return the query for the referral in force."""
    return select(Referral).where(Referral.case_id == case_id).order_by(Referral.n.desc()).limit(1)


MEASURED = (Move.MEASURE_FILM.value, Move.MEASURE_PHOTO.value, Move.RECORD_READINGS.value)


def measured_limbs(session: Session, case_id: UUID) -> frozenset[str]:
    """Return the limbs of which there are readings."""
    seen = select(Entry.content).where(Entry.case_id == case_id, Entry.kind.in_(MEASURED))
    return frozenset(str(content["limb"]) for content in session.scalars(seen))


def flags_of(session: Session, case_id: UUID) -> Sequence[tuple[RedFlag, FlagAnswer | None]]:
    """Return every red flag with its last answer, newest first."""
    rows = session.execute(
        select(RedFlag, FlagAnswer)
        .outerjoin(FlagAnswer, FlagAnswer.flag_id == RedFlag.id)
        .where(RedFlag.case_id == case_id)
        .order_by(RedFlag.raised_at.desc(), FlagAnswer.answered_at, FlagAnswer.id)
    ).all()
    last = {flag.id: (flag, answer) for flag, answer in rows}
    return list(last.values())


def select_flags(case_id: CaseId) -> Rows:
    """Return the query for every red flag with each of its answers, the last of them last."""
    return (
        select(
            RedFlag.id,
            RedFlag.sign,
            RedFlag.limb,
            RedFlag.words,
            RedFlag.raised_by,
            RedFlag.raised_at,
            FlagAnswer.answer,
            FlagAnswer.reason,
            FlagAnswer.within,
            FlagAnswer.until,
        )
        .outerjoin(FlagAnswer, FlagAnswer.flag_id == RedFlag.id)
        .where(RedFlag.case_id == case_id)
        .order_by(RedFlag.raised_at.desc(), FlagAnswer.answered_at, FlagAnswer.id)
    )


def observations_of(session: Session, case_id: UUID) -> Sequence[Observation]:
    """Return what was observed, newest first."""
    return session.scalars(
        select(Observation)
        .where(Observation.case_id == case_id)
        .order_by(Observation.happened_on.desc(), Observation.recorded_at.desc())
    ).all()


def questions_of(session: Session, case_id: UUID) -> Sequence[Question]:
    """Return questions and answers, oldest first."""
    return session.scalars(select_questions(case_id)).all()


def open_question(session: Session, case_id: UUID) -> Question | None:
    """Return the last question that has no answer yet."""
    rows = questions_of(session, case_id)
    answered = {row.answers_id for row in rows}
    still = [row for row in rows if row.answers_id is None and row.id not in answered]
    return still[-1] if still else None


def select_questions(case_id: CaseId) -> Select[Question]:
    """Return the query for questions and answers, oldest first."""
    return select(Question).where(Question.case_id == case_id).order_by(Question.written_at)


def entries_since(session: Session, case_id: UUID, seq: int) -> Sequence[Entry]:
    """Return what was written after an entry, oldest first."""
    return session.scalars(
        select(Entry).where(Entry.case_id == case_id, Entry.seq > seq).order_by(Entry.seq)
    ).all()
