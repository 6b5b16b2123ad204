"""The verbs of sheets: render one to be looked at, sign it first, sign it second.

The first signature and the move that it stands for (the vet's agreement, the
farrier's record of a reset) happen in one transaction, bound to the hash of the
very bytes that the signer had on screen.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import delete
from sqlalchemy.orm import Session

from referral.accounts.queries import person_by_id
from referral.cases.access import CaseAccess
from referral.cases.timeline import NewEntry, append
from referral.core.workflow import Move, Stage
from referral.errors import NotFound, OutOfDate
from referral.plans.queries import PlanView, is_stale
from referral.plans.record import predictions_record
from referral.plans.service import AgreePlan, agree_plan, check_agreement, current_plan
from referral.resets.queries import ResetView, reset_of
from referral.resets.service import (
    CountersignReset,
    RecordReset,
    check_reset,
    countersign,
    record_reset,
)
from referral.rulebook.loader import Rulebook
from referral.sheets.authority import Authority
from referral.sheets.decisions import (
    agree_from_json,
    agree_to_json,
    record_from_json,
    record_to_json,
)
from referral.sheets.keys import signer_for
from referral.sheets.making import Fitted, SheetWanted, make_snapshot
from referral.sheets.models import Sheet, SheetProposal, Signature
from referral.sheets.printing import field_name, print_sheet
from referral.sheets.queries import (
    SheetView,
    latest_sheet,
    proposal_of,
    sheet_of,
    unused_agreed_sheet,
)
from referral.sheets.signing import SigningAct, sign
from referral.sheets.snapshot import Agreement, SheetKind
from referral.storage.blobs import BlobStore
from referral.storage.canonical import rounded
from referral.storage.ids import new_id

REASONS = {
    (SheetKind.AGREED_PLAN.value, "vet"): "I agree to this plan",
    (SheetKind.AGREED_PLAN.value, "farrier"): "I accept this plan and will follow it",
    (SheetKind.AS_FITTED.value, "farrier"): "This is what I did",
    (SheetKind.AS_FITTED.value, "vet"): "I have seen what was fitted",
}


@dataclass(frozen=True, slots=True)
class Office:
    """What sheets are made with: files, rules, the authority, and the instance's own words."""

    blobs: BlobStore
    rulebook: Rulebook
    authority: Authority
    instance: str
    check_url: str


@dataclass(frozen=True, slots=True)
class Draft:
    """A rendered sheet that is not kept yet: drawn while reading, so that no writer waits."""

    sheet_id: UUID
    kind: SheetKind
    subject_sha256: str
    decision: Mapping[str, Any]
    snapshot: bytes
    pdf: bytes
    made_at: datetime


def draft_agreed_plan(
    session: Session, access: CaseAccess, office: Office, command: AgreePlan, now: datetime
) -> Draft:
    """Render the agreed-plan sheet that the vet looks at before signing.

    Raises
    ------
    OutOfDate
        If the plan is not what was seen.
    Invalid
        If a finding lacks the answer it asks for, or the sheet cannot be printed.
    """
    access.role_for(Move.AGREE_PLAN)
    view = check_agreement(session, access, command, office.rulebook)
    before = unused_agreed_sheet(session, access.case_id)
    vet = person_by_id(session, access.actor_id)
    wanted = SheetWanted(
        sheet_id=new_id(now),
        kind=SheetKind.AGREED_PLAN,
        plan=view,
        waivers=command.waivers,
        agreements=(Agreement(vet.name, "vet", now, f"Plan {command.n}"),),
        replaces=str(before.sheet_id) if before else None,
        instance=office.instance,
        check_url=office.check_url,
        made_at=now,
    )
    return _draft(session, access, office, wanted, (agree_to_json(command), command.seen_sha256))


def draft_as_fitted(
    session: Session, access: CaseAccess, office: Office, command: RecordReset, now: datetime
) -> Draft:
    """Render the as-fitted sheet that the farrier looks at before signing.

    Raises
    ------
    OutOfDate
        If another plan is in force.
    Invalid
        If a difference has no reason, or the sheet cannot be printed.
    """
    access.role_for(Move.RECORD_RESET)
    checked = check_reset(session, access, command, office.rulebook, now)
    corrected = None
    if access.state.stage is Stage.CORRECTING:
        corrected = latest_sheet(session, access.case_id, SheetKind.AS_FITTED.value)
    fitted = Fitted(
        limbs=command.limbs,
        reasons=command.reasons,
        predictions=rounded(predictions_record(checked.judged)),
        findings=_with_limb(checked.judged.findings()),
        fitted_on=command.fitted_on,
        due_on=checked.due_on,
    )
    wanted = SheetWanted(
        sheet_id=new_id(now),
        kind=SheetKind.AS_FITTED,
        plan=checked.plan,
        waivers={each.finding_id: each.reason or "" for each in _waived(checked.plan)},
        agreements=_agreements(session, checked.plan),
        replaces=str(corrected.sheet_id) if corrected else None,
        instance=office.instance,
        check_url=office.check_url,
        made_at=now,
        fitted=fitted,
    )
    decision = record_to_json(command), checked.judged.basis_sha256
    return _draft(session, access, office, wanted, decision)


def _waived(plan: PlanView) -> list[Any]:
    return [each for each in plan.waivers if each.kind == "waived"]


@dataclass(frozen=True, slots=True)
class LimbFinding:
    """A fresh finding that knows its limb, so that it prints like a stored one."""

    limb: str
    finding: Any

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - the finding's own field
        return getattr(self.finding, name)


def _with_limb(findings: Any) -> tuple[LimbFinding, ...]:  # noqa: ANN401 - pairs of limb, finding
    return tuple(LimbFinding(limb, finding) for limb, finding in findings)


