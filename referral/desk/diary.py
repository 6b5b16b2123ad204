"""The diary: what is due for a person and, for a coordinator, in their organisation; the week."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.accounts.models import Person
from referral.cases.models import Case, CaseMember, Entry, ErasableValue
from referral.cases.ringing import Contact, closed_on
from referral.cases.timeline import history_of
from referral.clock import day_at
from referral.core.diary import PASSED, DueItem, What, due_items
from referral.core.workflow import CaseState, Move, Role, Stage, on_day, state_of
from referral.horses.models import Horse
from referral.plans.models import PlanLimb, PlanRow
from referral.plans.rows import plan_lines
from referral.resets.models import Recheck

DAYS_A_WEEK = 7


@dataclass(frozen=True, slots=True)
class DiaryLine:
    """One due thing as the diary shows it; without a number the case is a colleague's."""

    number: int | None
    horse: str
    yard: str | None
    item: DueItem
    owner: str
    phone: str | None
    is_mine: bool


@dataclass(frozen=True, slots=True)
class BookedLine:
    """One booked visit as the diary and the week's sheet show it, by the yard's clock.

    ``plans`` are of a plan that is still to be fitted; ``stop`` says why nothing may be.
    """

    number: int | None
    horse: str
    yard: str | None
    visit_on: date
    visit_at: str
    comes: str
    words: str
    phones: tuple[tuple[str, str], ...]
    plans: tuple[tuple[str, str], ...] = ()
    stop: str = ""


@dataclass(frozen=True, slots=True)
class DiaryPage:
    """What is due and what is booked, parted by who has to see to it."""

    lines: tuple[DiaryLine, ...]
    booked: tuple[BookedLine, ...]

    @property
    def late_mine(self) -> tuple[DiaryLine, ...]:
        """What has passed and is put before whoever looks."""
        return tuple(each for each in self.lines if each.is_mine and each.item.lateness in PASSED)

    @property
    def mine(self) -> tuple[DiaryLine, ...]:
        """What is to come and waits on whoever looks."""
        return tuple(
            each for each in self.lines if each.is_mine and each.item.lateness not in PASSED
        )

    @property
    def theirs(self) -> tuple[DiaryLine, ...]:
        """What waits on others."""
        return tuple(each for each in self.lines if not each.is_mine)


@dataclass(frozen=True, slots=True)
class WeekDay:
    """One day of the week's sheet."""

    day: date
    booked: tuple[BookedLine, ...]
    due: tuple[DiaryLine, ...]


@dataclass(frozen=True, slots=True)
class WeekPage:
    """A week's visits and due dates, Monday first; ``late`` is what passed before this week."""

    monday: date
    days: tuple[WeekDay, ...]
    late: tuple[DiaryLine, ...]

    @property
    def before(self) -> date:
        """The Monday before."""
        return self.monday - timedelta(days=DAYS_A_WEEK)

    @property
    def after(self) -> date:
        """The Monday after."""
        return self.monday + timedelta(days=DAYS_A_WEEK)


@dataclass(frozen=True, slots=True)
class _Seen:
    """A case that the diary shows: its horse, its people, its entries, and as whom one looks."""

    case: Case
    horse: Horse
    people: tuple[tuple[CaseMember, Person], ...]
    entries: tuple[Entry, ...]
    mine: frozenset[Role]
    is_member: bool
    recheck_by: UUID | None

    def who(self, role: Role) -> Person | None:
        """Return the person who is this on the case, the first to join."""
        return next((person for member, person in self.people if member.role == role), None)

    def whose(self, item: DueItem) -> Person | None:
        """Return the person who owns a due thing: the recheck's own, or who has the role."""
        named = [person for _, person in self.people if person.id == self.recheck_by]
        if item.what is What.RECHECK and named:
            return named[0]
        return self.who(item.owner)


def diary_page(session: Session, actor: Actor, now: datetime) -> DiaryPage:
    """Return what is due on one's cases, and in one's organisation for a coordinator."""
    seen = _cases(session, actor)
    lines = sorted(_due(seen, now), key=lambda each: (each.item.due_on, each.horse))
    booked = [line for each, line in _booked(session, seen) if line.visit_on >= _today(each, now)]
    booked.sort(key=lambda each: (each.visit_on, each.visit_at))
    return DiaryPage(tuple(lines), tuple(booked))


