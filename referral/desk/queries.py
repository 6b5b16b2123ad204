"""The desk and the case page: the features' reads put together."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.cases.access import CaseAccess
from referral.cases.asking import request_of
from referral.cases.choices import SIGNS
from referral.cases.handing import cases_left
from referral.cases.joining import asked_onto, invitations_for
from referral.cases.models import Case, CaseMember, Entry, Problem, Referral
from referral.cases.queries import (
    case_states,
    cases_of,
    current_limits,
    current_problems,
    flags_of,
    latest_referral,
    names_on,
    people_on,
    questions_of,
)
from referral.cases.timeline import entries_of, texts_of
from referral.cases.words import STAGES, bound_says, entry_says
from referral.clock import day_at
from referral.core.standing import standing
from referral.core.workflow import CaseState, Role, Stage, on_day
from referral.desk.pages import (
    AskedLine,
    CasePage,
    DeskPage,
    DeskRow,
    FlagLine,
    LeftLine,
    LimitLine,
    PersonLine,
    ProblemLine,
    QuestionLine,
    ReferralLine,
    TimelineLine,
)
from referral.desk.tables import (
    assessment_lines,
    call_lines,
    film_lines,
    medication_lines,
    plan_lines,
    reading_tables,
    reset_lines,
    sheet_lines,
)
from referral.desk.words import condition_says, measure_name
from referral.films.guides import guides_by_limb
from referral.horses.identity import shown_chip
from referral.horses.models import Horse
from referral.horses.pages import animal_says
from referral.horses.queries import owner_of
from referral.notices.models import Notice

ORDER = ("waiting on you", "overdue", "due", "waiting on them", "quiet", "closed")


def desk_page(session: Session, actor: Actor, now: datetime) -> DeskPage:
    """Return every case of this person, those that wait on them first, and what they are asked."""
    return DeskPage(
        desk_rows(session, actor.person_id, cases_of(session, actor.person_id), now),
        invitations_for(session, actor),
        _left(session, actor.person_id),
        may_open="vet" in actor.roles,
        may_ask=bool({"farrier", "owner"} & set(actor.roles)),
    )


def _left(session: Session, person_id: UUID) -> tuple[LeftLine, ...]:
    left = cases_left(session, person_id)
    horses = _horse_names(session, [each.case.id for each in left])
    return tuple(
        LeftLine(each.case.number, horses[each.case.id], each.to, each.last.happened_on)
        for each in left
    )


def desk_rows(
    session: Session, person_id: UUID, cases: Sequence[Case], now: datetime
) -> tuple[DeskRow, ...]:
    """Return cases that this person has a part in, those that wait on them first."""
    ids = [case.id for case in cases]
    states = case_states(session, ids)
    mine = _my_roles(session, person_id, ids)
    horses = _horse_names(session, ids)
    problems = _problems(session, ids)
    limbs = _referred_limbs(session, ids)
    unread = _unread(session, person_id)
    rows = []
    for case in cases:
        today = day_at(now, case.zone)
        state = on_day(states[case.id][0], today) if case.id in states else CaseState()
        rows.append(
            DeskRow(
                number=case.number,
                horse=horses[case.id],
                limbs=limbs.get(case.id, ()),
                problem=problems.get(case.id, ""),
                task=state.task,
                standing=_standing(state, mine[case.id], today),
                turn=state.turn.value if state.turn else None,
                due_on=state.due_on,
                has_red_flag=bool(state.live_flags),
                unread=unread[case.id],
            )
        )
    rows.sort(key=lambda row: (not row.has_red_flag, ORDER.index(row.standing), -row.number))
    return tuple(rows)


def _standing(state: CaseState, roles: Sequence[Role], today: date) -> str:
    role = state.turn if state.turn in roles else roles[0]
    return standing(state, role or roles[0], today)


def _my_roles(
    session: Session, person_id: UUID, ids: Sequence[UUID]
) -> Mapping[UUID, tuple[Role, ...]]:
    rows = session.execute(
        select(CaseMember.case_id, CaseMember.role).where(
            CaseMember.person_id == person_id,
            CaseMember.case_id.in_(ids),
            CaseMember.until.is_(None),
        )
    )
    found: dict[UUID, tuple[Role, ...]] = {}
    for case_id, role in rows:
        found[case_id] = (*found.get(case_id, ()), Role(role))
    return found


def _horse_names(session: Session, ids: Sequence[UUID]) -> Mapping[UUID, str]:
    rows = session.execute(
        select(Case.id, Horse.name).join(Horse, Horse.id == Case.horse_id).where(Case.id.in_(ids))
    )
    return dict(rows.all())


def _problems(session: Session, ids: Sequence[UUID]) -> Mapping[UUID, str]:
    rows = session.execute(
        select(Problem.case_id, Problem.condition)
        .where(Problem.case_id.in_(ids))
        .order_by(Problem.recorded_at)
    )
    found: dict[UUID, dict[str, None]] = {}
    for case_id, condition in rows:
        found.setdefault(case_id, {})[condition_says(condition)] = None
    return {case_id: ", ".join(each) for case_id, each in found.items()}


def _referred_limbs(session: Session, ids: Sequence[UUID]) -> Mapping[UUID, tuple[str, ...]]:
    rows = session.execute(
        select(Referral.case_id, Referral.limbs)
        .where(Referral.case_id.in_(ids))
        .order_by(Referral.n)
    )
    return {case_id: tuple(limbs) for case_id, limbs in rows}


def _unread(session: Session, person_id: UUID) -> Counter[UUID]:
    rows = session.scalars(
        select(Notice.case_id).where(Notice.person_id == person_id, Notice.read_at.is_(None))
    )
    return Counter(rows)


def case_page(session: Session, access: CaseAccess, today: date) -> CasePage:
    """Return everything that the case page prints."""
    horse = session.get_one(Horse, access.horse_id)
    owner = owner_of(session, horse)
    people = _people(session, access)
    names = names_on(session, access.case_id)
    return CasePage(
        access=access,
        horse=horse.name,
        horse_says=_horse_says(horse),
        chip=shown_chip(horse.chip) if horse.chip else None,
        ueln=horse.ueln,
        owner=owner.name if owner is not None else "no owner recorded",
        standing=_standing(access.state, access.roles, today),
        unread=_unread(session, access.actor_id)[access.case_id],
        today=today,
        recheck=_recheck(access.state, people),
        people=people,
        asked=_asked(session, access.case_id),
        problems=_problem_lines(session, access),
        limits=_limits(session, access),
        request=request_of(session, access.case_id),
        referral=_referral(session, access),
        questions=_questions(session, access, names),
        flags=_flags(session, access, names),
        films=film_lines(session, access.case_id),
        guides=guides_by_limb(session, access.case_id),
        assessments=assessment_lines(session, access.case_id),
        calls=call_lines(session, access, names),
        medication=medication_lines(session, access.case_id),
        readings=reading_tables(session, access.case_id),
        plans=plan_lines(session, access, names),
        resets=reset_lines(session, access.case_id),
        sheets=sheet_lines(session, access.case_id),
        timeline=_timeline(session, access, names),
    )


def _problem_lines(session: Session, access: CaseAccess) -> tuple[ProblemLine, ...]:
    return tuple(
        ProblemLine(each.limb, condition_says(each.condition), each.certainty, each.words)
        for each in current_problems(session, access.case_id)
    )


def _questions(
    session: Session, access: CaseAccess, names: Mapping[UUID, str]
) -> tuple[QuestionLine, ...]:
    return tuple(
        QuestionLine(
            each.id,
            each.answers_id is not None,
            each.words,
            names.get(each.written_by, "somebody"),
            each.written_at,
        )
        for each in questions_of(session, access.case_id)
    )


def _horse_says(horse: Horse) -> str:
    parts = (
        animal_says(horse.animal),
        horse.sex,
        horse.colour,
        horse.breed,
        f"born {horse.born_year}" if horse.born_year else None,
        f"{horse.weight_kg:g} kg" if horse.weight_kg else None,
    )
    return ", ".join(part for part in parts if part)


def _people(session: Session, access: CaseAccess) -> tuple[PersonLine, ...]:
    return tuple(
        PersonLine(
            person.id,
            person.name,
            member.role,
            organisation.name if organisation is not None else None,
            person.phone,
        )
        for member, person, organisation in people_on(session, access.case_id)
    )


def _asked(session: Session, case_id: UUID) -> tuple[AskedLine, ...]:
    rows = asked_onto(session, case_id)
    return tuple(AskedLine(each.id, each.email, each.role) for each in rows)


def _recheck(state: CaseState, people: Sequence[PersonLine]) -> str | None:
    if state.recheck_on is None or state.stage is Stage.CLOSED:
        return None
    owners = [person.name for person in people if person.role == state.recheck_owner]
    who = owners[0] if owners else str(state.recheck_owner)
    return f"{state.recheck_on.day} {state.recheck_on:%b %Y}, {who}"


def _limits(session: Session, access: CaseAccess) -> tuple[LimitLine, ...]:
    return tuple(
        LimitLine(
            limit_id=row.id,
            limb=row.limb,
            measure=row.measure,
            name=measure_name(row.measure),
            stage=STAGES[row.stage],
            says=bound_says(row.at_least, row.at_most, row.unit),
            strength=row.strength,
            reason=row.reason,
        )
        for row in current_limits(session, access.case_id)
    )


def _referral(session: Session, access: CaseAccess) -> ReferralLine | None:
    row = latest_referral(session, access.case_id)
    if row is None:
        return None
    return ReferralLine(
        n=row.n,
        limbs=tuple(row.limbs),
        urgency=row.urgency,
        goals=row.goals,
        open_to_farrier=row.open_to_farrier,
        no_limits=row.no_limits,
        sent_at=row.sent_at,
    )


def _flags(session: Session, access: CaseAccess, names: Mapping[UUID, str]) -> tuple[FlagLine, ...]:
    return tuple(
        FlagLine(
            flag_id=flag.id,
            sign=dict(SIGNS).get(flag.sign, flag.sign),
            limb=flag.limb,
            words=flag.words,
            raised_by=names.get(flag.raised_by, "somebody"),
            raised_at=flag.raised_at,
            answer=answer.answer if answer is not None else None,
            reason=answer.reason if answer is not None else None,
            within=answer.within if answer is not None else None,
            until=answer.until if answer is not None else None,
            is_live=str(flag.id) in access.state.live_flags,
            is_managed=str(flag.id) in access.state.managed,
        )
        for flag, answer in flags_of(session, access.case_id)
    )


def _timeline(
    session: Session, access: CaseAccess, names: Mapping[UUID, str]
) -> tuple[TimelineLine, ...]:
    entries = entries_of(session, access.case_id)
    return timeline_lines(entries, texts_of(session, entries), names)


def timeline_lines(
    entries: Sequence[Entry],
    texts: Mapping[UUID, Mapping[str, str]],
    names: Mapping[UUID, str],
) -> tuple[TimelineLine, ...]:
    """Return entries in plain words, in their order."""
    return tuple(
        TimelineLine(
            seq=each.seq,
            kind=each.kind,
            says=entry_says(each.kind, each.content),
            who=names.get(each.actor_id, "somebody"),
            role=each.actor_role,
            happened_on=each.happened_on,
            recorded_at=each.recorded_at,
            is_late=(each.recorded_at.date() - each.happened_on).days > 1,
            texts=texts.get(each.id, {}),
        )
        for each in entries
    )


def mark_read(session: Session, access: CaseAccess, now: datetime) -> None:
    """Note that this person has seen the case's notices."""
    session.execute(
        update(Notice)
        .where(
            Notice.person_id == access.actor_id,
            Notice.case_id == access.case_id,
            Notice.read_at.is_(None),
        )
        .values(read_at=now)
    )
