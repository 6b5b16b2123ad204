"""What the case page and the page of its whole history ask of the database: one statement each."""

from typing import Any

from sqlalchemy import Integer, func, select

from referral.assessments.queries import select_assessments, select_photos
from referral.cases.invitations import select_invitations
from referral.cases.models import Case, Entry
from referral.cases.queries import (
    select_flags,
    select_limits,
    select_names,
    select_people,
    select_problems,
    select_questions,
    select_referral,
)
from referral.cases.timeline import select_entries, select_texts
from referral.core.workflow import Move
from referral.films.queries import select_films, select_reading_sets, select_readings
from referral.horses.queries import select_animal
from referral.notices.queries import select_unread
from referral.plans.cautions import select_acknowledging
from referral.plans.models import PlanRow
from referral.plans.queries import select_plans
from referral.resets.models import Reset
from referral.resets.queries import select_recheck, select_resets
from referral.sheets.models import Sheet
from referral.sheets.queries import select_sheets, select_signatures
from referral.storage.together import Rows, Together, asked_by

PLANS = RESETS = 5
"""How many of the newest the case page lists; the page of the whole history has them all."""
SHEETS = 6
ENTRIES = 8

NOTED = (
    Move.ASK_EXAMINATION.value,
    Move.ADD_CALL_NOTE.value,
    Move.CONFIRM_CALL_NOTE.value,
    Move.NOTE_MEDICATION.value,
)
"""Entries that the case page shows in places of their own, however long ago they were written."""

CASE, PERSON = asked_by("case_id"), asked_by("person_id")


def _ids(query: Rows, what: Any) -> Rows:  # noqa: ANN401 - a column of the library's
    return query.with_only_columns(what)


_TIMELINE = select_entries(CASE)
_NEWEST = _TIMELINE.limit(ENTRIES)
_NOTED = _TIMELINE.where(Entry.kind.in_(NOTED))
_SHEETS = select_sheets(CASE)
_NEW_SHEETS = _SHEETS.limit(SHEETS)
_NEWEST_IDS = _ids(_NEWEST, Entry.id).subquery()
_SHOWN = select(Entry.id).where(
    Entry.case_id == CASE, Entry.kind.in_(NOTED) | Entry.id.in_(select(_NEWEST_IDS.c.id))
)

CASE_PAGE = Together(
    horse=select_animal(select(Case.horse_id).where(Case.id == CASE).scalar_subquery()),
    people=select_people(CASE),
    names=select_names(CASE),
    asked=select_invitations(CASE),
    unread=select_unread(PERSON),
    recheck=select_recheck(CASE),
    problems=select_problems(CASE),
    limits=select_limits(CASE),
    referral=select_referral(CASE),
    questions=select_questions(CASE),
    flags=select_flags(CASE),
    films=select_films(CASE),
    reading_sets=select_reading_sets(CASE),
    readings=select_readings(CASE),
    assessments=select_assessments(CASE),
    photos=select_photos(CASE),
    noted=_NOTED,
    entries=_NEWEST,
    texts=select_texts(_SHOWN),
    plans=select_plans(CASE).where(PlanRow.n > asked_by("plans_after", Integer())),
    acknowledged=select_acknowledging(CASE),
    resets=select_resets(CASE).where(Reset.n > asked_by("resets_after", Integer())),
    sheets=_NEW_SHEETS,
    sheet_count=select(func.count(Sheet.id).label("n")).where(Sheet.case_id == CASE),
    signatures=select_signatures(select(_ids(_NEW_SHEETS, Sheet.id).subquery())),
)

HISTORY_PAGE = Together(
    horse=select_animal(select(Case.horse_id).where(Case.id == CASE).scalar_subquery()),
    names=select_names(CASE),
    photos=select_photos(CASE),
    entries=_TIMELINE,
    texts=select_texts(_ids(_TIMELINE, Entry.id).order_by(None)),
    plans=select_plans(CASE),
    acknowledged=select_acknowledging(CASE),
    resets=select_resets(CASE),
    sheets=_SHEETS,
    signatures=select_signatures(_ids(_SHEETS, Sheet.id).order_by(None)),
)
