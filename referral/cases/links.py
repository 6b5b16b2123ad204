"""The address in the letter to somebody who is asked: which invitation, and a proof of it.

Nothing of it is kept: it is made anew from the instance's secret whenever the letter is sent. It is
of use once and for seven days, as the invitation is.
"""

import base64
import hmac
from uuid import UUID

from referral.errors import NotFound

INVITATION_BYTES = 16
PROOF_BYTES = 32
UNKNOWN = "There is no such page. Perhaps the address was not copied whole."


def token_for_invitation(secret_key: str, invitation_id: UUID) -> str:
    """Return the last part of the address by which an invitation is answered."""
    said = invitation_id.bytes
    return base64.urlsafe_b64encode(said + _proof(secret_key, said)).rstrip(b"=").decode()


def invitation_of(secret_key: str, token: str) -> UUID:
    """Return which invitation a token is of.

    Raises
    ------
    NotFound
        If it is none that this instance wrote.
    """
    try:
        whole = base64.b64decode(token.encode() + b"=" * (-len(token) % 4), b"-_", validate=True)
    except ValueError:
        whole = b""
    said, proof = whole[:INVITATION_BYTES], whole[INVITATION_BYTES:]
    if len(whole) != INVITATION_BYTES + PROOF_BYTES:
        raise NotFound(UNKNOWN)
    if not hmac.compare_digest(proof, _proof(secret_key, said)):
        raise NotFound(UNKNOWN)
    return UUID(bytes=said)


def _proof(secret_key: str, said: bytes) -> bytes:
    return hmac.digest(secret_key.encode(), b"answer-invitation:" + said, "sha256")
