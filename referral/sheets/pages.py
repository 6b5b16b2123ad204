"""What the pages that sign show, frozen and ready to print."""

from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from sqlalchemy.orm import Session

from referral.accounts.second_factor import is_on
from referral.cases.access import CaseAccess
from referral.cases.erasures import refuse_erased
from referral.cases.queries import people_on
from referral.core.workflow import LAWS, Move, Role
from referral.errors import NotFound
from referral.plans.models import PlanRow
from referral.plans.queries import plan_of
from referral.resets.queries import reset_of
from referral.sheets.models import Sheet
from referral.sheets.own_certificates import signs_with
from referral.sheets.pictures import page_count
from referral.sheets.queries import SignatureView, latest_sheet, proposal_of, sheet_of
from referral.sheets.sealing import REASONS
from referral.sheets.snapshot import SIGNERS, TITLES, SheetKind, in_groups
from referral.storage.blobs import BlobStore


@dataclass(frozen=True, slots=True)
class SheetShown:
    """A sheet on the page of whoever is to sign it: its bytes by hash, its pages, who signed."""

    sheet_id: UUID
    title: str
    pdf_sha256: str
    fingerprint: str
    pages: int
    signatures: tuple[SignatureView, ...]
    means: str
    signs_with: str
    asks_code: bool


@dataclass(frozen=True, slots=True)
class SigningPage:
    """The page that signs a sheet, or says why it cannot be signed now."""

    number: int
    revision: int
    sheet: SheetShown
    why_not: str


@dataclass(frozen=True, slots=True)
class CountersignPage:
    """The page on which the vet countersigns a reset and sets the recheck."""

    number: int
    revision: int
    n: int
    sheet: SheetShown
    why_not: str
    today: date
    recheck_on: date
    recheck_role: str
    owners: tuple[tuple[str, str], ...]


def proposal_page(
    session: Session, access: CaseAccess, blobs: BlobStore, proposal_id: UUID
) -> SigningPage:
    """Return the page on which a rendered sheet gets its first signature.

    Raises
    ------
    NotFound
        If no such sheet waits for this person.
    """
    row = proposal_of(session, access.case_id, access.actor_id, proposal_id)
    if row.pdf_sha256 is None or row.snapshot_sha256 is None:
        raise NotFound("This sheet is not there yet.")
    shown = SheetShown(
        sheet_id=row.id,
        title=TITLES[SheetKind(row.kind)],
        pdf_sha256=row.pdf_sha256,
        fingerprint=in_groups(row.snapshot_sha256),
        pages=page_count(blobs.get(row.pdf_sha256)),
        signatures=(),
        means=REASONS[row.kind, SIGNERS[SheetKind(row.kind)][0]],
        signs_with=signs_with(session, access.actor_id),
        asks_code=is_on(session, access.actor_id),
    )
    return SigningPage(access.number, access.revision, shown, "")


def plan_signature_page(
    session: Session, access: CaseAccess, blobs: BlobStore, n: int
) -> SigningPage:
    """Return the page on which the farrier signs the agreed plan.

    Raises
    ------
    NotFound
        If the person never signs plans, or the vet has not signed this one.
    """
    _refuse_others(access, Move.SIGN_PLAN)
    plan = plan_of(session, access.case_id, n)
    shown = _second(session, access, blobs, (SheetKind.AGREED_PLAN, plan.plan.id, "farrier"))
    may = n == access.state.plan_n and access.may(Move.SIGN_PLAN)
    why_not = "" if may else f"Not now: the case waits for this: {access.state.task}."
    return SigningPage(access.number, access.revision, shown, why_not)


def countersign_page(
    session: Session, access: CaseAccess, blobs: BlobStore, n: int, today: date
) -> CountersignPage:
    """Return the page on which the vet countersigns reset n.

    Raises
    ------
    NotFound
        If the person never countersigns, or there is no such reset.
    """
    _refuse_others(access, Move.COUNTERSIGN)
    reset = reset_of(session, access.case_id, n).reset
    plan = session.get_one(PlanRow, reset.plan_id)
    shown = _second(session, access, blobs, (SheetKind.AS_FITTED, reset.plan_id, "vet"))
    may = n == access.state.reset_n and access.may(Move.COUNTERSIGN)
    return CountersignPage(
        number=access.number,
        revision=access.revision,
        n=n,
        sheet=shown,
        why_not="" if may else f"Not now: the case waits for this: {access.state.task}.",
        today=today,
        recheck_on=max(plan.recheck_on or reset.due_on, today + timedelta(days=1)),
        recheck_role=plan.recheck_owner or Role.VET,
        owners=tuple(
            (role, f"{name}, {role}") for role, (name, _person) in owners_of(session, access)
        ),
    )


def owners_of(session: Session, access: CaseAccess) -> tuple[tuple[str, tuple[str, UUID]], ...]:
    """Return who can own a recheck: the vet and the farrier of the case, by role."""
    found: dict[str, tuple[str, UUID]] = {}
    for member, person, _organisation in people_on(session, access.case_id):
        if member.role in ("vet", "farrier"):
            found.setdefault(member.role, (person.name, person.id))
    return tuple(found.items())


def _refuse_others(access: CaseAccess, move: Move) -> None:
    if not any(role in LAWS[move].roles for role in access.roles):
        raise NotFound("There is no such page for you on this case.")


def _second(
    session: Session, access: CaseAccess, blobs: BlobStore, which: tuple[SheetKind, UUID, str]
) -> SheetShown:
    kind, plan_id, role = which
    view = latest_sheet(session, access.case_id, kind.value, plan_id=plan_id)
    if view is None:
        raise NotFound("There is no sheet to be signed here yet.")
    refuse_erased(view.erased, "sheet")
    return SheetShown(
        sheet_id=view.sheet_id,
        title=TITLES[kind],
        pdf_sha256=view.pdf_sha256,
        fingerprint=in_groups(session.get_one(Sheet, view.sheet_id).snapshot_sha256),
        pages=page_count(blobs.get(view.pdf_sha256)),
        signatures=view.signatures,
        means=REASONS[kind.value, role],
        signs_with=signs_with(session, access.actor_id),
        asks_code=is_on(session, access.actor_id),
    )


def bytes_of(session: Session, access: CaseAccess, sheet_id: UUID) -> tuple[str, str]:
    """Return the hash of a sheet's newest bytes and its kind; a proposal's only to its maker.

    Raises
    ------
    NotFound
        If there is no such sheet for this person, or it was erased; says when.
    """
    try:
        view = sheet_of(session, access.case_id, sheet_id)
    except NotFound:
        row = proposal_of(session, access.case_id, access.actor_id, sheet_id)
        if row.pdf_sha256 is None:
            raise NotFound("This sheet is not there yet.") from None
        return row.pdf_sha256, row.kind
    refuse_erased(view.erased, "sheet")
    return view.pdf_sha256, view.kind
