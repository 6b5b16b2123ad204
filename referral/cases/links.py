"""The address in the letter to somebody who is asked: which invitation, and a proof of it.

It is made anew from the instance's secret whenever the letter is sent. It is of use once and for
seven days, as the invitation is.
"""

from uuid import UUID

from referral.storage.proved import proved, said_in

PURPOSE = "answer-invitation"
INVITATION_BYTES = 16


def token_for_invitation(secret_key: str, invitation_id: UUID) -> str:
    """Return the last part of the address by which an invitation is answered."""
    return proved(secret_key, PURPOSE, invitation_id.bytes)


def invitation_of(secret_key: str, token: str) -> UUID:
    """Return which invitation a token is of.

    Raises
    ------
    NotFound
        If it is none that this instance wrote.
    """
    return UUID(bytes=said_in(secret_key, PURPOSE, token, INVITATION_BYTES))