def week_page(session: Session, actor: Actor, day: date, now: datetime) -> WeekPage:
    """Return the week that a day lies in: what is booked and what is due, day by day."""
    monday = day - timedelta(days=day.weekday())
    seen = _cases(session, actor)
    states = {each.case.id: _state(each, now) for each in seen if each.is_member}
    plans = _plans(session, states)
    booked = [
        replace(line, plans=plans.get(each.case.id, ()), stop=_stop(states.get(each.case.id)))
        for each, line in _booked(session, seen)
    ]
    lines = [line for line in _due(seen, now) if line.is_mine]
    days = tuple(monday + timedelta(days=n) for n in range(DAYS_A_WEEK))
    return WeekPage(
        monday,
        tuple(
            WeekDay(
                each,
                tuple(
                    sorted(
                        (line for line in booked if line.visit_on == each),
                        key=lambda line: (line.visit_at, line.yard or "", line.horse),
                    )
                ),
                tuple(line for line in lines if line.item.due_on == each),
            )
            for each in days
        ),
        tuple(sorted(_left_over(seen, monday, now), key=lambda line: line.item.due_on)),
    )


def _left_over(seen: Sequence[_Seen], monday: date, now: datetime) -> list[DiaryLine]:
    """Return what passed before this week and still waits; weeks to come or gone have none."""
    week = timedelta(days=DAYS_A_WEEK)
    of_now = [each for each in seen if monday <= _today(each, now) < monday + week]
    return [line for line in _due(of_now, now) if line.is_mine and line.item.due_on < monday]


def _today(seen: _Seen, now: datetime) -> date:
    return day_at(now, seen.case.zone)


def _cases(session: Session, actor: Actor) -> tuple[_Seen, ...]:
    """Return the cases of this person; a coordinator's organisation's dates too."""
    offices = [
        each.organisation_id for each in actor.memberships if each.role == Role.COORDINATOR.value
    ]
    having = select(CaseMember.case_id).where(
        CaseMember.until.is_(None),
        or_(CaseMember.person_id == actor.person_id, CaseMember.organisation_id.in_(offices)),
    )
    rows = session.execute(
        select(Case, Horse).join(Horse, Horse.id == Case.horse_id).where(Case.id.in_(having))
    ).all()
    people: dict[UUID, list[tuple[CaseMember, Person]]] = {}
    for member, person in session.execute(
        select(CaseMember, Person)
        .join(Person, Person.id == CaseMember.person_id)
        .where(CaseMember.case_id.in_(having), CaseMember.until.is_(None))
        .order_by(CaseMember.since, CaseMember.id)
    ):
        people.setdefault(member.case_id, []).append((member, person))
    entries: dict[UUID, list[Entry]] = {}
    for entry in session.scalars(
        select(Entry).where(Entry.case_id.in_(having)).order_by(Entry.case_id, Entry.seq)
    ):
        entries.setdefault(entry.case_id, []).append(entry)
    by_whom = dict(
        session.execute(
            select(Recheck.case_id, Recheck.owner_id)
            .where(Recheck.case_id.in_(having))
            .order_by(Recheck.set_at, Recheck.id)
        ).all()
    )
    found = []
    for case, horse in rows:
        here = tuple(people.get(case.id, ()))
        own = frozenset(Role(each.role) for each, _ in here if each.person_id == actor.person_id)
        roles = own or frozenset({Role.COORDINATOR})
        done = tuple(entries.get(case.id, ()))
        found.append(_Seen(case, horse, here, done, roles, bool(own), by_whom.get(case.id)))
    return tuple(found)


def _due(seen: Sequence[_Seen], now: datetime) -> list[DiaryLine]:
    return [
        DiaryLine(
            number=each.case.number if each.is_member else None,
            horse=each.horse.name,
            yard=each.horse.yard,
            item=item,
            owner=_named(each.whose(item), item.owner),
            phone=owner.phone if (owner := each.whose(item)) else None,
            is_mine=bool(item.shown_to & each.mine),
        )
        for each in seen
        for item in due_items(
            history_of(each.entries), _today(each, now), has_owner=each.who(Role.OWNER) is not None
        )
    ]


