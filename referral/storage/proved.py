"""Words in an address with a proof that this instance wrote them; nothing of it is kept."""

import base64
import hmac

from referral.errors import NotFound

PROOF_BYTES = 16
UNKNOWN = "There is no such page. Perhaps the address was not copied whole."


def proved(secret_key: str, purpose: str, said: bytes) -> str:
    """Return the last part of an address that says this, for one purpose alone."""
    proof = _proof(secret_key, purpose, said)
    return base64.urlsafe_b64encode(said + proof).rstrip(b"=").decode()


def said_in(secret_key: str, purpose: str, token: str, length: int) -> bytes:
    """Return what such an address says, so many bytes.

    Raises
    ------
    NotFound
        If it is none that this instance wrote for that purpose.
    """
    try:
        whole = base64.b64decode(token.encode() + b"=" * (-len(token) % 4), b"-_", validate=True)
    except ValueError:
        whole = b""
    said, proof = whole[:length], whole[length:]
    if not hmac.compare_digest(proof, _proof(secret_key, purpose, said)):
        raise NotFound(UNKNOWN)
    return said


def _proof(secret_key: str, purpose: str, said: bytes) -> bytes:
    return hmac.digest(secret_key.encode(), purpose.encode() + b":" + said, "sha256")[:PROOF_BYTES]
