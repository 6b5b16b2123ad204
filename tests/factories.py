"""Plain functions that make things for tests; everything is defaulted."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from uuid import UUID

from sqlalchemy.orm import Session

from referral.accounts.actor import Actor
from referral.accounts.models import Organisation, Person
from referral.accounts.passwords import LEAST_COST, Passwords
from referral.accounts.queries import actor_for_token
from referral.accounts.service import AddPerson, add_organisation, add_person
from referral.accounts.sign_in import open_session
from referral.cases.access import CaseAccess
from referral.cases.service import (
    Member,
    OpenCase,
    SendReferral,
    SetLimit,
    open_case,
    send_referral,
    set_limit,
)
from referral.core.measure.registry import MEASURES
from referral.core.measure.stated import StatedValue, stated_readings
from referral.core.workflow import Role
from referral.horses.models import Horse
from referral.horses.service import RecordHorse, record_horse
from referral.rulebook.loader import load_rulebook
from referral.settings import Settings
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.web.wiring import Wiring

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
PASSWORD = "seven shoes on a wet gate"
PASSWORDS = Passwords(LEAST_COST)
_numbers = count(1)


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self, now: datetime = NOW) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def move(self, **by: float) -> None:
        self.now += timedelta(**by)


def a_settings(folder: Path, database_url: str) -> Settings:
    return Settings(
        instance_dir=folder,
        database_url=database_url,
        files_dir=folder / "files",
        keys_dir=folder / "keys",
        instance_name="A test yard",
        secret_key="not a secret, only for tests of this app",
        instance_key=bytes(32),
        zone="Europe/London",
        host="127.0.0.1",
        port=8000,
        demo=False,
        production=False,
    )


def a_wiring(folder: Path, database: Database) -> Wiring:
    """Return the wiring of an instance that is served on this machine."""
    settings = a_settings(folder, database.url)
    return Wiring(
        settings=settings,
        database=database,
        blobs=BlobStore(settings.files_dir),
        rulebook=load_rulebook(),
        passwords=PASSWORDS,
    )


def a_practice(
    session: Session, name: str = "Hollow Lane Vets", now: datetime = NOW
) -> Organisation:
    return add_organisation(session, name, "practice", now)


def a_forge(session: Session, name: str = "Cold Bridge Forge", now: datetime = NOW) -> Organisation:
    return add_organisation(session, name, "forge", now)


def a_person(
    session: Session,
    role: str = "owner",
    organisation: Organisation | None = None,
    *,
    name: str = "",
    email: str = "",
    password: str | None = PASSWORD,
    now: datetime = NOW,
) -> Person:
    number = next(_numbers)
    command = AddPerson(
        name=name or f"{role.title()} Number{number}",
        email=email or f"{role}{number}@example.org",
        role=role,
        organisation_id=organisation.id if organisation else None,
        password=password,
        registration_number=f"R{number:04}" if role in {"vet", "farrier"} else None,
        phone="+44 20 7946 0000",
    )
    return add_person(session, PASSWORDS, command, now)


def an_actor(session: Session, person: Person, now: datetime = NOW) -> Actor:
    token = open_session(session, person.id, "a test", now)
    session.flush()
    actor = actor_for_token(session, token, now)
    assert actor is not None
    return actor


@dataclass(frozen=True)
class Cast:
    """Three people who work together, and a vet and a farrier who are strangers to them."""

    vet: Person
    farrier: Person
    owner: Person
    other_vet: Person
    other_farrier: Person
    practice_id: UUID
    forge_id: UUID


def a_cast(session: Session, now: datetime = NOW) -> Cast:
    practice = a_practice(session, now=now)
    forge = a_forge(session, now=now)
    other_practice = a_practice(session, "Far Field Vets", now)
    other_forge = a_forge(session, "Far Field Forge", now)
    return Cast(
        vet=a_person(session, "vet", practice, now=now),
        farrier=a_person(session, "farrier", forge, now=now),
        owner=a_person(session, "owner", now=now),
        other_vet=a_person(session, "vet", other_practice, now=now),
        other_farrier=a_person(session, "farrier", other_forge, now=now),
        practice_id=practice.id,
        forge_id=forge.id,
    )


READINGS = {
    "palmar_angle_deg": 1.5,
    "dorsal_wall_angle_deg": 47.0,
    "heel_angle_deg": 40.0,
    "bearing_length_mm": 146.0,
    "tip_to_ground_mm": 15.0,
    "toe_distance_mm": 41.5,
    "breakover_distance_mm": 41.5,
    "sole_depth_tip_mm": 14.0,
    "dip_height_mm": 62.0,
    "toe_arm_mm": 93.5,
    "heel_arm_mm": 53.0,
}
"""A flat forefoot as typed from a film with a marker."""


def a_horse(session: Session, cast: Cast, name: str = "Marrow", now: datetime = NOW) -> Horse:
    command = RecordHorse(
        name=name,
        animal="adult_horse",
        chip=None,
        ueln=None,
        born_year=2014,
        breed="Crossbred",
        sex="gelding",
        colour="bay",
        weight_kg=540.0,
        yard="Top barn",
        owner_id=cast.owner.id,
    )
    return record_horse(session, cast.vet.id, command, now, demo=False)


def a_case(session: Session, cast: Cast, now: datetime = NOW) -> int:
    """Open a case of the cast's on a new horse and return its number."""
    vet = Member(cast.vet.id, Role.VET, cast.practice_id)
    farrier = Member(cast.farrier.id, Role.FARRIER, cast.forge_id)
    owner = Member(cast.owner.id, Role.OWNER, None)
    horse = a_horse(session, cast, now=now)
    command = OpenCase(horse.id, "GB", "Europe/London", vet, (farrier, owner), now.date())
    return open_case(session, command, now).number


def typed_readings(
    session: Session,
    access: CaseAccess,
    now: datetime = NOW,
    *,
    limb: str = "LF",
    **changed: float,
) -> None:
    """Type the readings of a foot, off a film with a marker."""
    from referral.films.service import TypeReadings, type_readings

    said = {code: StatedValue(value, 0.4, "marker") for code, value in (READINGS | changed).items()}
    measured = stated_readings(said)
    type_readings(session, access, TypeReadings(limb, now.date(), measured, now.date()), now)


def a_limit(
    session: Session,
    access: CaseAccess,
    measure: str = "palmar_angle_deg",
    now: datetime = NOW,
    *,
    at_least: float | None = 3.0,
    at_most: float | None = None,
    stage: str = "after_fit",
) -> None:
    command = SetLimit(
        measure=measure,
        stage=stage,
        at_least=at_least,
        at_most=at_most,
        unit=MEASURES[measure].unit,
        strength="must",
        limb="LF",
        reason="The vet's own",
        review_on=None,
        happened_on=now.date(),
    )
    set_limit(session, access, command, now)


def a_referral(session: Session, access: CaseAccess, now: datetime = NOW) -> None:
    command = SendReferral(("LF",), "routine", "Raise the heel", None, False, now.date(), 10_000)
    send_referral(session, access, command, now)
