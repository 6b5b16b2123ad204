"""A story as data: people, horses, and what each did on which day; told through the services.

Every step goes the way a page would: the same verbs, the same refusals, real films, real
signatures. Days count from the day of telling, so that a story is always of the present.
"""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.actor import Actor, MembershipInfo
from referral.accounts.passwords import Passwords
from referral.accounts.practices import set_out_of_hours
from referral.accounts.service import AddPerson, add_organisation, add_person
from referral.cases.models import Case
from referral.cases.queries import case_for
from referral.cases.service import Member, OpenCase, open_case
from referral.core.workflow import Role
from referral.errors import Invalid, ReferralError
from referral.exchange.story_steps import STEPS, Telling
from referral.horses.service import RecordHorse, record_horse
from referral.sheets.drafts import Office
from referral.sheets.office import office_of
from referral.sheets.queries import sheets_of
from referral.shoes.service import StockLine, add_shoe, forge_of
from referral.web.wiring import Wiring

FIRST_HOUR = time(9, 0)
BETWEEN_STEPS = timedelta(minutes=7)
BLANK_SHOE: Mapping[str, Any] = {"size_label": None, "note": None}


@dataclass(frozen=True, slots=True)
class Cast:
    """The story's people by key: who they are, as what, for whom."""

    people: Mapping[str, Member]
    names: Mapping[str, str]
    emails: Mapping[str, str]
    password: str


@dataclass(frozen=True, slots=True)
class Stage:
    """What a story is told on."""

    wired: Wiring
    passwords: Passwords
    today: date

    @property
    def zone(self) -> str:
        """The yard's time zone."""
        return self.wired.settings.zone


def read_story(folder: Path) -> tuple[Mapping[str, Any], tuple[Mapping[str, Any], ...]]:
    """Return the people file and every horse's file of a story folder, by name.

    Raises
    ------
    Invalid
        If a file is missing or cannot be read.
    """
    try:
        people = tomllib.loads((folder / "people.toml").read_text())
        horses = tuple(
            tomllib.loads(path.read_text())
            for path in sorted(folder.glob("*.toml"))
            if path.name != "people.toml"
        )
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise Invalid(f"The story in {folder.name} cannot be read: {error}") from error
    return people, horses


def tell(stage: Stage, folder: Path, say: Callable[[str], None]) -> tuple[Cast, tuple[int, ...]]:
    """Tell a whole story; return its people and the numbers of its cases.

    Raises
    ------
    Invalid
        If a step cannot be taken; names the file's horse, the step and why.
    """
    people, horses = read_story(folder)
    first = min(each["case"]["day"] for each in horses)
    beginning = _moment(stage, first - 1)
    cast = _people(stage, people, beginning)
    _stock(stage, cast, people, beginning)
    office = office_of(replace(stage.wired, now=lambda: beginning))
    numbers = tuple(_one_horse(stage, cast, office, each, say) for each in horses)
    return cast, numbers


def _moment(stage: Stage, day: int, place: int = 0) -> datetime:
    on = stage.today + timedelta(days=day)
    start = datetime.combine(on, FIRST_HOUR, tzinfo=ZoneInfo(stage.zone))
    return start + place * BETWEEN_STEPS


def _people(stage: Stage, given: Mapping[str, Any], now: datetime) -> Cast:
    members: dict[str, Member] = {}
    with stage.wired.database.transaction() as session:
        organisations = {
            each["key"]: _organisation(session, each, now) for each in given["organisation"]
        }
        for each in given["person"]:
            organisation = organisations.get(each.get("organisation", ""))
            command = AddPerson(
                name=each["name"],
                email=each["email"],
                role=each["role"],
                organisation_id=organisation,
                password=given["password"],
                registration_number=each.get("registration_number"),
                phone=each.get("phone"),
            )
            person = add_person(session, stage.passwords, command, now)
            members[each["key"]] = Member(person.id, Role(each["role"]), organisation)
    return Cast(
        people=members,
        names={each["key"]: each["name"] for each in given["person"]},
        emails={each["key"]: each["email"] for each in given["person"]},
        password=given["password"],
    )