def _agreements(session: Session, plan: PlanView) -> tuple[Agreement, ...]:
    review = plan.agreed
    if review is None:
        return ()
    vet = person_by_id(session, review.reviewer_id)
    return (Agreement(vet.name, "vet", review.reviewed_at, f"Plan {plan.plan.n}"),)


def _draft(
    session: Session,
    access: CaseAccess,
    office: Office,
    wanted: SheetWanted,
    decided: tuple[Mapping[str, Any], str],
) -> Draft:
    decision, subject_sha256 = decided
    snapshot, pictures = make_snapshot(session, access, office.blobs, wanted)
    return Draft(
        sheet_id=wanted.sheet_id,
        kind=wanted.kind,
        subject_sha256=subject_sha256,
        decision={**decision, "replaces": wanted.replaces},
        snapshot=snapshot.to_json(),
        pdf=print_sheet(snapshot, pictures),
        made_at=wanted.made_at,
    )


def keep_draft(
    session: Session, access: CaseAccess, office: Office, draft: Draft
) -> SheetProposal:
    """Keep a rendered sheet until whoever asked for it signs; it takes the place of the last."""
    session.execute(
        delete(SheetProposal).where(
            SheetProposal.case_id == access.case_id, SheetProposal.made_by == access.actor_id
        )
    )
    proposal = SheetProposal(
        id=draft.sheet_id,
        case_id=access.case_id,
        kind=draft.kind.value,
        subject_sha256=draft.subject_sha256,
        decision=dict(draft.decision),
        snapshot_sha256=office.blobs.put(draft.snapshot),
        pdf_sha256=office.blobs.put(draft.pdf),
        made_by=access.actor_id,
        made_at=draft.made_at,
    )
    session.add(proposal)
    session.flush()
    return proposal


def sign_first(
    session: Session,
    access: CaseAccess,
    office: Office,
    proposal_id: UUID,
    pdf_sha256: str,
    now: datetime,
) -> SheetView:
    """Make the move and put the first signature on exactly the PDF that was shown.

    Raises
    ------
    NotFound
        If no such sheet waits for this person.
    OutOfDate
        If it is not the PDF that was shown, or the case has moved on.
    """
    proposal = proposal_of(session, access.case_id, access.actor_id, proposal_id)
    if proposal.pdf_sha256 != pdf_sha256:
        raise OutOfDate("This is not the sheet you looked at; open it again.")
    if proposal.kind == SheetKind.AGREED_PLAN.value:
        plan_id, reset_id = _agree(session, access, office, proposal, now), None
        role = "vet"
    else:
        plan_id, reset_id = _record(session, access, office, proposal, now)
        role = "farrier"
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
    _add_signature(session, access, office, (sheet, proposal.pdf_sha256, role, 1), now)
    session.delete(proposal)
    session.flush()
    return sheet_of(session, access.case_id, sheet.id)


def _agree(
    session: Session, access: CaseAccess, office: Office, proposal: SheetProposal, now: datetime
) -> UUID:
    review = agree_plan(session, access, agree_from_json(proposal.decision), office.rulebook, now)
    return review.plan_id


def _record(
    session: Session, access: CaseAccess, office: Office, proposal: SheetProposal, now: datetime
) -> tuple[UUID, UUID]:
    command = record_from_json(proposal.decision)
    checked = check_reset(session, access, command, office.rulebook, now)
    if checked.judged.basis_sha256 != proposal.subject_sha256:
        raise OutOfDate("Limits, readings or rules changed since this sheet was made; check again.")
    reset = record_reset(session, access, checked, now)
    return reset.plan_id, reset.id


def _add_signature(
    session: Session,
    access: CaseAccess,
    office: Office,
    what: tuple[Sheet, str, str, int],
    now: datetime,
) -> None:
    sheet, pdf_sha256, role, position = what
    key = signer_for(session, office.authority, access.case_id, access.actor_id, role, now)
    act = SigningAct(field_name(role), position == 1, REASONS[sheet.kind, role], None, now)
    signed = sign(office.blobs.get(pdf_sha256), office.authority, key, act)
    session.add(
        Signature(
            id=new_id(now),
            sheet_id=sheet.id,
            position=position,
            person_id=access.actor_id,
            role=role,
            serial=key.serial,
            pdf_sha256=office.blobs.put(signed),
            signed_at=now,
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
    session: Session, access: CaseAccess, office: Office, command: SecondSignature, now: datetime
) -> SheetView:
    """Put the farrier's signature on the agreed plan; the owner's consent is next.

    Raises
    ------
    OutOfDate
        If the sheet is not the one shown, or the plan changed since it was agreed.
    """
    view = current_plan(session, access, access.state.plan_n)
    if is_stale(session, access, view, office.rulebook.content_hash):
        raise OutOfDate(
            "Limits, readings or rules changed since the vet agreed; ask the vet again."
        )
    sheet, before = _shown(session, access, command, SheetKind.AGREED_PLAN, view.plan.id)
    facts = {"plan_n": view.plan.n, "sheet": str(sheet.id)}
    new = NewEntry(Move.SIGN_PLAN, command.happened_on, facts, {}, sheet.id, command.based_on)
    append(session, access, new, now)
    _add_signature(session, access, office, (sheet, before.pdf_sha256, "farrier", 2), now)
    return sheet_of(session, access.case_id, sheet.id)


def sign_countersign(
    session: Session,
    access: CaseAccess,
    office: Office,
    command: SecondSignature,
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
    _add_signature(session, access, office, (sheet, before.pdf_sha256, "vet", 2), now)
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
    if latest.pdf_sha256 != command.pdf_sha256 or latest.is_complete:
        raise OutOfDate("The sheet has changed since you opened it; look at it again.")
    return session.get_one(Sheet, command.sheet_id), latest
