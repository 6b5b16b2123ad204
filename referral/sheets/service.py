"""The verbs of sheets: sign one first, sign it second.

The first signature and the move that it stands for (the vet's agreement, the
farrier's record of a reset) happen in one transaction, bound to the hash of the
very bytes that the signer had on screen.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.erasures import refuse_erased
from referral.cases.timeline import NewEntry, append
from referral.clock import day_at
from referral.core.workflow import Move
from referral.errors import NotFound, OutOfDate, WrongState
from referral.plans.queries import is_stale
from referral.plans.service import agree_plan, current_plan
from referral.resets.queries import ResetView, reset_of
from referral.resets.service import (
    CountersignReset,
    check_reset,
    countersign,
    record_reset,
)
from referral.sheets.decisions import (
    agree_from_json,
    record_from_json,
)
from referral.sheets.drafts import Office
from referral.sheets.models import Sheet, SheetProposal, Signature
from referral.sheets.queries import (
    SheetView,
    latest_sheet,
    proposal_of,
    sheet_of,
)
from referral.sheets.sealing import NOT_SHOWN, Sealed
from referral.sheets.snapshot import SheetKind
from referral.storage.ids import new_id


def sign_first(
    session: Session,
    access: CaseAccess,
    office: Office,
    proposal_id: UUID,
    made: Sealed,
    now: datetime,
) -> SheetView:
    """Make the move and keep the first signature, made on exactly the PDF that was shown.

    Raises
    ------
    NotFound
        If no such sheet waits for this person.
    OutOfDate
        If it is not the PDF that was shown, or the case has moved on.
    """
    proposal = proposal_of(session, access.case_id, access.actor_id, proposal_id)
    if proposal.pdf_sha256 is None or proposal.snapshot_sha256 is None:
        raise WrongState("This sheet is not ready to be signed.")
    plan_id, reset_id = MADE[SheetKind(proposal.kind)](session, access, office, proposal, now)
    replaces = proposal.decision.get("replaces")
    sheet = Sheet(
        id=proposal.id,
        case_id=access.case_id,
        kind=proposal.kind,
        plan_id=plan_id,
        reset_id=reset_id,
        snapshot_sha256=proposal.snapshot_sha256,
        replaces_id=UUID(replaces) if replaces else None,
        made_at=proposal.made_at,
    )
    session.add(sheet)
    session.flush()
    _keep_signature(session, access, office, (sheet.id, proposal.pdf_sha256, 1), made)
    session.delete(proposal)
    session.flush()
    return sheet_of(session, access.case_id, sheet.id)


def _agree(
    session: Session, access: CaseAccess, office: Office, proposal: SheetProposal, now: datetime
) -> tuple[UUID, None]:
    review = agree_plan(session, access, agree_from_json(proposal.decision), office.rulebook, now)
    return review.plan_id, None


def _record(
    session: Session, access: CaseAccess, office: Office, proposal: SheetProposal, now: datetime
) -> tuple[UUID, UUID]:
    command = record_from_json(proposal.decision)
    checked = check_reset(session, access, command, office.rulebook, now)
    if checked.judged.basis_sha256 != proposal.subject_sha256:
        raise OutOfDate("Limits, readings or rules changed since this sheet was made; check again.")
    reset = record_reset(session, access, checked, now)
    return reset.plan_id, reset.id


def _hand_over(
    session: Session, access: CaseAccess, _office: Office, proposal: SheetProposal, now: datetime
) -> tuple[None, None]:
    """Note in the timeline that the vet signed a sheet of their own."""
    facts = {"letter": proposal.kind, "sheet": str(proposal.id)}
    based_on = proposal.decision["based_on"]
    on = day_at(now, access.zone)
    append(session, access, NewEntry(Move.SIGN_SHEET, on, facts, {}, proposal.id, based_on), now)
    return None, None


MADE: Mapping[
    SheetKind,
    Callable[
        [Session, CaseAccess, Office, SheetProposal, datetime], tuple[UUID | None, UUID | None]
    ],
] = {
    SheetKind.AGREED_PLAN: _agree,
    SheetKind.AS_FITTED: _record,
    SheetKind.REFERRAL: _hand_over,
    SheetKind.OWNER_COPY: _hand_over,
    SheetKind.CLOSING: _hand_over,
}
"""The move that a first signature stands for; each gives the plan and the reset it is about."""


def _keep_signature(
    session: Session,
    access: CaseAccess,
    office: Office,
    where: tuple[UUID, str, int],
    made: Sealed,
) -> None:
    """Keep a signature that was made on these very bytes, in this place, by whoever acts."""
    sheet_id, pdf_sha256, position = where
    if not made.is_of(sheet_id, pdf_sha256, access.actor_id, position):
        raise OutOfDate(NOT_SHOWN)
    session.add(
        Signature(
            id=new_id(made.what.at),
            sheet_id=sheet_id,
            position=position,
            person_id=access.actor_id,
            role=made.what.role,
            serial=made.what.key.serial,
            issuer=made.what.key.issuer,
            pdf_sha256=office.blobs.put(made.pdf),
            signed_at=made.what.at,
            stamped_at=made.stamped_at,
            stamped_by=made.stamped_by,
            level=made.level,
            asked=made.asked,
        )
    )
    session.flush()


@dataclass(frozen=True, slots=True)
class SecondSignature:
    """Which sheet, which bytes were on screen, on what day and revision."""

    sheet_id: UUID
    pdf_sha256: str
    happened_on: date
    based_on: int | None


def sign_agreed_plan(
    session: Session,
    access: CaseAccess,
    office: Office,
    command: SecondSignature,
    made: Sealed,
    now: datetime,
) -> SheetView:
    """Put the farrier's signature on the agreed plan; the owner's consent is next.

    Raises
    ------
    OutOfDate
        If the sheet is not the one shown, or the plan changed since it was agreed.
    """
    view = current_plan(session, access, access.state.plan_n)
    if is_stale(session, access, view, office.rulebook, now.date()):
        raise OutOfDate(
            "Limits, readings or rules changed since the vet agreed; ask the vet again."
        )
    sheet, before = _shown(session, access, command, SheetKind.AGREED_PLAN, view.plan.id)
    facts = {"plan_n": view.plan.n, "sheet": str(sheet.id)}
    new = NewEntry(Move.SIGN_PLAN, command.happened_on, facts, {}, sheet.id, command.based_on)
    append(session, access, new, now)
    _keep_signature(session, access, office, (sheet.id, before.pdf_sha256, 2), made)
    return sheet_of(session, access.case_id, sheet.id)


def sign_countersign(
    session: Session,
    access: CaseAccess,
    office: Office,
    command: SecondSignature,
    made: Sealed,
    answer: CountersignReset,
    now: datetime,
) -> SheetView:
    """Countersign a reset and put the vet's signature on its sheet.

    Raises
    ------
    OutOfDate
        If the sheet is not the one shown, or a later reset was recorded.
    """
    reset: ResetView = reset_of(session, access.case_id, answer.n)
    sheet, before = _shown(session, access, command, SheetKind.AS_FITTED, reset.reset.plan_id)
    if sheet.reset_id != reset.reset.id:
        raise OutOfDate("This sheet is of an earlier record of the reset; open the latest.")
    countersign(session, access, answer, now)
    _keep_signature(session, access, office, (sheet.id, before.pdf_sha256, 2), made)
    return sheet_of(session, access.case_id, sheet.id)


def _shown(
    session: Session,
    access: CaseAccess,
    command: SecondSignature,
    kind: SheetKind,
    plan_id: UUID,
) -> tuple[Sheet, SheetView]:
    latest = latest_sheet(session, access.case_id, kind.value, plan_id=plan_id)
    if latest is None or latest.sheet_id != command.sheet_id:
        raise NotFound("This sheet does not wait for a signature.")
    refuse_erased(latest.erased, "sheet")
    if latest.pdf_sha256 != command.pdf_sha256 or latest.is_complete:
        raise OutOfDate("The sheet has changed since you opened it; look at it again.")
    return session.get_one(Sheet, command.sheet_id), latest
