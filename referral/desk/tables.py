"""The case page's tables: films, readings over time, plans, resets, sheets."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.assessments.choices import PHOTO_SUBJECTS
from referral.assessments.queries import assessments_of, photos_to_show
from referral.cases.access import CaseAccess
from referral.cases.note_kinds import LABELS
from referral.cases.notes import Note
from referral.core.measure.readings import Measured
from referral.core.measure.registry import MEASURES
from referral.core.workflow import Move, Stage
from referral.desk.pages import (
    AssessmentLine,
    CallLine,
    FilmLine,
    MedicationLine,
    PhotoLine,
    PlanLine,
    ReadingCell,
    ReadingLine,
    ReadingTable,
    ResetLine,
    SheetLine,
)
from referral.films.conventions import convention_says
from referral.films.models import Film, LandmarkSet, ReadingSet, ScaleSetting
from referral.films.queries import is_guide
from referral.plans.models import JudgementRow, PlanRow, Review
from referral.plans.summaries import summaries_told
from referral.resets.models import Countersign, Reset
from referral.sheets.queries import sheets_of
from referral.sheets.snapshot import TITLES, SheetKind

COLUMNS_SHOWN = 4
"""Sets of readings side by side on the case page; the rest is in the trends."""


def film_lines(session: Session, films: Sequence[Film]) -> tuple[FilmLine, ...]:
    """Return the films of a case as it lists them."""
    ids = [film.id for film in films]
    measured = set(session.scalars(select(LandmarkSet.film_id).where(LandmarkSet.film_id.in_(ids))))
    scales = session.execute(
        select(ScaleSetting.film_id, ScaleSetting.state)
        .where(ScaleSetting.film_id.in_(ids))
        .order_by(ScaleSetting.set_at)
    )
    states = dict(scales.all())
    return tuple(
        FilmLine(
            film_id=film.id,
            limb=film.limb,
            view=film.view,
            taken_on=film.taken_on,
            is_measured=film.id in measured,
            scale_state=states.get(film.id, "none"),
        )
        for film in films
    )


def assessment_lines(session: Session, case_id: UUID) -> tuple[AssessmentLine, ...]:
    """Return the assessments of a case, newest first."""
    return tuple(
        AssessmentLine(each.id, each.limb, each.seen_on, len(each.answers))
        for each in assessments_of(session, case_id)
    )


def photo_lines(session: Session, case_id: UUID) -> Mapping[str, PhotoLine]:
    """Return the photos of a case's assessments by their ids, those that can be shown."""
    says = dict(PHOTO_SUBJECTS)
    return {
        str(each.id): PhotoLine(each.id, each.assessment_id, says.get(each.about, each.about))
        for each in photos_to_show(session, case_id)
    }


def photos_named(
    content: Mapping[str, Any], photos: Mapping[str, PhotoLine]
) -> tuple[PhotoLine, ...]:
    """Return the photos that an entry of the timeline names."""
    named = [each["photo"] for each in content.get("photos", ())]
    return tuple(photos[each] for each in named if each in photos)


def call_lines(
    calls: Iterable[Note], access: CaseAccess, names: Mapping[UUID, str]
) -> tuple[CallLine, ...]:
    """Return the call notes of a case as it lists them."""
    may = access.may(Move.CONFIRM_CALL_NOTE)
    return tuple(
        CallLine(
            call_id=each.entry.id,
            by=names.get(each.entry.actor_id, "somebody"),
            with_whom=LABELS.get(each.facts.get("with_whom", ""), "somebody"),
            happened_on=each.entry.happened_on,
            words=each.texts.get("words", ""),
            confirmed_by=names.get(each.confirmed_by, "somebody") if each.confirmed_by else "",
            may_confirm=may
            and each.confirmed_by is None
            and each.entry.actor_id != access.actor_id,
        )
        for each in calls
    )


def medication_lines(notes: Iterable[Note]) -> tuple[MedicationLine, ...]:
    """Return the medication notes of a case as it lists them."""
    return tuple(
        MedicationLine(
            what=LABELS.get(each.facts.get("medication", ""), "Medication"),
            words=each.texts.get("words", ""),
            limb=each.facts.get("limb"),
            given_on=each.entry.happened_on,
            wears_off_on=each.facts.get("wears_off_on"),
        )
        for each in notes
    )


def reading_tables(taken: Sequence[tuple[ReadingSet, Measured]]) -> tuple[ReadingTable, ...]:
    """Return each limb's readings, a column a set, newest first; one set a film.

    What photos and the foot itself say stands in tables of its own.
    """
    limbs: dict[tuple[str, bool], list[tuple[ReadingSet, Measured]]] = {}
    seen: set[UUID] = set()
    for reading_set, measured in taken:
        if reading_set.film_id in seen:
            continue
        if reading_set.film_id is not None:
            seen.add(reading_set.film_id)
        outside = bool(measured.readings) and all(is_guide(code) for code in measured.readings)
        limbs.setdefault((reading_set.limb, outside), []).append((reading_set, measured))
    return tuple(
        _table(limb, sets[:COLUMNS_SHOWN], outside=outside)
        for (limb, outside), sets in sorted(limbs.items())
    )


