"""The address by which mail is ended: who, which topics, and a proof that we wrote it."""

import base64
import hmac
from collections.abc import Collection
from dataclasses import dataclass
from uuid import UUID

from referral.errors import NotFound
from referral.notices.policy import Topic

PROOF_BYTES = 16
PERSON_BYTES = 16
TOPICS_BYTES = 2
WHOLE_BYTES = PERSON_BYTES + TOPICS_BYTES + PROOF_BYTES
BITS = {topic: 1 << place for place, topic in enumerate(Topic)}


@dataclass(frozen=True, slots=True)
class Ending:
    """Which mail a person asks to be without."""

    person_id: UUID
    topics: frozenset[Topic]


def token_for(secret_key: str, person_id: UUID, topics: Collection[Topic]) -> str:
    """Return the last part of the address that ends mail on these topics for this person."""
    said = person_id.bytes + sum(BITS[each] for each in set(topics)).to_bytes(TOPICS_BYTES)
    return base64.urlsafe_b64encode(said + _proof(secret_key, said)).rstrip(b"=").decode()


def ending_of(secret_key: str, token: str) -> Ending:
    """Return what a token asks for.

    Raises
    ------
    NotFound
        If it is none that this instance wrote.
    """
    try:
        whole = base64.b64decode(token.encode() + b"=" * (-len(token) % 4), b"-_", validate=True)
    except ValueError:
        whole = b""
    said, proof = whole[:-PROOF_BYTES], whole[-PROOF_BYTES:]
    if len(whole) != WHOLE_BYTES or not hmac.compare_digest(proof, _proof(secret_key, said)):
        raise NotFound("There is no such page. Perhaps the address was not copied whole.")
    bits = int.from_bytes(said[PERSON_BYTES:])
    topics = frozenset(topic for topic, bit in BITS.items() if bits & bit)
    return Ending(UUID(bytes=said[:PERSON_BYTES]), topics)


def _proof(secret_key: str, said: bytes) -> bytes:
    return hmac.digest(secret_key.encode(), b"ending-mail:" + said, "sha256")[:PROOF_BYTES]
