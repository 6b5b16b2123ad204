"""Reads on sheets: what a case has, who signed, and whether a newer one replaces it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from referral.accounts.models import Person
from referral.cases.erasures import erased_at, refuse_erased, when_erased
from referral.cases.models import Case, Erasure
from referral.errors import NotFound
from referral.resets.models import Reset
from referral.sheets.copies import Issued, Lookup
from referral.sheets.models import Sheet, SheetFetch, SheetProposal, Signature
from referral.sheets.snapshot import SIGNERS, SheetKind, in_groups
from referral.sheets.wording import Level, stamped
from referral.storage.together import CaseId, Rows


@dataclass(frozen=True, slots=True)
class SignatureView:
    """One signature as pages show it."""

    name: str
    role: str
    signed_at: datetime
    position: int
    stamped_at: datetime | None
    stamped_by: str | None
    issuer: str | None
    lasts: bool
    asked: bool | None

    @property
    def says(self) -> str:
        """Return who signed, as what, by whose certificate, and what a time authority said."""
        return signature_says(self)


def signature_says(signed: Any) -> str:  # noqa: ANN401 - a view, or a row with its names
    """Return who signed, as what, by whose certificate, and what a time authority said."""
    said = f"{signed.name} ({signed.role})"
    if signed.issuer:
        said = f"{said}, own certificate issued by {signed.issuer}"
    if signed.asked is False:
        said = f"{said}, which could not be asked whether it was withdrawn"
    if signed.stamped_at:
        said = f"{said}, {stamped(signed.stamped_at, signed.stamped_by)}"
    return f"{said}, with what is needed to check it later" if signed.lasts else said


@dataclass(frozen=True, slots=True)
class SheetView:
    """A sheet with its signatures and its newest bytes."""

    sheet_id: UUID
    kind: str
    plan_id: UUID | None
    reset_id: UUID | None
    made_at: datetime
    pdf_sha256: str
    signatures: tuple[SignatureView, ...]
    replaced_by: UUID | None
    erased: datetime | None

    @property
    def is_complete(self) -> bool:
        """Say whether everybody has signed who is to sign this kind."""
        return len(self.signatures) >= len(SIGNERS[SheetKind(self.kind)])


def sheets_of(session: Session, case_id: UUID) -> tuple[SheetView, ...]:
    """Return the case's sheets, newest first."""
    rows = session.scalars(
        select(Sheet).where(Sheet.case_id == case_id).order_by(Sheet.made_at.desc())
    ).all()
    return _views(session, rows)


def select_sheets(case_id: CaseId) -> Rows:
    """Return the query for the case's sheets, newest first, with what came of each."""
    fetched = select(SheetFetch).where(SheetFetch.sheet_id == Sheet.id)
    count, last = func.count(SheetFetch.id), func.max(SheetFetch.at)
    newer = aliased(Sheet)
    replaced_by = select(newer.id).where(newer.replaces_id == Sheet.id).limit(1).scalar_subquery()
    return (
        select(
            Sheet.id,
            Sheet.kind,
            Sheet.made_at,
            replaced_by.label("replaced_by"),
            erased_at(Sheet.id).label("erased"),
            fetched.with_only_columns(count).scalar_subquery().label("fetches"),
            fetched.with_only_columns(last).scalar_subquery().label("fetched_last"),
        )
        .where(Sheet.case_id == case_id)
        .order_by(Sheet.made_at.desc())
    )


def select_signatures(sheets: Rows) -> Rows:
    """Return the query for the signatures of the sheets that another query finds by their ids."""
    return (
        select(
            Signature.sheet_id,
            Person.name,
            Signature.role,
            Signature.signed_at,
            Signature.position,
            Signature.stamped_at,
            Signature.stamped_by,
            Signature.issuer,
            (Signature.level == Level.LASTING).label("lasts"),
            Signature.asked,
        )
        .join(Person, Person.id == Signature.person_id)
        .where(Signature.sheet_id.in_(sheets))
        .order_by(Signature.position)
    )


def sheet_of(session: Session, case_id: UUID, sheet_id: UUID) -> SheetView:
    """Return one sheet of this case.

    Raises
    ------
    NotFound
        If this case has no such sheet.
    """
    rows = session.scalars(
        select(Sheet).where(Sheet.case_id == case_id, Sheet.id == sheet_id)
    ).all()
    if not rows:
        raise NotFound("There is no such sheet on this case.")
    return _views(session, rows)[0]


def sheet_to_see(session: Session, case_id: UUID, sheet_id: UUID) -> SheetView:
    """Return one sheet of this case whose file is there still.

    Raises
    ------
    NotFound
        If this case has no such sheet, or it was erased; says when.
    """
    view = sheet_of(session, case_id, sheet_id)
    refuse_erased(view.erased, "sheet")
    return view


def sheets_signed_by(session: Session, person_id: UUID, number: int) -> tuple[SheetView, ...]:
    """Return the sheets of a case that this person signed, newest first.

    What somebody signed stays theirs to keep, with every signature on it, also once they are on
    the case no more.
    """
    mine = select(Signature.sheet_id).where(Signature.person_id == person_id)
    rows = session.scalars(
        select(Sheet)
        .join(Case, Case.id == Sheet.case_id)
        .where(Case.number == number, Sheet.id.in_(mine))
        .order_by(Sheet.made_at.desc(), Sheet.id.desc())
    ).all()
    return _views(session, rows)


