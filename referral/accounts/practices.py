"""What a practice says of itself: the number that is rung when it is closed."""

import re
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.accounts.models import Organisation, OrganisationKind
from referral.errors import Invalid, NotFound

PHONE = re.compile(r"\+?[0-9](?:[ ()-]{0,2}[0-9]){4,19}")
NOT_A_NUMBER = (
    "Write a telephone number such as 01632 960123 or +44 1632 960123: digits, spaces and hyphens."
)
NOT_A_PRACTICE = "Only a practice has an out-of-hours number; a forge has none."


def practices_of(session: Session, actor: Actor) -> tuple[Organisation, ...]:
    """Return the practices that somebody works for as vet or coordinator, by name."""
    return tuple(
        session.scalars(
            select(Organisation)
            .where(
                Organisation.id.in_(actor.organisation_ids),
                Organisation.kind == OrganisationKind.PRACTICE,
            )
            .order_by(Organisation.name)
        )
    )


def practice_of(session: Session, actor: Actor, organisation_id: UUID) -> Organisation:
    """Return one practice that somebody works for.

    Raises
    ------
    NotFound
        If it is none of theirs.
    """
    for each in practices_of(session, actor):
        if each.id == organisation_id:
            return each
    raise NotFound("There is no such practice among those you work for.")


def set_out_of_hours(session: Session, practice: Organisation, typed: str) -> None:
    """Set the number that a practice is rung on when it is closed; an empty one takes it away.

    Raises
    ------
    Invalid
        If it is no telephone number, or the organisation is no practice.
    """
    number = " ".join(typed.split())
    if practice.kind != OrganisationKind.PRACTICE:
        raise _fault(NOT_A_PRACTICE)
    if number and not PHONE.fullmatch(number):
        raise _fault(NOT_A_NUMBER)
    practice.out_of_hours_phone = number or None
    session.flush()


def _fault(sentence: str) -> Invalid:
    return Invalid(sentence, {"out_of_hours_phone": [sentence]})