def _named(person: Person | None, role: Role) -> str:
    return f"{person.name}, {role.value}" if person else f"the {role.value}"


def _booked(session: Session, seen: Sequence[_Seen]) -> list[tuple[_Seen, BookedLine]]:
    """Return the visits in force: the last booking of each who comes, if not called off."""
    found = []
    for each in seen:
        last = {e.content["comes"]: e for e in each.entries if e.kind == Move.BOOK_VISIT.value}
        found += [(each, entry) for entry in last.values() if "visit_on" in entry.content]
    words = _words(session, [entry.id for _, entry in found])
    closed = closed_on(session, [each.case.id for each, _ in found])
    return [
        (each, _line(each, entry, words.get(entry.id, ""), closed.get(each.case.id, ())))
        for each, entry in found
    ]


def _words(session: Session, ids: Sequence[UUID]) -> Mapping[UUID, str]:
    rows = session.execute(
        select(ErasableValue.entry_id, ErasableValue.value).where(ErasableValue.entry_id.in_(ids))
    )
    return {entry_id: value or "(erased)" for entry_id, value in rows}


def _line(seen: _Seen, entry: Entry, words: str, closed: tuple[Contact, ...]) -> BookedLine:
    comes = Role(entry.content["comes"])
    phones = tuple(
        (f"{person.name}, {member.role}", person.phone)
        for member, person in seen.people
        if person.phone and member.role != comes
    )
    return BookedLine(
        number=seen.case.number if seen.is_member else None,
        horse=seen.horse.name,
        yard=seen.horse.yard,
        visit_on=date.fromisoformat(entry.content["visit_on"]),
        visit_at=entry.content["visit_at"],
        comes=_named(seen.who(comes), comes),
        words=words if seen.is_member else "",
        phones=(*phones, *((each.name, each.phone) for each in closed)),
    )


STANDING: Mapping[Stage, str] = {
    Stage.REVIEW: ", not agreed yet",
    Stage.AMENDED: ", not agreed yet",
    Stage.SIGNING: ", not signed by the farrier yet",
    Stage.CONSENT: ", not consented to yet",
    Stage.FITTING: "",
}
"""The stages in which a plan waits to be fitted, and what it still lacks."""

NO_PLAN = "There is no plan yet for this visit."
FLAGGED = "A red flag is live: planned work pauses. Ring the vet first."


def _state(seen: _Seen, now: datetime) -> CaseState:
    past = state_of(each.happening for each in history_of(seen.entries))
    return on_day(past, _today(seen, now))


def _stop(state: CaseState | None) -> str:
    """Return why nothing planned may be done on a visit, if so; nothing of a colleague's case."""
    if state is None:
        return ""
    if state.live_flags:
        return FLAGGED
    return "" if state.stage in STANDING else NO_PLAN


ON_THE_SHEET = 8
"""How many of a plan's fields the week's sheet has room for; the plan's page has them all."""


def _plans(
    session: Session, states: Mapping[UUID, CaseState]
) -> Mapping[UUID, tuple[tuple[str, str], ...]]:
    """Return limb and what is planned for it, for each case whose plan waits to be fitted."""
    waiting = {each: STANDING[at.stage] for each, at in states.items() if at.stage in STANDING}
    newest: dict[UUID, tuple[int, dict[str, Mapping[str, Any]]]] = {}
    rows = session.execute(
        select(PlanRow.case_id, PlanRow.n, PlanLimb.limb, PlanLimb.content)
        .join(PlanLimb, PlanLimb.plan_id == PlanRow.id)
        .where(PlanRow.case_id.in_(waiting))
        .order_by(PlanRow.n, PlanLimb.limb)
    )
    for case_id, n, limb, content in rows:
        if newest.get(case_id, (0,))[0] != n:
            newest[case_id] = (n, {})
        newest[case_id][1][limb] = content
    return {
        case_id: tuple(
            (limb, _planned(f"plan {n}{waiting[case_id]}", content))
            for limb, content in limbs.items()
        )
        for case_id, (n, limbs) in newest.items()
    }


def _planned(which: str, content: Mapping[str, Any]) -> str:
    lines = plan_lines(content, None, {})[:ON_THE_SHEET]
    return f"{which}: " + "; ".join(f"{each.label.lower()} {each.planned}" for each in lines)
