"""Who fetched a sheet, or had a copy of it checked: noted once the answer has gone out."""

import logging
from uuid import UUID

from flask import Response
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from referral.sheets.models import Sheet, SheetFetch
from referral.storage.ids import new_id
from referral.web.login import current_actor, is_signed_in
from referral.web.wiring import wiring

FETCHED, CHECKED = "fetched", "checked"

log = logging.getLogger(__name__)


def note_after(answer: Response, sheet_id: UUID, how: str) -> Response:
    """Have it noted, when the answer has gone out, that whoever asks has read a sheet.

    Nobody waits for that, and a fetch whose note cannot be kept is a fetch all the same.
    """
    wired = wiring()
    at, person_id = wired.now(), current_actor().person_id if is_signed_in() else None
    note = SheetFetch(id=new_id(at), sheet_id=sheet_id, person_id=person_id, how=how, at=at)

    def keep() -> None:
        try:
            with wired.database.transaction() as session:
                _keep(session, note)
        except SQLAlchemyError:
            log.exception("that sheet %s was %s could not be noted", sheet_id, how)

    answer.direct_passthrough = False  # or nobody would say when it has gone out
    answer.call_on_close(keep)
    return answer


def _keep(session: Session, note: SheetFetch) -> None:
    """Keep a note of a signed sheet; a draft that waits for its signer is nobody's to count."""
    if session.get(Sheet, note.sheet_id) is not None:
        session.add(note)
