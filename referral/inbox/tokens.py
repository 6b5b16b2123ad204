"""The addresses by which mail is ended: whose, which, and a proof that we wrote it."""

from collections.abc import Collection
from dataclasses import dataclass
from uuid import UUID

from referral.notices.policy import Topic
from referral.storage.proved import proved, said_in

PURPOSE = "ending-mail"
STOPPING = "no-more-letters"
PERSON_BYTES = INVITATION_BYTES = 16
TOPICS_BYTES = 2
BITS = {topic: 1 << place for place, topic in enumerate(Topic)}


@dataclass(frozen=True, slots=True)
class Ending:
    """Which mail a person asks to be without."""

    person_id: UUID
    topics: frozenset[Topic]


def token_for(secret_key: str, person_id: UUID, topics: Collection[Topic]) -> str:
    """Return the last part of the address that ends mail on these topics for this person."""
    said = person_id.bytes + sum(BITS[each] for each in set(topics)).to_bytes(TOPICS_BYTES)
    return proved(secret_key, PURPOSE, said)


def ending_of(secret_key: str, token: str) -> Ending:
    """Return what a token asks for.

    Raises
    ------
    NotFound
        If it is none that this instance wrote.
    """
    said = said_in(secret_key, PURPOSE, token, PERSON_BYTES + TOPICS_BYTES)
    bits = int.from_bytes(said[PERSON_BYTES:])
    topics = frozenset(topic for topic, bit in BITS.items() if bits & bit)
    return Ending(UUID(bytes=said[:PERSON_BYTES]), topics)


def stop_token_for(secret_key: str, invitation_id: UUID) -> str:
    """Return the last part of the address that ends letters to whom an invitation asked."""
    return proved(secret_key, STOPPING, invitation_id.bytes)


def stopping_of(secret_key: str, token: str) -> UUID:
    """Return the invitation whose address wants no more letters.

    Raises
    ------
    NotFound
        If it is none that this instance wrote.
    """
    return UUID(bytes=said_in(secret_key, STOPPING, token, INVITATION_BYTES))
