"""Sheets that the vet alone signs: the referral, the owner's copy, the closing report."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.core.workflow import Move, Stage
from referral.errors import Invalid
from referral.rules.queries import book_on_case
from referral.sheets.closing import closing_snapshot
from referral.sheets.drafts import Draft, Office
from referral.sheets.making import Frame
from referral.sheets.owners import agreed_plan, owner_snapshot
from referral.sheets.queries import latest_sheet
from referral.sheets.referring import referral_snapshot
from referral.sheets.snapshot import SheetKind, Snapshot
from referral.storage.blobs import BlobStore
from referral.storage.ids import new_id

Content = Callable[[Session, CaseAccess, BlobStore, Frame, dict[str, bytes]], Snapshot]

CONTENT: Mapping[SheetKind, Content] = {
    SheetKind.REFERRAL: referral_snapshot,
    SheetKind.OWNER_COPY: owner_snapshot,
    SheetKind.CLOSING: closing_snapshot,
}
"""How each of these sheets is filled."""


@dataclass(frozen=True, slots=True)
class Letter:
    """A sheet that is asked for: its kind, and what the vet says on it in own words."""

    kind: SheetKind
    words: str | None


def why_no_letter(session: Session, access: CaseAccess, kind: SheetKind) -> str:
    """Return why a sheet of this kind cannot be made now, or an empty string."""
    if kind is SheetKind.REFERRAL and not access.state.referral_n:
        return "No referral has been sent yet."
    if kind is SheetKind.OWNER_COPY and agreed_plan(session, access) is None:
        return "No plan has been agreed yet."
    if kind is SheetKind.CLOSING and access.state.stage is not Stage.CLOSED:
        return "The case is not closed yet."
    return ""


def check_letter(session: Session, access: CaseAccess, kind: SheetKind) -> None:
    """Return nothing if this person can have such a sheet made now.

    Raises
    ------
    NotAllowed
        If the person is no vet on this case.
    Invalid
        If there is nothing yet for such a sheet to say.
    """
    access.check_role(Move.SIGN_SHEET)
    reason = why_no_letter(session, access, kind)
    if reason:
        raise Invalid(reason, {"kind": [reason]})


def draft_letter(
    session: Session,
    access: CaseAccess,
    office: Office,
    letter: Letter,
    now: datetime,
    *,
    sheet_id: UUID | None = None,
) -> Draft:
    """Render a sheet that the vet looks at before signing it.

    Raises
    ------
    NotAllowed
        If the person is no vet on this case.
    Invalid
        If there is nothing yet for such a sheet to say, or it cannot be printed.
    """
    check_letter(session, access, letter.kind)
    before = latest_sheet(session, access.case_id, letter.kind.value)
    replaces = str(before.sheet_id) if before else None
    sheet_id = sheet_id or new_id(now)
    book = book_on_case(session, access.case_id, office.rulebook, now.date())
    frame = Frame(
        sheet_id=sheet_id,
        kind=letter.kind,
        replaces=replaces,
        instance=office.instance,
        check_url=office.check_page(sheet_id),
        made_at=now,
        rulebook_sha256=book.content_hash,
        words=letter.words,
    )
    pictures: dict[str, bytes] = {}
    snapshot = CONTENT[letter.kind](session, access, office.blobs, frame, pictures)
    return Draft(
        sheet_id=frame.sheet_id,
        kind=letter.kind,
        subject_sha256=snapshot.sha256(),
        decision={"words": letter.words, "based_on": access.revision, "replaces": replaces},
        snapshot=snapshot.to_json(),
        pdf=office.printing(snapshot, pictures),
        made_at=now,
    )
