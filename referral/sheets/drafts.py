"""Sheets before they are signed: rendered from what a decision would leave, and kept to be seen."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.accounts.queries import person_by_id
from referral.cases.access import CaseAccess
from referral.core.workflow import Move, Stage
from referral.plans.queries import PlanView
from referral.plans.record import predictions_record
from referral.plans.service import AgreePlan, check_agreement
from referral.resets.service import RecordReset, check_reset
from referral.rulebook.loader import Rulebook
from referral.sheets.authority import Authority
from referral.sheets.decisions import agree_to_json, record_to_json
from referral.sheets.making import Fitted, SheetWanted, make_snapshot
from referral.sheets.printing import print_sheet
from referral.sheets.queries import latest_sheet, unused_agreed_sheet
from referral.sheets.snapshot import Agreement, SheetKind, Snapshot
from referral.storage.blobs import BlobStore
from referral.storage.canonical import rounded
from referral.storage.ids import new_id
from referral.web.written import day

Printing = Callable[[Snapshot, Mapping[str, bytes]], bytes]


@dataclass(frozen=True, slots=True)
class Lookups:
    """Where to look whether a certificate was withdrawn: hosts, and a folder the operator fills."""

    hosts: tuple[str, ...] = ()
    folder: Path | None = None


@dataclass(frozen=True, slots=True)
class Office:
    """What sheets are made with: files, rules, the authority, and the instance's own words.

    ``address`` is where anybody reaches the instance, ``time_authority`` who stamps signatures,
    ``time_authority_root`` the only root (PEM) whose stamps are taken; each is None where none
    is set. ``lookups`` is where it may be asked whether a certificate was withdrawn; ``printing``
    makes a snapshot and its pictures a PDF.
    """

    blobs: BlobStore
    rulebook: Rulebook
    authority: Authority
    instance: str
    address: str | None
    time_authority: str | None = None
    time_authority_root: bytes | None = None
    lookups: Lookups = Lookups()
    printing: Printing = print_sheet

    def check_page(self, sheet_id: UUID) -> str | None:
        """Return the address where anybody checks this sheet, if the instance has one."""
        return f"{self.address}/check/{sheet_id}" if self.address else None


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
    session: Session,
    access: CaseAccess,
    office: Office,
    command: AgreePlan,
    now: datetime,
    *,
    sheet_id: UUID | None = None,
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
    view = check_agreement(session, access, command, office.rulebook, now.date())
    before = unused_agreed_sheet(session, access.case_id)
    vet = person_by_id(session, access.actor_id)
    sheet_id = sheet_id or new_id(now)
    wanted = SheetWanted(
        sheet_id=sheet_id,
        kind=SheetKind.AGREED_PLAN,
        plan=view,
        waivers=command.waivers,
        agreements=(Agreement(vet.name, "vet", now, f"Plan {command.n}"),),
        replaces=str(before.sheet_id) if before else None,
        instance=office.instance,
        check_url=office.check_page(sheet_id),
        made_at=now,
    )
    return _draft(session, access, office, wanted, (agree_to_json(command), command.seen_sha256))


def draft_as_fitted(
    session: Session,
    access: CaseAccess,
    office: Office,
    command: RecordReset,
    now: datetime,
    *,
    sheet_id: UUID | None = None,
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
        notes=_notes(command),
    )
    sheet_id = sheet_id or new_id(now)
    wanted = SheetWanted(
        sheet_id=sheet_id,
        kind=SheetKind.AS_FITTED,
        plan=checked.plan,
        waivers={each.finding_id: each.reason or "" for each in _waived(checked.plan)},
        agreements=_agreements(session, checked.plan),
        replaces=str(corrected.sheet_id) if corrected else None,
        instance=office.instance,
        check_url=office.check_page(sheet_id),
        made_at=now,
        fitted=fitted,
    )
    decision = record_to_json(command), checked.judged.basis_sha256
    return _draft(session, access, office, wanted, decision)


def _notes(command: RecordReset) -> tuple[tuple[str, str], ...]:
    said = (
        ("Fitted on", day(command.fitted_on)),
        ("Found under the old shoe", command.found),
        ("Comfort on leaving", command.comfort),
        ("Advice to the owner", command.advice),
    )
    return tuple((label, words) for label, words in said if words)


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
        pdf=office.printing(snapshot, pictures),
        made_at=wanted.made_at,
    )
