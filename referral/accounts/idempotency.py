"""A form sent twice is done once: its own key, the hash of what it said, where it led."""

import re
from collections.abc import Callable
from datetime import datetime
from uuid import UUID, uuid4

from flask import redirect, request
from flask.typing import ResponseReturnValue
from sqlalchemy import Select, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from referral.accounts.models import IdempotencyKey
from referral.errors import Invalid, OutOfDate
from referral.storage.canonical import canonical_json, sha256_hex
from referral.storage.ids import new_id

KEY = re.compile(r"[0-9A-Za-z-]{1,64}")
NOT_WHAT_IS_SAID = frozenset({"csrf_token", "password", "passphrase", "code"})
"""Fields that are no part of what a form asks for; a secret must not be kept, even hashed."""
NO_NUMBER = (
    "This form came without its own number, so nothing was kept. Send it again from its own page."
)


def new_key() -> str:
    """Return an identity for a form that is about to be shown."""
    return str(uuid4())


def do_once(
    session: Session, person_id: UUID, now: datetime, act: Callable[[], str]
) -> ResponseReturnValue:
    """Do what a form asks and go where it leads; the same form again only goes there.

    Raises
    ------
    Invalid
        If the form has no key, or none that a page of ours gives.
    OutOfDate
        If the form's key was used with other content.
    """
    key = _key_of_form()
    claimed = IdempotencyKey(
        id=new_id(now),
        person_id=person_id,
        key=key,
        body_sha256=body_sha256(),
        location="",
        made_at=now,
    )
    before = _claim(session, claimed)
    if before is None:
        claimed.location = act()
        return redirect(claimed.location, 303)
    return _led_to(before, claimed.body_sha256)


def done_before(session: Session, person_id: UUID) -> ResponseReturnValue | None:
    """Return where this very form led when it was done before, or None if it was not.

    For work that is costly to begin: that it is done once is for :func:`do_once` to see.

    Raises
    ------
    Invalid
        If the form has no key, or none that a page of ours gives.
    OutOfDate
        If the form's key was used with other content.
    """
    before = session.scalars(_taken(person_id, _key_of_form())).one_or_none()
    return None if before is None else _led_to(before, body_sha256())


def _key_of_form() -> str:
    key = request.form.get("idempotency_key", "")
    if not KEY.fullmatch(key):
        raise Invalid(NO_NUMBER)
    return key


def _led_to(before: IdempotencyKey, said_sha256: str) -> ResponseReturnValue:
    if before.body_sha256 != said_sha256:
        raise OutOfDate("This form was sent before with other content; open it anew.")
    return redirect(before.location, 303)


def _taken(person_id: UUID, key: str) -> Select[IdempotencyKey]:
    return select(IdempotencyKey).where(
        IdempotencyKey.person_id == person_id, IdempotencyKey.key == key
    )


def _claim(session: Session, row: IdempotencyKey) -> IdempotencyKey | None:
    """Take the key, or return its row from when it was taken before; two at once wait."""
    taken = _taken(row.person_id, row.key)
    before = session.scalars(taken).one_or_none()
    if before is not None:
        return before
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError:
        return session.scalars(taken).one()
    return None


def body_sha256() -> str:
    """Return the hash of what the form says: where it goes, its fields, its files."""
    said = {
        name: request.form.getlist(name) for name in request.form if name not in NOT_WHAT_IS_SAID
    }
    files = {}
    for name, file in request.files.items():
        file.stream.seek(0)
        files[name] = sha256_hex(file.stream.read())
        file.stream.seek(0)
    return sha256_hex(canonical_json({"path": request.path, "form": said, "files": files}))
