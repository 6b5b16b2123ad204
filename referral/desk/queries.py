"""The case page: the features' reads put together."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import update
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.asking import request_in
from referral.cases.choices import SIGNS
from referral.cases.invitations import ends_at, standing_of
from referral.cases.models import Entry
from referral.cases.notes import calls_in, notes_in
from referral.cases.queries import latest_by_limb
from referral.cases.timeline import by_entry
from referral.cases.words import STAGES, bound_says, entry_says
from referral.clock import day_at
from referral.core.diary import DueItem, due_items
from referral.core.rules.quiet import BOTH
from referral.core.watch import asks_of
from referral.core.workflow import Move, Role, Stage
from referral.desk.pages import (
    NO_OWNER,
    AskedLine,
    CasePage,
    FlagLine,
    HistoryPage,
    LimitLine,
    PersonLine,
    PhotoLine,
    ProblemLine,
    QuestionLine,
    ReferralLine,
    TimelineLine,
)
from referral.desk.reads import CASE_PAGE, HISTORY_PAGE, PLANS, RESETS
from referral.desk.rows import beside_reset, stands
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
from referral.films.queries import as_measured
from referral.horses.identity import shown_chip
from referral.horses.pages import animal_says
from referral.notices.models import Notice
from referral.plans.summaries import summaries_told, well_said


def case_page(session: Session, access: CaseAccess, now: datetime) -> CasePage:
    """Return everything that the case page prints."""
    today, read = day_at(now, access.zone), _read(session, access)
    said, horse = _summaries(session, access, read), read["horse"][0]
    people, names, texts = _people(read["people"]), dict(read["names"]), by_entry(read["texts"])
    unread, taken = dict(read["unread"]), as_measured(read["reading_sets"], read["readings"])
    return CasePage(
        access=access,
        horse=horse.name,
        horse_says=_horse_says(horse),
        chip=shown_chip(horse.chip) if horse.chip else None,
        ueln=horse.ueln,
        owner=horse.owner or NO_OWNER,
        standing=stands(access.state, access.roles, today),
        unread=unread.pop(access.case_id, 0),
        unread_elsewhere=sum(unread.values()),
        today=today,
        recheck=_recheck(read["recheck"], access, people),
        due=_due(access, people, today),
        asks=asks_of(access.history) if access.state.stage is not Stage.CLOSED else (),
        people=people,
        asked=_asked(read["asked"], people, now),
        problems=_problem_lines(read["problems"]),
        limits=_limits(read["limits"]),
        request=request_in(read["noted"], texts),
        referral=_referral(read["referral"]),
        questions=_questions(read["questions"], names),
        flags=_flags(read["flags"], access, names),
        films=film_lines(read["films"]),
        guides=guides_by_limb(read["films"], taken),
        assessments=assessment_lines(read["assessments"]),
        calls=call_lines(calls_in(read["noted"], texts), access, names),
        medication=medication_lines(notes_in(read["noted"], texts, Move.NOTE_MEDICATION)),
        readings=reading_tables(taken),
        plans=plan_lines(read["plans"], said, access, names),
        judged_by=next((each.rulebook_sha256 for each in read["plans"]), None),
        resets=reset_lines(read["resets"], said),
        sheets=sheet_lines(read["sheets"], read["signatures"], access),
        sheet_count=read["sheet_count"][0].n,
        timeline=timeline_lines(read["entries"], texts, names, photo_lines(read["photos"])),
    )


def _read(session: Session, access: CaseAccess) -> Mapping[str, Sequence[Any]]:
    return CASE_PAGE.read(
        session,
        case_id=access.case_id,
        person_id=access.actor_id,
        plans_after=access.state.plan_n - PLANS,
        resets_after=access.state.reset_n - RESETS,
    )


def history_page(session: Session, access: CaseAccess) -> HistoryPage:
    """Return every plan, reset, sheet and entry of a case."""
    read = HISTORY_PAGE.read(session, case_id=access.case_id)
    names, texts = dict(read["names"]), by_entry(read["texts"])
    said = _summaries(session, access, read)
    return HistoryPage(
        access=access,
        horse=read["horse"][0].name,
        plans=plan_lines(read["plans"], said, access, names),
        resets=reset_lines(read["resets"], said),
        sheets=sheet_lines(read["sheets"], read["signatures"], access),
        timeline=timeline_lines(read["entries"], texts, names, photo_lines(read["photos"])),
    )


def _summaries(
    session: Session, access: CaseAccess, read: Mapping[str, Sequence[Any]]
) -> Mapping[UUID, str]:
    """Return what is said of each judging; counted again where both sides have a say."""
    judged = (*read["plans"], *read["resets"])
    as_judged = {each.judgement_id: well_said(each.summary) for each in judged}
    if not {each.role for each in read["acknowledged"]} >= BOTH:
        return as_judged
    return summaries_told(session, access.case_id, as_judged)


def _problem_lines(problems: Iterable[Any]) -> tuple[ProblemLine, ...]:
    return tuple(
        ProblemLine(each.limb, condition_says(each.condition), each.certainty, each.words)
        for each in latest_by_limb(problems)
    )


def _questions(questions: Iterable[Any], names: Mapping[UUID, str]) -> tuple[QuestionLine, ...]:
    return tuple(
        QuestionLine(
            each.id,
            each.answers_id is not None,
            each.words,
            names.get(each.written_by, "somebody"),
            each.written_at,
        )
        for each in questions
    )


def _horse_says(horse: Any) -> str:  # noqa: ANN401 - a row of the read
    parts = (
        animal_says(horse.animal),
        horse.sex,
        horse.colour,
        horse.breed,
        f"born {horse.born_year}" if horse.born_year else None,
        f"{horse.weight_kg:g} kg" if horse.weight_kg else None,
    )
    return ", ".join(part for part in parts if part)


def _people(people: Iterable[Any]) -> tuple[PersonLine, ...]:
    return tuple(
        PersonLine(each.id, each.name, each.role, each.organisation, each.phone, each.out_of_hours)
        for each in people
    )


def _asked(
    invitations: Iterable[Any], people: Sequence[PersonLine], now: datetime
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
        for each in standing_of(invitations)
        if not (each.declined and each.row.role in filled)
    )


def _due(access: CaseAccess, people: Sequence[PersonLine], today: date) -> tuple[DueItem, ...]:
    owned = any(each.role == Role.OWNER.value for each in people)
    return beside_reset(due_items(access.history, today, has_owner=owned, state=access.state))


def _recheck(
    rechecks: Sequence[Any], access: CaseAccess, people: Sequence[PersonLine]
) -> str | None:
    state = access.state
    if state.recheck_on is None or state.stage is Stage.CLOSED:
        return None
    there = [person for person in people if person.role == state.recheck_owner]
    asked = {each.owner_id for each in rechecks}
    named = [person for person in there if person.person_id in asked]
    owners = [person.name for person in (*named, *there)]
    who = owners[0] if owners else str(state.recheck_owner)
    return f"{state.recheck_on.day} {state.recheck_on:%b %Y}, {who}"


def _limits(limits: Iterable[Any]) -> tuple[LimitLine, ...]:
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
        for row in limits
    )


def _referral(referrals: Sequence[Any]) -> ReferralLine | None:
    if not referrals:
        return None
    row = referrals[0]
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


def _flags(
    flags: Iterable[Any], access: CaseAccess, names: Mapping[UUID, str]
) -> tuple[FlagLine, ...]:
    """Return each red flag with its last answer, which stands last."""
    latest = {each.id: each for each in flags}
    return tuple(
        FlagLine(
            flag_id=each.id,
            sign=dict(SIGNS).get(each.sign, each.sign),
            limb=each.limb,
            words=each.words,
            raised_by=names.get(each.raised_by, "somebody"),
            raised_at=each.raised_at,
            answer=each.answer,
            reason=each.reason,
            within=each.within,
            until=each.until,
            is_live=str(each.id) in access.state.live_flags,
            is_managed=str(each.id) in access.state.managed,
        )
        for each in latest.values()
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
