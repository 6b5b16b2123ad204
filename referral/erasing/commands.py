"""`referral erase` and `referral hold`: the operator erases for somebody, or keeps a case whole."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import click
from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.accounts.queries import person_by_email
from referral.cases.access import CaseAccess
from referral.cases.holds import holds, lift_hold, place_hold
from referral.cases.models import Entry
from referral.cases.queries import case_for
from referral.clock import day_at, utc_now
from referral.erasing.gathering import FILM, PHOTO, SHEET, WORDS
from referral.erasing.service import Erase, check_erasable
from referral.erasing.service import erase as erase_it
from referral.erasing.sweeping import SWEEP_FILES, file_sweeper
from referral.erasing.telling import going_says
from referral.errors import NotAllowed, NotFound
from referral.settings import load_settings
from referral.storage import schema
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.jobs import Worker

NOTHING_YET = "Nothing was changed. Say --yes to erase it for good."
LEFT = "Files that the worker still has to delete, within a quarter of an hour: {}."

Command = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class Store:
    """An instance's database and files."""

    database: Database
    blobs: BlobStore


def _options(*options: Command) -> Command:
    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


instance_option = click.option(
    "--instance",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="The instance folder; REFERRAL_INSTANCE if left out.",
)
acting = _options(
    click.option(
        "--by",
        required=True,
        help="The address of the vet on the case, or of a "
        "coordinator of the vet’s practice who is on it.",
    ),
    click.option("--why", required=True, help="Stays in the record."),
    instance_option,
)
erasing = _options(
    click.option(
        "--yes/--dry-run",
        "is_sure",
        default=False,
        help="Erase it for good; without --yes it is only said what would go.",
    ),
    acting,
)


@click.group()
def erase() -> None:
    """Erase words, a film, a photo or a signed sheet; hashes, and who, when and why, stay."""


@erase.command()
@click.argument("case", type=int)
@click.argument("entry", type=int)
@erasing
def words(case: int, entry: int, **said: Any) -> None:  # noqa: ANN401 - the options of each
    """Erase the words of one ENTRY, by its number in the timeline of CASE."""

    def found(session: Session, access: CaseAccess) -> UUID:
        entry_id = session.scalars(
            select(Entry.id).where(Entry.case_id == access.case_id, Entry.seq == entry)
        ).one_or_none()
        if entry_id is None:
            raise NotFound(f"Case {case} has no entry {entry}; it has {access.revision}.")
        return entry_id

    _erase(case, WORDS, found, **said)


@erase.command()
@click.argument("case", type=int)
@click.argument("film", type=click.UUID)
@erasing
def film(case: int, film: UUID, **said: Any) -> None:  # noqa: ANN401 - the options of each
    """Erase the file of FILM, by its id in the address of its page, with its pictures."""
    _erase(case, FILM, lambda _session, _access: film, **said)


@erase.command()
@click.argument("case", type=int)
@click.argument("photo", type=click.UUID)
@erasing
def photo(case: int, photo: UUID, **said: Any) -> None:  # noqa: ANN401 - the options of each
    """Erase a PHOTO of an assessment, by its id in its address."""
    _erase(case, PHOTO, lambda _session, _access: photo, **said)


@erase.command()
@click.argument("case", type=int)
@click.argument("sheet", type=click.UUID)
@erasing
def sheet(case: int, sheet: UUID, **said: Any) -> None:  # noqa: ANN401 - the options of each
    """Erase the files of a signed SHEET, by its id in its address or in its code."""
    _erase(case, SHEET, lambda _session, _access: sheet, **said)


def _erase(
    case: int,
    what: str,
    found: Callable[[Session, CaseAccess], UUID],
    *,
    by: str,
    why: str,
    is_sure: bool,
    instance: Path | None,
) -> None:
    with _store(instance) as store:
        now = utc_now()
        with store.database.reading() as session:
            access = _access(session, by, case, now)
            going = check_erasable(session, access, store.blobs, what, found(session, access))
        for line in going_says(going):
            click.echo(line)
        if not is_sure:
            click.echo(NOTHING_YET)
            return
        command = Erase(what, going.subject_id, why, day_at(now, access.zone))
        with store.database.transaction() as session:
            going = erase_it(session, access, store.blobs, command, now)
        _sweep(store)
        left = [e for e in going.files if not e.is_kept and store.blobs.size_of(e.digest)]
        click.echo("Erased." if not left else f"Erased. {LEFT.format(len(left))}")


def _sweep(store: Store) -> None:
    """Do at once what the worker would do: delete the files that nothing names any more."""
    sweeper = file_sweeper(store.database, store.blobs, utc_now)
    Worker(store.database, {SWEEP_FILES: sweeper}, utc_now).run_waiting()


@click.group()
def hold() -> None:
    """Legal hold: while a case is held, nothing of it is erased."""


@hold.command()
@click.argument("case", type=int)
@acting
def place(case: int, by: str, why: str, instance: Path | None) -> None:
    """Put CASE under legal hold."""
    _hold(place_hold, case, by, why, instance)
    click.echo(f"Case {case} is under legal hold; nothing of it is erased until that is lifted.")


@hold.command()
@click.argument("case", type=int)
@acting
def lift(case: int, by: str, why: str, instance: Path | None) -> None:
    """Lift the legal hold on CASE."""
    _hold(lift_hold, case, by, why, instance)
    click.echo(f"The legal hold on case {case} is lifted.")


@hold.command(name="list")
@instance_option
def list_holds(instance: Path | None) -> None:
    """List the cases under legal hold."""
    with _store(instance) as store, store.database.reading() as session:
        held = list(holds(session))
    for each in held:
        click.echo(f"case {each.number}  {each.says}")
    if not held:
        click.echo("No case is under legal hold.")


def _hold(verb: Command, case: int, by: str, why: str, instance: Path | None) -> None:
    now = utc_now()
    with _store(instance) as store, store.database.transaction() as session:
        access = _access(session, by, case, now)
        verb(session, access, why, day_at(now, access.zone), now)


@contextmanager
def _store(instance: Path | None) -> Iterator[Store]:
    settings = load_settings(instance)
    database = Database(settings.database_url)
    schema.refuse_old(database.engine)
    try:
        yield Store(database, BlobStore(settings.files_dir))
    finally:
        database.dispose()


def _access(session: Session, by: str, case: int, now: datetime) -> CaseAccess:
    person = person_by_email(session, by)
    if person.revoked_at is not None:
        raise NotAllowed(f"{by} can no longer sign in, and so can erase nothing.")
    try:
        return case_for(session, person.id, case, now)
    except NotFound as error:
        raise NotFound(f"{by} is not on case {case}, or there is no such case.") from error