def _organisation(session: Session, given: Mapping[str, Any], now: datetime) -> UUID:
    organisation = add_organisation(session, given["name"], given["kind"], now)
    if "out_of_hours_phone" in given:
        set_out_of_hours(session, organisation, given["out_of_hours_phone"])
    return organisation.id


def _stock(stage: Stage, cast: Cast, given: Mapping[str, Any], now: datetime) -> None:
    """Put the story's shoes on the shelves of their forges."""
    names = {each["key"]: each["name"] for each in given["organisation"]}
    with stage.wired.database.transaction() as session:
        for each in given.get("shelf", ()):
            farrier = cast.people[each["by"]]
            forge = MembershipInfo(
                farrier.organisation_id, names[each["forge"]], "forge", "farrier"
            )
            actor = Actor(
                farrier.person_id,
                cast.names[each["by"]],
                cast.emails[each["by"]],
                UUID(int=0),
                (forge,),
            )
            for shoe in each["shoe"]:
                line = StockLine(**{**BLANK_SHOE, **shoe})
                add_shoe(session, actor, forge_of(actor, None), line, now)


def _one_horse(
    stage: Stage,
    cast: Cast,
    office: Office,
    given: Mapping[str, Any],
    say: Callable[[str], None],
) -> int:
    opened = given["case"]["day"]
    number = _open(stage, cast, given, _moment(stage, opened))
    say(f"{given['horse']['name']}: case {number}")
    places: dict[int, int] = {}
    for step in given["step"]:
        places[step["day"]] = places.get(step["day"], 0) + 1
        now = _moment(stage, step["day"], places[step["day"]])
        try:
            _take(stage, office, (cast, number), step, now)
        except ReferralError as error:
            faults = getattr(error, "faults", {})
            raise Invalid(
                f"{given['horse']['name']}, day {step['day']}, {step['do']}: "
                f"{error.message} {faults or ''}"
            ) from error
    return number


def _open(stage: Stage, cast: Cast, given: Mapping[str, Any], now: datetime) -> int:
    case = given["case"]
    vet, farrier, owner = (cast.people[case[role]] for role in ("vet", "farrier", "owner"))
    with stage.wired.database.transaction() as session:
        horse = _horse(session, vet.person_id, owner.person_id, given["horse"], now)
        command = OpenCase(
            horse_id=horse,
            jurisdiction=case["jurisdiction"],
            zone=stage.zone,
            opener=vet,
            others=(farrier, owner),
            happened_on=now.date(),
        )
        return open_case(session, command, now).number


def _horse(
    session: Session, vet: UUID, owner: UUID, given: Mapping[str, Any], now: datetime
) -> UUID:
    blank: dict[str, Any] = dict.fromkeys(
        ("chip", "ueln", "born_year", "breed", "sex", "colour", "weight_kg", "yard")
    )
    command = RecordHorse(**{**blank, **given}, owner_id=owner)
    return record_horse(session, vet, command, now, demo=True).id


def _take(
    stage: Stage,
    office: Office,
    where: tuple[Cast, int],
    step: Mapping[str, Any],
    now: datetime,
) -> None:
    cast, number = where
    act = STEPS.get(step["do"])
    if act is None:
        raise Invalid(f"No story knows how to {step['do']}.")
    who = cast.people[step["by"]].person_id
    with stage.wired.database.transaction() as session:
        access = case_for(session, who, number, now)
        act(Telling(session, access, office, now, stage.today, step))


def copy_sheets(stage: Stage, numbers: tuple[int, ...], folder: Path) -> tuple[Path, ...]:
    """Copy every sheet that both have signed into a folder, under names that say what it is."""
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    with stage.wired.database.reading() as session:
        cases = session.execute(select(Case.id, Case.number).where(Case.number.in_(numbers)))
        for case_id, number in cases:
            complete = [each for each in sheets_of(session, case_id) if each.is_complete]
            for place, sheet in enumerate(reversed(complete), start=1):
                name = f"case-{number}-{place}-{sheet.kind.replace('_', '-')}.pdf"
                (folder / name).write_bytes(stage.wired.blobs.get(sheet.pdf_sha256))
                made.append(folder / name)
    return tuple(made)
