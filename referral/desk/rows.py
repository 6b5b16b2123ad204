"""The desk: every case of a person as one row, those that wait on them first."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.cases.handing import cases_left
from referral.cases.joining import invitations_for
from referral.cases.models import Case, CaseMember, Problem, Referral
from referral.cases.queries import (
    case_histories,
    cases_of,
)
from referral.clock import day_at
from referral.core.diary import PASSED, DueItem, What, due_items
from referral.core.standing import standing
from referral.core.watch import asks_of
from referral.core.workflow import CaseState, Role, Stage, on_day, state_of
from referral.desk.pages import (
    DeskPage,
    DeskRow,
    LeftLine,
)
from referral.desk.words import condition_says
from referral.horses.models import Horse
from referral.notices.models import Notice

ORDER = ("waiting on you", "overdue", "due", "waiting on them", "quiet", "closed")


def desk_page(session: Session, actor: Actor, now: datetime) -> DeskPage:
    """Return every case of this person, those that wait on them first, and what they are asked."""
    return DeskPage(
        desk_rows(session, actor.person_id, cases_of(session, actor.person_id), now),
        invitations_for(session, actor, now),
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
    histories = case_histories(session, ids)
    owned = with_owner(session, ids)
    mine = _my_roles(session, person_id, ids)
    horses = _horse_names(session, ids)
    problems = _problems(session, ids)
    limbs = _referred_limbs(session, ids)
    unread = unread_by_case(session, person_id)
    rows = []
    for case in cases:
        today = day_at(now, case.zone)
        entries = histories[case.id][0] if case.id in histories else ()
        state = on_day(state_of(each.happening for each in entries), today)
        items = due_items(entries, today, has_owner=case.id in owned, state=state)
        stood, pressing = _with_due(stands(state, mine[case.id], today), items, mine[case.id])
        rows.append(
            DeskRow(
                number=case.number,
                horse=horses[case.id],
                limbs=limbs.get(case.id, ()),
                problem=problems.get(case.id, ""),
                task=state.task,
                standing=stood,
                pressing=pressing,
                turn=state.turn.value if state.turn else None,
                due_on=state.due_on,
                due=tuple(each for each in beside_reset(items) if each != pressing),
                asks=asks_of(entries) if state.stage is not Stage.CLOSED else (),
                has_red_flag=bool(state.live_flags),
                unread=unread[case.id],
            )
        )
    rows.sort(key=lambda row: (not row.has_red_flag, ORDER.index(row.standing), -row.number))
    return tuple(rows)


def stands(state: CaseState, roles: Sequence[Role], today: date) -> str:
    """Return how a case stands for somebody with these roles on it."""
    role = state.turn if state.turn in roles else roles[0]
    return standing(state, role or roles[0], today)


ALWAYS_SHOWN = frozenset({What.AFTER_CHECK})
"""What is shown from the day it can be done, and not only once it is late."""


def beside_reset(items: Sequence[DueItem]) -> tuple[DueItem, ...]:
    """Return what is due beside the next reset, and has to be shown."""
    return tuple(
        each
        for each in items
        if each.what is not What.RESET and (each.lateness in PASSED or each.what in ALWAYS_SHOWN)
    )


def _with_due(
    stood: str, items: Sequence[DueItem], roles: Sequence[Role]
) -> tuple[str, DueItem | None]:
    """Return how a case stands with all that is due on it, and what makes it due or overdue."""
    if stood in ("closed", "waiting on you"):
        return stood, None
    mine = [each for each in beside_reset(items) if each.shown_to & set(roles)]
    if stood in ("due", "overdue"):
        mine = [each for each in items if each in mine or each.what is What.RESET]
    late = next((each for each in mine if each.days_late), None)
    if late is not None:
        return "overdue", late
    return ("due", mine[0]) if mine and stood != "waiting on them" else (stood, None)


def with_owner(session: Session, ids: Sequence[UUID]) -> frozenset[UUID]:
    """Return which of these cases the horse's owner is on."""
    rows = session.scalars(
        select(CaseMember.case_id).where(
            CaseMember.case_id.in_(ids),
            CaseMember.role == Role.OWNER.value,
            CaseMember.until.is_(None),
        )
    )
    return frozenset(rows)


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
    """Return what stands on each case's feet: of a foot, what was recorded last."""
    rows = session.execute(
        select(Problem.case_id, Problem.limb, Problem.condition)
        .where(Problem.case_id.in_(ids))
        .order_by(Problem.recorded_at, Problem.id)
    )
    found: dict[UUID, dict[str, str]] = {}
    for case_id, limb, condition in rows:
        found.setdefault(case_id, {})[limb] = condition_says(condition)
    return {case_id: ", ".join(dict.fromkeys(feet.values())) for case_id, feet in found.items()}


def _referred_limbs(session: Session, ids: Sequence[UUID]) -> Mapping[UUID, tuple[str, ...]]:
    rows = session.execute(
        select(Referral.case_id, Referral.limbs)
        .where(Referral.case_id.in_(ids))
        .order_by(Referral.n)
    )
    return {case_id: tuple(limbs) for case_id, limbs in rows}


def unread_by_case(session: Session, person_id: UUID) -> Counter[UUID]:
    """Return how many notices a person has not read, by case."""
    rows = session.scalars(
        select(Notice.case_id).where(Notice.person_id == person_id, Notice.read_at.is_(None))
    )
    return Counter(rows)
