"""A signature made ahead of the transaction that keeps it, so that nobody waits for a clock.

Made, it is bytes in memory: the transaction checks again that it is of exactly what is signed,
or throws it away.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.errors import OutOfDate, WrongState
from referral.sheets.authority import IssuedKey
from referral.sheets.drafts import Office
from referral.sheets.keys import signer_for
from referral.sheets.printing import field_name
from referral.sheets.queries import proposal_of, sheet_to_see
from referral.sheets.signing import SigningAct, sign
from referral.sheets.snapshot import SIGNERS, SheetKind
from referral.sheets.wording import LEVELS, NOT_ASKED, Level

if TYPE_CHECKING:
    from referral.sheets.material import Material

REASONS = {
    (SheetKind.AGREED_PLAN.value, "vet"): "I agree to this plan",
    (SheetKind.AGREED_PLAN.value, "farrier"): "I accept this plan and will follow it",
    (SheetKind.AS_FITTED.value, "farrier"): "This is what I did",
    (SheetKind.AS_FITTED.value, "vet"): "I have seen what was fitted",
    (SheetKind.REFERRAL.value, "vet"): "I refer this horse as written here",
    (SheetKind.OWNER_COPY.value, "vet"): "This is what the owner was told",
    (SheetKind.CLOSING.value, "vet"): "I close the case with this report",
}
NOT_SHOWN = "This is not the sheet you looked at; open it again."


@dataclass(frozen=True, slots=True)
class ToSeal:
    """One signature to be made: on which bytes of which sheet, by whom, as what, when."""

    sheet_id: UUID
    pdf_sha256: str
    person_id: UUID
    role: str
    position: int
    reason: str
    key: IssuedKey
    at: datetime


@dataclass(frozen=True, slots=True)
class Sealed:
    """A signature that was made, and that nothing keeps yet; with the time authority's word.

    ``asked``: whether the issuer of a certificate that the signer brought could be asked if it was
    withdrawn; None where it is one of ours.
    """

    what: ToSeal
    pdf: bytes
    level: Level
    asked: bool | None
    stamped_at: datetime | None = None
    stamped_by: str | None = None

    @property
    def says(self) -> tuple[str, ...]:
        """Return how long it can be checked, and what could not be asked, as sentences."""
        return (LEVELS[self.level], *((NOT_ASKED,) if self.asked is False else ()))

    def is_of(self, sheet_id: UUID, pdf_sha256: str, person_id: UUID, position: int) -> bool:
        """Say whether it was made on these bytes, by this person, in this place."""
        made = self.what
        return (made.sheet_id, made.pdf_sha256, made.person_id, made.position) == (
            sheet_id,
            pdf_sha256,
            person_id,
            position,
        )


def first_to_seal(
    session: Session,
    access: CaseAccess,
    office: Office,
    proposal_id: UUID,
    pdf_sha256: str,
    now: datetime,
) -> ToSeal:
    """Return the first signature of a rendered sheet, to be made on exactly what was shown.

    Raises
    ------
    NotFound
        If no such sheet waits for this person.
    OutOfDate
        If it is not the PDF that was shown.
    WrongState
        If it is not rendered yet.
    """
    proposal = proposal_of(session, access.case_id, access.actor_id, proposal_id)
    if proposal.pdf_sha256 is None:
        raise WrongState("This sheet is not ready to be signed.")
    if proposal.pdf_sha256 != pdf_sha256:
        raise OutOfDate(NOT_SHOWN)
    role = SIGNERS[SheetKind(proposal.kind)][0]
    return _to_seal(session, access, office, (proposal_id, pdf_sha256, proposal.kind, role, 1), now)


def second_to_seal(
    session: Session,
    access: CaseAccess,
    office: Office,
    sheet_id: UUID,
    pdf_sha256: str,
    now: datetime,
) -> ToSeal:
    """Return the second signature of a sheet, to be made on exactly what was shown.

    Raises
    ------
    NotFound
        If this case has no such sheet.
    OutOfDate
        If the sheet is not as it was shown, or nobody is to sign it any more.
    """
    sheet = sheet_to_see(session, access.case_id, sheet_id)
    if sheet.pdf_sha256 != pdf_sha256 or sheet.is_complete:
        raise OutOfDate("The sheet has changed since you opened it; look at it again.")
    role = SIGNERS[SheetKind(sheet.kind)][1]
    return _to_seal(session, access, office, (sheet_id, pdf_sha256, sheet.kind, role, 2), now)


def _to_seal(
    session: Session,
    access: CaseAccess,
    office: Office,
    which: tuple[UUID, str, str, str, int],
    now: datetime,
) -> ToSeal:
    sheet_id, pdf_sha256, kind, role, position = which
    return ToSeal(
        sheet_id=sheet_id,
        pdf_sha256=pdf_sha256,
        person_id=access.actor_id,
        role=role,
        position=position,
        reason=REASONS[kind, role],
        key=signer_for(session, office.authority, access.case_id, access.actor_id, role, now),
        at=now,
    )


def seal(office: Office, what: ToSeal) -> Sealed:
    """Make a signature, with the time authority's stamp where one is set. Nothing is kept.

    A stamped one carries what is needed to check it later, where that can be had.

    Raises
    ------
    Invalid
        If the time authority gives no time stamp, or a certificate that the signer brought was
        withdrawn: then there is no signature either.
    """
    act = SigningAct(field_name(what.role), what.position == 1, what.reason, None, what.at)
    pdf = office.blobs.get(what.pdf_sha256)
    asked, material = _looked_up(office, what)
    if office.time_authority is None:
        return Sealed(what, sign(pdf, office.authority, what.key, act), Level.BASIC, asked)
    from referral.sheets.lasting import issued_material, with_material  # noqa: PLC0415 - heavy
    from referral.sheets.stamping import InstanceStamper  # noqa: PLC0415 - heavy, on first use

    stamper = InstanceStamper(office.time_authority, what.at, office.time_authority_root)
    signed = sign(pdf, office.authority, what.key, act, stamper)
    if material is None:
        material = issued_material(office.authority, what.key, stamper.at or what.at)
    signed, lasts = with_material(signed, what.key, material, stamper, office.lookups)
    level = Level.LASTING if lasts else Level.STAMPED
    return Sealed(what, signed, level, asked, stamper.at, stamper.by)


def _looked_up(office: Office, what: ToSeal) -> "tuple[bool, Material] | tuple[None, None]":
    """Return whether the issuer of a certificate that was brought could be asked, and what it said.

    Raises
    ------
    Invalid
        If it was withdrawn.
    """
    if what.key.issuer is None:
        return None, None
    from referral.sheets.lasting import look_up_own  # noqa: PLC0415 - heavy, on first use

    return look_up_own(what.key, what.at, office.lookups)
