"""A case as whoever handed it over still reads it: up to the hand-over, and no further."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.cases.handing import Left, case_left
from referral.cases.models import Entry
from referral.cases.queries import names_on
from referral.cases.timeline import texts_of
from referral.desk.pages import TimelineLine
from referral.desk.queries import timeline_lines
from referral.horses.models import Horse
from referral.plans.models import PlanLimb, PlanRow
from referral.plans.rows import plan_lines
from referral.resets.models import Reset, ResetLimb
from referral.sheets.queries import sheets_signed_by
from referral.sheets.snapshot import TITLES, SheetKind


@dataclass(frozen=True, slots=True)
class PastWork:
    """A plan or what was fitted, limb by limb, as label and words."""

    title: str
    on: date
    limbs: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]


@dataclass(frozen=True, slots=True)
class PastSheet:
    """A sheet that whoever handed over had signed, to be fetched still."""

    sheet_id: UUID
    title: str
    made_on: date
    signed_by: tuple[str, ...]
    erased: datetime | None


@dataclass(frozen=True, slots=True)
class PastPage:
    """What whoever handed a case over still reads of it."""

    number: int
    horse: str
    to: str
    handed_on: date
    reason: str
    work: tuple[PastWork, ...]
    sheets: tuple[PastSheet, ...]
    timeline: tuple[TimelineLine, ...]


def past_page(session: Session, person_id: UUID, number: int) -> PastPage:
    """Return a case up to where this person handed it over.

    Raises
    ------
    NotFound
        If they never handed such a case over, or are on it now.
    """
    left = case_left(session, person_id, number)
    case_id = left.case.id
    entries = session.scalars(
        select(Entry)
        .where(Entry.case_id == case_id, Entry.seq <= left.last.seq)
        .order_by(Entry.happened_on.desc(), Entry.seq.desc())
    ).all()
    texts = texts_of(session, entries)
    return PastPage(
        number=number,
        horse=session.get_one(Horse, left.case.horse_id).name,
        to=left.to,
        handed_on=left.last.happened_on,
        reason=texts.get(left.last.id, {}).get("reason", ""),
        work=(*_resets(session, left), *_plans(session, left)),
        sheets=_sheets(session, person_id, number),
        timeline=timeline_lines(entries, texts, names_on(session, case_id), {}),
    )


def _sheets(session: Session, person_id: UUID, number: int) -> tuple[PastSheet, ...]:
    return tuple(
        PastSheet(
            each.sheet_id,
            TITLES[SheetKind(each.kind)],
            each.made_at.date(),
            tuple(signature.says for signature in each.signatures),
            each.erased,
        )
        for each in sheets_signed_by(session, person_id, number)
    )


def _plans(session: Session, left: Left) -> tuple[PastWork, ...]:
    rows = session.execute(
        select(PlanRow, PlanLimb)
        .join(PlanLimb, PlanLimb.plan_id == PlanRow.id)
        .where(PlanRow.case_id == left.case.id, PlanRow.submitted_at <= left.last.recorded_at)
        .order_by(PlanRow.n.desc(), PlanLimb.limb)
    ).all()
    found: dict[int, list[tuple[PlanRow, PlanLimb]]] = {}
    for plan, limb in rows:
        found.setdefault(plan.n, []).append((plan, limb))
    return tuple(
        PastWork(
            f"Plan {n}",
            each[0][0].submitted_at.date(),
            tuple((limb.limb, _words(limb.content)) for _plan, limb in each),
        )
        for n, each in found.items()
    )


def _resets(session: Session, left: Left) -> tuple[PastWork, ...]:
    rows = session.execute(
        select(Reset, ResetLimb)
        .join(ResetLimb, ResetLimb.reset_id == Reset.id)
        .where(Reset.case_id == left.case.id, Reset.recorded_at <= left.last.recorded_at)
        .order_by(Reset.n.desc(), Reset.recorded_at.desc(), ResetLimb.limb)
    ).all()
    found: dict[UUID, list[tuple[Reset, ResetLimb]]] = {}
    for reset, limb in rows:
        found.setdefault(reset.id, []).append((reset, limb))
    return tuple(
        PastWork(
            f"Reset {each[0][0].n}, as fitted",
            each[0][0].fitted_on,
            tuple((limb.limb, _words(limb.content)) for _reset, limb in each),
        )
        for each in found.values()
    )


def _words(content: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    return tuple((each.label, each.planned) for each in plan_lines(content, None, {}))
