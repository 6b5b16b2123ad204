"""The verbs of horses: record one, mend who was typed as its owner, or who had accepted."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.models import Person
from referral.errors import Invalid, WrongState
from referral.horses.identity import chip_fault, clean, ueln_fault
from referral.horses.models import Horse, TypedOwner
from referral.horses.queries import typed_owner
from referral.storage.ids import new_id


@dataclass(frozen=True, slots=True)
class RecordHorse:
    """A horse's identity as read off its papers and its chip, and its owner.

    The owner is a person known already, or a name and an address to be asked.
    """

    name: str
    animal: str
    chip: str | None
    ueln: str | None
    born_year: int | None
    breed: str | None
    sex: str | None
    colour: str | None
    weight_kg: float | None
    yard: str | None
    owner_id: UUID | None = None
    owner_name: str | None = None
    owner_email: str | None = None


def record_horse(
    session: Session, recorder_id: UUID, command: RecordHorse, now: datetime, *, demo: bool
) -> Horse:
    """Record a horse; chip and UELN are checked for form, and a chip is unique here.

    Raises
    ------
    Invalid
        If a number is malformed, or the chip is another horse's; says which and why.
    """
    faults: dict[str, list[str]] = {}
    chip, ueln = clean(command.chip or ""), clean(command.ueln or "")
    if chip and (fault := chip_fault(chip, demo=demo)):
        faults["chip"] = [fault]
    if ueln and (fault := ueln_fault(ueln)):
        faults["ueln"] = [fault]
    if chip and _is_taken(session, recorder_id, chip):
        faults["chip"] = ["You have recorded a horse with this chip already."]
    if faults:
        raise Invalid("The horse's numbers need another look.", faults)
    horse = Horse(
        id=new_id(now),
        name=command.name,
        animal=command.animal,
        chip=chip or None,
        ueln=ueln or None,
        born_year=command.born_year,
        breed=command.breed,
        sex=command.sex,
        colour=command.colour,
        weight_kg=command.weight_kg,
        yard=command.yard,
        owner_name=command.owner_name,
        owner_email=command.owner_email,
        owner_id=command.owner_id,
        recorded_by=recorder_id,
        recorded_at=now,
    )
    session.add(horse)
    session.flush()
    return horse


@dataclass(frozen=True, slots=True)
class MendOwner:
    """The owner's name and address, as they ought to have been typed."""

    name: str
    email: str


ACCEPTED = "Somebody has accepted as this horse\N{RIGHT SINGLE QUOTATION MARK}s owner already."


def mend_owner(
    session: Session, mender_id: UUID, horse: Horse, command: MendOwner, now: datetime
) -> None:
    """Keep another name and address of the owner's, in place of what was typed before.

    Raises
    ------
    WrongState
        If somebody is the horse's owner already.
    Invalid
        If nothing is changed.
    """
    if horse.owner_id is not None:
        raise WrongState(ACCEPTED)
    before = typed_owner(session, horse)
    if (before.name, (before.email or "").lower()) == (command.name, command.email.lower()):
        same = "This is what stands there already."
        raise Invalid("Nothing is changed.", {"owner_email": [same]})
    _keep_typed(session, mender_id, horse, command, now)


NOBODY = "Nobody has accepted as this horse\N{RIGHT SINGLE QUOTATION MARK}s owner."


def replace_owner(
    session: Session, mender_id: UUID, horse: Horse, command: MendOwner, now: datetime
) -> Person:
    """Keep who the owner is instead of whoever had accepted; return who that was.

    Raises
    ------
    WrongState
        If nobody had.
    Invalid
        If the address is theirs.
    """
    if horse.owner_id is None:
        raise WrongState(NOBODY)
    before = session.get_one(Person, horse.owner_id)
    if before.email == command.email.lower():
        same = "This is the address of whoever stands there already."
        raise Invalid("Nothing is changed.", {"owner_email": [same]})
    horse.owner_id = None
    _keep_typed(session, mender_id, horse, command, now, instead_of=before.id)
    return before


def _keep_typed(
    session: Session,
    mender_id: UUID,
    horse: Horse,
    command: MendOwner,
    now: datetime,
    *,
    instead_of: UUID | None = None,
) -> None:
    row = TypedOwner(
        id=new_id(now),
        horse_id=horse.id,
        name=command.name,
        email=command.email,
        instead_of=instead_of,
        typed_by=mender_id,
        typed_at=now,
    )
    session.add(row)
    session.flush()


def _is_taken(session: Session, recorder_id: UUID, chip: str) -> bool:
    found = select(Horse.id).where(Horse.chip == chip, Horse.recorded_by == recorder_id)
    return session.scalars(found).first() is not None
