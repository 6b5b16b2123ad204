"""`referral accounts`: the operator adds, lists, and revokes people, and sets passwords."""

from pathlib import Path

import click

from referral.accounts.models import MembershipRole, OrganisationKind
from referral.accounts.passwords import Passwords
from referral.accounts.practices import set_out_of_hours
from referral.accounts.queries import (
    PersonInfo,
    find_organisation_by_name,
    list_people,
    person_by_email,
)
from referral.accounts.service import (
    ROLES_OF_KIND,
    AddPerson,
    add_organisation,
    add_person,
    revoke_person,
    set_password,
)
from referral.clock import utc_now
from referral.errors import Invalid, NotFound
from referral.settings import load_settings
from referral.storage import schema
from referral.storage.db import Database

instance_option = click.option(
    "--instance",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="The instance folder; REFERRAL_INSTANCE if left out.",
)
password_option = click.option(
    "--password",
    prompt=True,
    hide_input=True,
    confirmation_prompt=True,
    help="Asked for if left out, which keeps it out of the shell's history.",
)


@click.group()
def accounts() -> None:
    """Add, list and revoke people; set passwords."""


@accounts.command()
@click.argument("email")
@click.option("--name", required=True)
@click.option("--role", required=True, type=click.Choice([str(each) for each in MembershipRole]))
@click.option("--organisation", help="Its name; made if it is new. Not for an owner.")
@click.option("--registration", help="Registration number, printed on sheets.")
@click.option("--phone")
@click.option("--out-of-hours", help="The number the practice is rung on when it is closed.")
@password_option
@instance_option
def add(  # noqa: PLR0913 - one argument an option
    *,
    email: str,
    name: str,
    role: str,
    organisation: str | None,
    registration: str | None,
    phone: str | None,
    out_of_hours: str | None,
    password: str,
    instance: Path | None,
) -> None:
    """Add a person, and their organisation if it is new."""
    database = _database(instance)
    now = utc_now()
    with database.transaction() as session:
        organisation_id = None
        if organisation is not None:
            found = find_organisation_by_name(session, organisation)
            found = found or add_organisation(session, organisation, _kind_for(role), now)
            organisation_id = found.id
            if out_of_hours is not None:
                set_out_of_hours(session, found, out_of_hours)
        elif out_of_hours is not None:
            raise Invalid("Say with --organisation whose number out of hours this is.")
        command = AddPerson(name, email, role, organisation_id, password, registration, phone)
        add_person(session, Passwords(), command, now)
    click.echo(f"Added {email} as {role}.")


@accounts.command()
@click.argument("email")
@instance_option
def revoke(email: str, instance: Path | None) -> None:
    """Take a person's access away; what they wrote stays theirs."""
    with _database(instance).transaction() as session:
        revoke_person(session, person_by_email(session, email).id, utc_now())
    click.echo(f"{email} can no longer sign in; every session has ended.")


@accounts.command(name="list")
@instance_option
def list_everybody(instance: Path | None) -> None:
    """List everybody with their roles."""
    with _database(instance).reading() as session:
        for person in list_people(session):
            click.echo(_line(person))


@accounts.command()
@click.argument("email")
@password_option
@instance_option
def password(email: str, password: str, instance: Path | None) -> None:
    """Set a person's password; every session of theirs ends."""
    with _database(instance).transaction() as session:
        set_password(session, Passwords(), person_by_email(session, email).id, password, utc_now())
    click.echo(f"The password of {email} is set; every session has ended.")


@accounts.command()
@click.argument("practice")
@click.argument("number")
@instance_option
def out_of_hours(practice: str, number: str, instance: Path | None) -> None:
    """Set the number a practice is rung on when it is closed; "" takes it away."""
    with _database(instance).transaction() as session:
        found = find_organisation_by_name(session, practice)
        if found is None:
            raise NotFound(f"No practice is known by the name {practice}.")
        set_out_of_hours(session, found, number)
        kept = found.out_of_hours_phone
    said = f"is rung on {kept} out of hours" if kept else "has no out-of-hours number now"
    click.echo(f"{practice} {said}.")


def _database(instance: Path | None) -> Database:
    database = Database(load_settings(instance).database_url)
    schema.refuse_old(database.engine)
    return database


def _kind_for(role: str) -> OrganisationKind:
    kinds = [kind for kind, roles in ROLES_OF_KIND.items() if role in roles]
    if len(kinds) != 1:
        raise Invalid(f"Add a vet or a farrier first: a {role} cannot be the first of a new one.")
    return kinds[0]


def _line(person: PersonInfo) -> str:
    roles = ", ".join(
        f"{each.role} at {each.organisation_name}" if each.organisation_name else each.role
        for each in person.memberships
    )
    revoked = "  (revoked)" if person.is_revoked else ""
    return f"{person.email}  {person.name}  {roles}{revoked}"