def _table(
    limb: str, sets: Sequence[tuple[ReadingSet, Measured]], *, outside: bool
) -> ReadingTable:
    present = [
        code for code in MEASURES if any(code in measured.readings for _set, measured in sets)
    ]
    return ReadingTable(
        limb=limb,
        outside=outside,
        taken_on=tuple(each.taken_on for each, _measured in sets),
        source=tuple(_source(each, outside=outside) for each, _measured in sets),
        lines=tuple(
            ReadingLine(
                code=code,
                name=MEASURES[code].name,
                unit=MEASURES[code].unit,
                cells=tuple(_cell(measured, code) for _set, measured in sets),
                defined=_defined([measured for _set, measured in sets], code),
            )
            for code in present
        ),
    )


def _defined(sets: Sequence[Measured], code: str) -> tuple[str, ...]:
    """Return the definitions that a reading's values were taken by, the newest's first."""
    taken = [measured.readings[code] for measured in sets if code in measured.readings]
    return tuple(dict.fromkeys(convention_says(each.convention) for each in taken))


def _source(reading_set: ReadingSet, *, outside: bool) -> str:
    if reading_set.film_id is None:
        return "on the foot" if outside else "typed"
    return "photo" if outside else "film"


def _cell(measured: Measured, code: str) -> ReadingCell | None:
    reading = measured.readings.get(code)
    if reading is None:
        return None
    return ReadingCell(reading.value, 2 * reading.u, reading.unit, reading.scale_state)


def plan_lines(
    session: Session, access: CaseAccess, names: Mapping[UUID, str]
) -> tuple[PlanLine, ...]:
    """Return the plans of a case, newest first, with how each stands."""
    plans = session.scalars(
        select(PlanRow).where(PlanRow.case_id == access.case_id).order_by(PlanRow.n.desc())
    ).all()
    ids = [plan.id for plan in plans]
    # Not the whole row: what an agreement is bound to is long, and no list prints it.
    rows = session.execute(
        select(JudgementRow.plan_id, JudgementRow.worst, JudgementRow.id, JudgementRow.summary)
        .where(JudgementRow.plan_id.in_(ids), JudgementRow.reset_id.is_(None))
        .order_by(JudgementRow.judged_at)
    )
    judged = {row.plan_id: row for row in rows}
    as_judged = {row.id: row.summary for row in judged.values()}
    summaries = summaries_told(session, access.case_id, as_judged)
    decided = dict(
        session.execute(
            select(Review.plan_id, Review.decision)
            .where(Review.plan_id.in_(ids))
            .order_by(Review.reviewed_at)
        ).all()
    )
    return tuple(
        PlanLine(
            n=plan.n,
            author=names.get(plan.author_id, plan.author_role),
            submitted_at=plan.submitted_at,
            worst=judged[plan.id].worst,
            summary=summaries[judged[plan.id].id],
            status=_plan_status(plan, decided, access),
        )
        for plan in plans
    )


def _plan_status(plan: PlanRow, decided: Mapping[UUID, str], access: CaseAccess) -> str:
    waits = plan.n == access.state.plan_n and access.state.stage is Stage.REVIEW
    if waits and decided.get(plan.id) == "agreed":
        return "to be agreed again: its ground changed"
    if plan.id in decided:
        return decided[plan.id].replace("_", " ")
    return "waits for review" if plan.n == access.state.plan_n else "replaced"


def reset_lines(session: Session, case_id: UUID) -> tuple[ResetLine, ...]:
    """Return the resets of a case, newest first, each in its record in force."""
    rows = session.execute(
        select(Reset, PlanRow.n, JudgementRow.summary)
        .join(PlanRow, PlanRow.id == Reset.plan_id)
        .join(JudgementRow, JudgementRow.reset_id == Reset.id)
        .where(Reset.case_id == case_id)
        .order_by(Reset.n.desc(), Reset.recorded_at.desc())
    ).all()
    decisions = session.execute(
        select(Countersign.reset_id, Countersign.decision)
        .where(Countersign.reset_id.in_([row[0].id for row in rows]))
        .order_by(Countersign.signed_at)
    )
    answers = dict(decisions.all())
    latest: dict[int, ResetLine] = {}
    for reset, plan_n, summary in rows:
        latest.setdefault(
            reset.n,
            ResetLine(
                n=reset.n,
                plan_n=plan_n,
                fitted_on=reset.fitted_on,
                due_on=reset.due_on,
                summary=summary,
                status=answers.get(reset.id, "waits for countersign").replace("_", " "),
            ),
        )
    return tuple(latest.values())


def sheet_lines(session: Session, case_id: UUID) -> tuple[SheetLine, ...]:
    """Return the sheets of a case, newest first."""
    return tuple(
        SheetLine(
            sheet_id=each.sheet_id,
            kind=TITLES[SheetKind(each.kind)],
            made_at=each.made_at,
            signed_by=tuple(one.says for one in each.signatures),
            is_complete=each.is_complete,
            is_replaced=each.replaced_by is not None,
        )
        for each in sheets_of(session, case_id)
    )
