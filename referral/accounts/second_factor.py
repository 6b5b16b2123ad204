"""A second factor for signing: codes of the moment from a person's telephone (RFC 6238).

Set up with a secret that is confirmed by one code, kept encrypted by the instance key; each code
is taken once, and wrong ones make the next wait.
"""

import secrets
from base64 import b32encode
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor import InvalidToken
from cryptography.hazmat.primitives.twofactor.totp import TOTP
from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.accounts.models import SecondFactor
from referral.accounts.passwords import Passwords
from referral.accounts.service import ConfirmPassword, confirm_password
from referral.errors import Invalid, NotFound, WrongState
from referral.storage.db import Database
from referral.storage.ids import new_id
from referral.storage.wrapped import unwrap, wrap

SIGNING_ROLES = frozenset({"vet", "farrier"})
SECRET_BYTES = 20
DIGITS, STEP_S = 6, 30
"""With SHA-1, what every program for such codes takes. Source: RFC 6238, 1.2 and 5.2."""
STEPS_APART = (0, -1, 1)
"""A telephone may be a step off, and its owner slow. Source: RFC 6238, 5.2 and 6."""
WRONG_IN_A_ROW = 5
WAIT = timedelta(minutes=15)
"""After five wrong codes in a row, and once more for each five that follow."""

NO_CODE = "Type the code that your telephone shows."
NOT_THE_CODE = "This is not the code of now, or it was used already; type the next one."
NOT_YET = "Too many codes were wrong. Wait {minutes} minutes, then try again."


def step_of(secret: bytes, code: str, now: datetime) -> int | None:
    """Return the step of time that a code is of, or None if it is of none near now."""
    totp = _totp(secret)
    plain = "".join(code.split())
    if not (plain.isascii() and plain.isdigit()):
        return None
    for apart in STEPS_APART:
        step = int(now.timestamp()) // STEP_S + apart
        try:
            totp.verify(plain.encode(), step * STEP_S)
        except InvalidToken:
            continue
        return step
    return None


def secret_in_words(secret: bytes) -> str:
    """Return a secret to be typed by hand: base32 in groups of four."""
    text = b32encode(secret).decode().rstrip("=")
    return " ".join(text[at : at + 4] for at in range(0, len(text), 4))


def setting_up_address(secret: bytes, email: str, instance: str) -> str:
    """Return what a telephone reads to take the secret over."""
    return _totp(secret).get_provisioning_uri(email, instance)


def _totp(secret: bytes) -> TOTP:
    return TOTP(secret, DIGITS, SHA1(), STEP_S)  # noqa: S303 - an HMAC's, and the standard's


def is_on(session: Session, person_id: UUID) -> bool:
    """Say whether this person signs with a code beside the password."""
    row = _present(session, person_id)
    return row is not None and row.confirmed_at is not None


def secret_to_confirm(session: Session, person_id: UUID, instance_key: bytes) -> bytes | None:
    """Return the secret that waits for its first code, or None; a confirmed one is never shown."""
    row = _present(session, person_id)
    if row is None or row.confirmed_at is not None:
        return None
    return _secret(row, instance_key)


def begin(session: Session, person_id: UUID, instance_key: bytes, now: datetime) -> None:
    """Make a new secret, of use when its first code is given.

    Raises
    ------
    WrongState
        If a second factor is on already.
    """
    row = _present(session, person_id)
    if row is not None and row.confirmed_at is not None:
        raise WrongState("Codes are on already; take them off first to set them up anew.")
    if row is not None:
        _remove(row, now)
    row_id = new_id(now)
    wrapped = wrap(secrets.token_bytes(SECRET_BYTES), instance_key, _purpose(row_id))
    session.add(
        SecondFactor(
            id=row_id, person_id=person_id, wrapped_secret=wrapped, begun_at=now, wrong_codes=0
        )
    )
    session.flush()


def confirm(
    session: Session, person_id: UUID, code: str, instance_key: bytes, now: datetime
) -> None:
    """Put the second factor on, by the first code of its secret.

    Raises
    ------
    WrongState
        If none waits for its first code.
    Invalid
        If it is not the code of now.
    """
    row = _present(session, person_id)
    if row is None or row.confirmed_at is not None:
        raise WrongState("No codes wait to be confirmed; begin anew.")
    step = step_of(_secret(row, instance_key), code, now)
    if step is None:
        raise _fault(NOT_THE_CODE)
    row.confirmed_at, row.last_step = now, step
    session.flush()


def remove(session: Session, person_id: UUID, now: datetime) -> None:
    """Take the second factor off; its secret is deleted.

    Raises
    ------
    NotFound
        If there is none.
    """
    row = _present(session, person_id)
    if row is None:
        raise NotFound("You have set up no codes.")
    _remove(row, now)
    session.flush()


@dataclass(frozen=True, slots=True)
class Given:
    """What authorises a signature: password, code where one is asked, and where from."""

    password: str = field(repr=False)
    code: str = field(repr=False)
    address: str


def authorise(
    database: Database,
    passwords: Passwords,
    actor: Actor,
    given: Given,
    instance_key: bytes,
    now: datetime,
) -> None:
    """Take one's password, and one's code where that is on, as the authority for a signature.

    Both are one try: a right password with a wrong code is a failed one.

    Raises
    ------
    Invalid
        If the password or the code is wrong, or too many were.
    """
    said = ConfirmPassword(given.password, given.address)

    def also(session: Session) -> Invalid | None:
        return refuse_code(session, actor.person_id, given.code, instance_key, now)

    confirm_password(database, passwords, actor, said, now, also=also)


def refuse_code(
    session: Session, person_id: UUID, code: str, instance_key: bytes, now: datetime
) -> Invalid | None:
    """Take a code if one is asked of this person, once; return why not if it cannot be taken."""
    row = _present(session, person_id, lock=True)
    if row is None or row.confirmed_at is None:
        return None
    if not code:
        return _fault(NO_CODE)
    left = _to_wait(row, now)
    if left > timedelta():
        return _fault(NOT_YET.format(minutes=-(-left // timedelta(minutes=1))))
    step = step_of(_secret(row, instance_key), code, now)
    if step is not None and step > (row.last_step or 0):
        row.last_step, row.wrong_codes, row.wrong_at = step, 0, None
        return None
    row.wrong_codes, row.wrong_at = row.wrong_codes + 1, now
    return _fault(NOT_THE_CODE)


def _to_wait(row: SecondFactor, now: datetime) -> timedelta:
    fives, rest = divmod(row.wrong_codes, WRONG_IN_A_ROW)
    if not fives or rest or row.wrong_at is None:
        return timedelta()
    return row.wrong_at + fives * WAIT - now


def _present(session: Session, person_id: UUID, *, lock: bool = False) -> SecondFactor | None:
    """Return the newest that is not removed: of two begun at once, the last counts."""
    query = (
        select(SecondFactor)
        .where(SecondFactor.person_id == person_id, SecondFactor.removed_at.is_(None))
        .order_by(SecondFactor.begun_at.desc(), SecondFactor.id.desc())
        .limit(1)
    )
    return session.scalars(query.with_for_update() if lock else query).first()


def _remove(row: SecondFactor, now: datetime) -> None:
    row.removed_at, row.wrapped_secret = now, None


def _secret(row: SecondFactor, instance_key: bytes) -> bytes:
    return unwrap(row.wrapped_secret or "", instance_key, _purpose(row.id))


def _purpose(row_id: UUID) -> str:
    return f"second factor {row_id}"


def _fault(sentence: str) -> Invalid:
    return Invalid(sentence, {"code": [sentence]})
