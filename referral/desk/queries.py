"""The case page: the features' reads put together."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import update
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.asking import request_in
from referral.cases.choices import SIGNS
from referral.cases.invitations import ends_at, not_accepted
from referral.cases.models import Entry
from referral.cases.notes import calls_in, notes_in
from referral.cases.queries import (
    current_limits,
    current_problems,
    flags_of,
    latest_referral,
    names_on,
    people_on,
    questions_of,
)
from referral.cases.timeline import entries_of, history_of, texts_of
from referral.cases.words import STAGES, bound_says, entry_says
from referral.clock import day_at
from referral.core.diary import Dated, DueItem, due_items
from referral.core.watch import asks_of
from referral.core.workflow import Move, Role, Stage
from referral.desk.pages import (
    NO_OWNER,
    AskedLine,
    CasePage,
    FlagLine,
    LimitLine,
    PersonLine,
    PhotoLine,
    ProblemLine,
    QuestionLine,
    ReferralLine,
    TimelineLine,
)
from referral.desk.rows import beside_reset, stands, unread_by_case
from referral.desk.tables import (
    assessment_lines,
    call_lines,
    film_lines,
    medication_lines,
    photo_lines,
    photos_named,
    plan_lines,
    reading_tables,
    reset_lines,
    sheet_lines,
)
from referral.desk.words import condition_says, measure_name
from referral.films.guides import guides_by_limb
from referral.films.queries import films_of, reading_sets
from referral.horses.identity import shown_chip
from referral.horses.models import Horse
from referral.horses.pages import animal_says
from referral.horses.queries import owner_name_of
from referral.notices.models import Notice
from referral.resets.queries import current_recheck


def case_page(session: Session, access: CaseAccess, now: datetime) -> CasePage:
    """Return everything that the case page prints."""
    today = day_at(now, access.zone)
    horse = session.get_one(Horse, access.horse_id)
    people, names = _people(session, access), names_on(session, access.case_id)
    entries = entries_of(session, access.case_id)
    texts = texts_of(session, entries)
    history = history_of(entries)
    films, taken = films_of(session, access.case_id), reading_sets(session, access.case_id)
    return CasePage(
        access=access,
        horse=horse.name,
        horse_says=_horse_says(horse),
        chip=shown_chip(horse.chip) if horse.chip else None,
        ueln=horse.ueln,
        owner=owner_name_of(session, horse) or NO_OWNER,
        standing=stands(access.state, access.roles, today),
        unread=unread_by_case(session, access.actor_id)[access.case_id],
        today=today,
        recheck=_recheck(session, access, people),
        due=_due(history, people, today),
        asks=asks_of(history) if access.state.stage is not Stage.CLOSED else (),
        people=people,
        asked=_asked(session, access.case_id, people, now),
        problems=_problem_lines(session, access),
        limits=_limits(session, access),
        request=request_in(entries, texts),
        referral=_referral(session, access),
        questions=_questions(session, access, names),
        flags=_flags(session, access, names),
        films=film_lines(session, films),
        guides=guides_by_limb(films, taken),
        assessments=assessment_lines(session, access.case_id),
        calls=call_lines(calls_in(entries, texts), access, names),
        medication=medication_lines(notes_in(entries, texts, Move.NOTE_MEDICATION)),
        readings=reading_tables(taken),
        plans=plan_lines(session, access, names),
        resets=reset_lines(session, access.case_id),
        sheets=sheet_lines(session, access.case_id),
        timeline=timeline_lines(entries, texts, names, photo_lines(session, access.case_id)),
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


def _asked(
    session: Session, case_id: UUID, people: Sequence[PersonLine], now: datetime
) -> tuple[AskedLine, ...]:
    """Return who was asked and is not on the case; who declined, while nobody else is that."""
    filled = {each.role for each in people}
    return tuple(
        AskedLine(
            invitation_id=each.row.id,
            email=each.row.email,
            role=each.row.role,
            ends_at=ends_at(each.row),
            is_over=ends_at(each.row) <= now,
            declined=each.declined,
        )
        for each in not_accepted(session, case_id)
        if not (each.declined and each.row.role in filled)
    )


def _due(
    history: Sequence[Dated], people: Sequence[PersonLine], today: date
) -> tuple[DueItem, ...]:
    owned = any(each.role == Role.OWNER.value for each in people)
    return beside_reset(due_items(history, today, has_owner=owned))


def _recheck(session: Session, access: CaseAccess, people: Sequence[PersonLine]) -> str | None:
    state, row = access.state, current_recheck(session, access.case_id)
    if state.recheck_on is None or state.stage is Stage.CLOSED:
        return None
    there = [person for person in people if person.role == state.recheck_owner]
    named = [person for person in there if row is not None and person.person_id == row.owner_id]
    owners = [person.name for person in (*named, *there)]
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
        contradictions=tuple(
            f"{each['limb']}: {'; '.join(each['limits'])}" for each in row.contradictions or ()
        ),
        contradiction_reason=row.contradiction_reason,
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


def timeline_lines(
    entries: Sequence[Entry],
    texts: Mapping[UUID, Mapping[str, str]],
    names: Mapping[UUID, str],
    photos: Mapping[str, PhotoLine],
) -> tuple[TimelineLine, ...]:
    """Return entries in plain words, in their order, with the photos that go with them."""
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
            photos=photos_named(each.content, photos),
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