def _views(session: Session, rows: Sequence[Sheet]) -> tuple[SheetView, ...]:
    ids = [row.id for row in rows]
    signed: dict[UUID, list[tuple[Signature, str]]] = {}
    for signature, name in session.execute(
        select(Signature, Person.name)
        .join(Person, Person.id == Signature.person_id)
        .where(Signature.sheet_id.in_(ids))
        .order_by(Signature.position)
    ):
        signed.setdefault(signature.sheet_id, []).append((signature, name))
    replacing = select(Sheet.replaces_id, Sheet.id).where(Sheet.replaces_id.in_(ids))
    newer = dict(session.execute(replacing).all())
    erased = select(Erasure.subject_id, Erasure.erased_at).where(Erasure.subject_id.in_(ids))
    gone = dict(session.execute(erased).all())
    return tuple(
        SheetView(
            sheet_id=row.id,
            kind=row.kind,
            plan_id=row.plan_id,
            reset_id=row.reset_id,
            made_at=row.made_at,
            pdf_sha256=signed[row.id][-1][0].pdf_sha256,
            signatures=tuple(_signature_view(each, name) for each, name in signed[row.id]),
            replaced_by=newer.get(row.id),
            erased=gone.get(row.id),
        )
        for row in rows
    )


def _signature_view(row: Signature, name: str) -> SignatureView:
    return SignatureView(
        name=name,
        role=row.role,
        signed_at=row.signed_at,
        position=row.position,
        stamped_at=row.stamped_at,
        stamped_by=row.stamped_by,
        issuer=row.issuer,
        lasts=row.level == Level.LASTING,
        asked=row.asked,
    )


def latest_sheet(
    session: Session, case_id: UUID, kind: str, *, plan_id: UUID | None = None
) -> SheetView | None:
    """Return the newest sheet of a kind (for one plan, if it is named), or None."""
    query = select(Sheet).where(Sheet.case_id == case_id, Sheet.kind == kind)
    if plan_id:
        query = query.where(Sheet.plan_id == plan_id)
    row = session.scalars(query.order_by(Sheet.made_at.desc(), Sheet.id.desc()).limit(1)).first()
    return _views(session, [row])[0] if row else None


def unused_agreed_sheet(session: Session, case_id: UUID) -> SheetView | None:
    """Return the newest agreed plan that nothing was fitted to yet: a newer one replaces it."""
    sheet = latest_sheet(session, case_id, SheetKind.AGREED_PLAN.value)
    if sheet is None:
        return None
    fitted = session.scalars(select(Reset.id).where(Reset.plan_id == sheet.plan_id)).first()
    return None if fitted else sheet


def order_of(
    session: Session, case_id: UUID, person_id: UUID, proposal_id: UUID
) -> SheetProposal | None:
    """Return a sheet that this person asked for on this case, if it is still there."""
    return session.scalars(
        select(SheetProposal).where(
            SheetProposal.id == proposal_id,
            SheetProposal.case_id == case_id,
            SheetProposal.made_by == person_id,
        )
    ).one_or_none()


def proposal_of(
    session: Session, case_id: UUID, person_id: UUID, proposal_id: UUID
) -> SheetProposal:
    """Return a rendered sheet that waits for the signature of the person who asked for it.

    Raises
    ------
    NotFound
        If there is none for this person on this case.
    """
    row = order_of(session, case_id, person_id, proposal_id)
    if row is None:
        raise NotFound("This sheet is not waiting for your signature any more.")
    return row


def issued_lookup(session: Session) -> Lookup:
    """Return what answers whether these bytes were issued here, and what came of them."""

    def look(digest: str, _sheet_id: str | None) -> Issued:
        row = session.scalars(select(Signature).where(Signature.pdf_sha256 == digest)).first()
        if row is None:
            return Issued(here=False)
        newer = _replacing(session, row.sheet_id)
        return Issued(
            here=True,
            replaced_by=str(newer) if newer else None,
            sheet_id=str(row.sheet_id),
            signed_since=_last_signature(session, row.sheet_id).position > row.position,
            own=_own_certificates(session, row.sheet_id),
            erased=when_erased(session, row.sheet_id),
        )

    return look


@dataclass(frozen=True, slots=True)
class IssuedSheet:
    """What anybody who has a sheet's code may know: nothing of the horse or of people."""

    sheet_id: UUID
    fingerprint: str
    pdf_sha256: str
    replaced_by: UUID | None
    erased: datetime | None


def issued_sheet(session: Session, sheet_id: UUID) -> IssuedSheet:
    """Return what a sheet's code tells.

    Raises
    ------
    NotFound
        If no signed sheet was issued under it.
    """
    row = session.get(Sheet, sheet_id)
    if row is None:
        raise NotFound("No signed sheet was issued here under this code.")
    return IssuedSheet(
        row.id,
        in_groups(row.snapshot_sha256),
        _last_signature(session, row.id).pdf_sha256,
        _replacing(session, row.id),
        when_erased(session, row.id),
    )


def _last_signature(session: Session, sheet_id: UUID) -> Signature:
    return session.scalars(
        select(Signature)
        .where(Signature.sheet_id == sheet_id)
        .order_by(Signature.position.desc())
        .limit(1)
    ).one()


def _own_certificates(session: Session, sheet_id: UUID) -> Mapping[str, str]:
    """Return who issued each certificate that a signer of this sheet brought, by serial number."""
    rows = session.execute(
        select(Signature.serial, Signature.issuer).where(
            Signature.sheet_id == sheet_id, Signature.issuer.is_not(None)
        )
    )
    return {serial: issuer for serial, issuer in rows if issuer}


def _replacing(session: Session, sheet_id: UUID) -> UUID | None:
    """Return the newest sheet that takes the place of this one, through all between."""
    newest, asked = None, sheet_id
    while newer := session.scalars(select(Sheet.id).where(Sheet.replaces_id == asked)).first():
        newest = asked = newer
    return newest
