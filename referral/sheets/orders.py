"""A sheet that was asked for: kept as an order, rendered by the worker, then ready to be signed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import Case
from referral.cases.queries import case_for
from referral.errors import Invalid, NotAllowed, NotFound, OutOfDate, WrongState
from referral.sheets.apart import print_apart
from referral.sheets.decisions import agree_from_json, record_from_json
from referral.sheets.drafts import Draft, Office, draft_agreed_plan, draft_as_fitted
from referral.sheets.letters import Letter, draft_letter
from referral.sheets.models import Sheet, SheetProposal
from referral.sheets.snapshot import SheetKind
from referral.storage.db import Database
from referral.storage.ids import new_id
from referral.storage.jobs import Finish, Handler, enqueue

RENDER_SHEET = "render_sheet"
GAVE_UP = "This sheet could not be made, however often it was tried."


@dataclass(frozen=True, slots=True)
class Order:
    """What a sheet is asked for: its kind, what it rests on, and the decision it is to carry."""

    kind: SheetKind
    subject_sha256: str
    decision: Mapping[str, Any]


def ask_for_sheet(session: Session, access: CaseAccess, order: Order, now: datetime) -> UUID:
    """Keep an order for the worker; it takes the place of the last one of this person."""
    _drop_orders(session, access)
    row = SheetProposal(
        id=new_id(now),
        case_id=access.case_id,
        kind=order.kind.value,
        subject_sha256=order.subject_sha256,
        decision=dict(order.decision),
        made_by=access.actor_id,
        made_at=now,
    )
    session.add(row)
    session.flush()
    enqueue(session, RENDER_SHEET, {"proposal": str(row.id)}, now)
    return row.id


def keep_draft(session: Session, access: CaseAccess, office: Office, draft: Draft) -> SheetProposal:
    """Keep a sheet that was rendered at once, until whoever asked for it signs."""
    _drop_orders(session, access)
    row = SheetProposal(
        id=draft.sheet_id,
        case_id=access.case_id,
        kind=draft.kind.value,
        made_by=access.actor_id,
        made_at=draft.made_at,
    )
    _fill(row, office, draft)
    session.add(row)
    session.flush()
    return row


def _drop_orders(session: Session, access: CaseAccess) -> None:
    session.execute(
        delete(SheetProposal).where(
            SheetProposal.case_id == access.case_id, SheetProposal.made_by == access.actor_id
        )
    )


def _fill(row: SheetProposal, office: Office, draft: Draft) -> None:
    row.subject_sha256 = draft.subject_sha256
    row.decision = dict(draft.decision)
    row.snapshot_sha256 = office.blobs.put(draft.snapshot)
    row.pdf_sha256 = office.blobs.put(draft.pdf)


def is_ready(session: Session, proposal_id: UUID) -> bool:
    """Say whether there is nothing to wait for: the sheet is made, refused, signed or replaced."""
    row = session.get(SheetProposal, proposal_id)
    return row is None or row.pdf_sha256 is not None or row.refusal is not None


def sheet_maker(database: Database, office: Callable[[], Office]) -> Handler:
    """Return how the worker renders a sheet that was asked for.

    The same order gives the same sheet: its id and its time are those of the asking, so that
    one rendered twice is one sheet.
    """

    def prepare(payload: Mapping[str, Any]) -> Finish:
        proposal_id = UUID(payload["proposal"])
        with database.reading() as session:
            row = session.get(SheetProposal, proposal_id)
            if row is None or row.pdf_sha256 is not None:
                return lambda _session: None
            try:
                draft = _draft(session, row, replace(office(), printing=print_apart))
            except (Invalid, OutOfDate, WrongState, NotFound, NotAllowed) as error:
                why = error.message
                return lambda session: _refuse(session, proposal_id, why)
        return lambda session: _end(session, proposal_id, office(), draft)

    def give_up(payload: Mapping[str, Any]) -> Finish:
        return lambda session: _refuse(session, UUID(payload["proposal"]), GAVE_UP)

    return Handler(prepare, give_up)


def _draft(session: Session, row: SheetProposal, office: Office) -> Draft:
    """Render an order on behalf of whoever gave it, if they still may."""
    number = session.scalars(select(Case.number).where(Case.id == row.case_id)).one()
    access = case_for(session, row.made_by, number, row.made_at)
    kind, at = SheetKind(row.kind), row.made_at
    if kind is SheetKind.AGREED_PLAN:
        agreed = agree_from_json(row.decision)
        return draft_agreed_plan(session, access, office, agreed, at, sheet_id=row.id)
    if kind is SheetKind.AS_FITTED:
        record = record_from_json(row.decision)
        return draft_as_fitted(session, access, office, record, at, sheet_id=row.id)
    letter = Letter(kind, row.decision["words"])
    return draft_letter(session, access, office, letter, at, sheet_id=row.id)


def _end(session: Session, proposal_id: UUID, office: Office, draft: Draft) -> None:
    """Fill the order, unless another took its place while it was rendered."""
    row = session.get(SheetProposal, proposal_id)
    if row is not None and session.get(Sheet, proposal_id) is None:
        _fill(row, office, draft)


def _refuse(session: Session, proposal_id: UUID, why: str) -> None:
    row = session.get(SheetProposal, proposal_id)
    if row is not None:
        row.refusal = why
