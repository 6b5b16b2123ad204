"""The `referral` command. Each subcommand is imported only when it is asked for."""

import logging
import secrets
import socket
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click

from referral.core.errors import CoreError
from referral.errors import Invalid, ReferralError

PROGRAM = "referral"
WRONG = 1
UNUSABLE = 2
OUR_FAULT = 3
INTERRUPTED = 130
PORTS_TRIED = 50
THREADS = 8

LAZY: Mapping[str, str] = {
    "accounts": "referral.accounts.commands:accounts",
    "bench": "referral.exchange.bench:bench",
    "demo": "referral.exchange.demo:demo",
    "erase": "referral.erasing.commands:erase",
    "film": "referral.films.commands:film",
    "hold": "referral.erasing.commands:hold",
    "judge": "referral.exchange.commands:judge",
    "measure": "referral.exchange.commands:measure",
    "predict": "referral.exchange.commands:predict",
    "rules": "referral.exchange.rule_commands:rules",
    "verify": "referral.sheets.commands:verify",
    "window": "referral.exchange.commands:window",
}
"""Subcommand to ``module:attribute``; one whose module is not installed is not offered."""


class LazyGroup(click.Group):
    """A group that imports a subcommand when it is named."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all subcommands, sorted."""
        lazy = [name for name, where in LAZY.items() if _is_there(where)]
        return sorted([*super().list_commands(ctx), *lazy])

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a subcommand, imported now if it is a lazy one."""
        where = LAZY.get(cmd_name)
        if where is None or not _is_there(where):
            return super().get_command(ctx, cmd_name)
        module, _, attribute = where.partition(":")
        command: click.Command = getattr(import_module(module), attribute)
        return command


def _is_there(where: str) -> bool:
    return find_spec(where.partition(":")[0]) is not None


@click.group(name=PROGRAM, cls=LazyGroup)
def group() -> None:
    """Work on an instance, or with worksheets, films and sheets."""


instance_option = click.option(
    "--instance",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="The instance folder; REFERRAL_INSTANCE if left out.",
)


@group.group()
def db() -> None:
    """Look after the database."""


@db.command()
@instance_option
def upgrade(instance: Path | None) -> None:
    """Bring the database to the newest shape."""
    from referral.settings import load_settings  # noqa: PLC0415 - loaded when asked for
    from referral.storage import schema  # noqa: PLC0415 - loaded when asked for

    revision = schema.upgrade(load_settings(instance).database_url)
    click.echo(f"The database is at {revision or 'the beginning'}.")


@db.command()
@instance_option
def check(instance: Path | None) -> int:
    """Walk every chain of entries and every file that a row names; exit 1 if any is wrong."""
    from referral.erasing.checking import check_record  # noqa: PLC0415 - loaded when asked for
    from referral.settings import load_settings  # noqa: PLC0415 - loaded when asked for
    from referral.storage import schema  # noqa: PLC0415 - loaded when asked for
    from referral.storage.blobs import BlobStore  # noqa: PLC0415 - loaded when asked for
    from referral.storage.db import Database  # noqa: PLC0415 - loaded when asked for

    settings = load_settings(instance)
    database = Database(settings.database_url)
    schema.refuse_old(database.engine)
    with database.reading() as session:
        checked = check_record(session, BlobStore(settings.files_dir))
    database.dispose()
    for fault in checked.faults:
        click.echo(fault)
    if checked.faults:
        return WRONG
    click.echo(
        f"All whole: {checked.cases} cases, {checked.entries} entries, {checked.files} files."
    )
    if checked.unnamed:
        click.echo(
            f"Files that no record names, which go with the next erasure: {checked.unnamed}."
        )
    return 0


@group.command()
@instance_option
@click.option("--port", type=click.IntRange(1, 65535), default=None, help="8000 if left out.")
def serve(instance: Path | None, port: int | None) -> None:
    """Serve an instance on this machine."""
    import waitress  # type: ignore[import-untyped]  # noqa: PLC0415 - loaded when asked for

    from referral.app import LARGEST_REQUEST_BYTES, create_app, wire  # noqa: PLC0415 - loaded when asked for
    from referral.settings import load_settings  # noqa: PLC0415 - loaded when asked for
    from referral.storage import schema  # noqa: PLC0415 - loaded when asked for
    from referral.storage.working import worker_beside  # noqa: PLC0415 - loaded when asked for

    settings = load_settings(instance)
    wired = wire(settings)
    schema.refuse_old(wired.database.engine)
    listening = free_socket(settings.host, port or settings.port)
    used = listening.getsockname()[1]
    if used != (port or settings.port):
        click.echo(f"Port {port or settings.port} is taken, so this is on {used}.")
    click.echo(f"Open http://localhost:{used}")
    with worker_beside(settings.instance_dir) as wake:
        waitress.serve(
            create_app(settings, replace(wired, work=wake)),
            sockets=[listening],
            threads=THREADS,
            ident=None,
            max_request_body_size=LARGEST_REQUEST_BYTES,
        )


@group.command()
@instance_option
@click.option("--beside", is_flag=True, help="End when standard input is closed.")
def worker(instance: Path | None, *, beside: bool) -> None:
    """Do the work that waits: read films, and whatever else takes long."""
    from referral.app import wire, worker_of  # noqa: PLC0415 - loaded when asked for
    from referral.settings import load_settings  # noqa: PLC0415 - loaded when asked for
    from referral.storage import schema  # noqa: PLC0415 - loaded when asked for
    from referral.storage.working import work_until_told  # noqa: PLC0415 - loaded when asked for

    wired = wire(load_settings(instance))
    schema.refuse_old(wired.database.engine)
    work_until_told(worker_of(wired), beside=beside)


def free_socket(host: str, port: int) -> socket.socket:
    """Return a listening socket on the port, or on the next free one.

    Raises
    ------
    Invalid
        If none of the next fifty is free.
    """
    for candidate in range(port, min(port + PORTS_TRIED, 65536)):
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, candidate))
            listening.listen(128)
        except OSError:
            listening.close()
        else:
            return listening
    raise Invalid(f"No port from {port} to {port + PORTS_TRIED - 1} is free on {host}.")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit status: 2 for unusable input, 3 for our own fault."""
    logging.basicConfig(format="%(levelname)s %(name)s: %(message)s")
    try:
        result: Any = group.main(arguments, prog_name=PROGRAM, standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return UNUSABLE
    except click.Abort:
        return INTERRUPTED
    except (ReferralError, CoreError) as error:
        click.echo(error.message, err=True)
        return UNUSABLE
    except Exception as error:  # noqa: BLE001 - a traceback is for the log, never for the person
        click.echo(_kept_for_us(error), err=True)
        return OUR_FAULT
    return result if isinstance(result, int) else 0


def _kept_for_us(error: Exception) -> str:
    log_id = secrets.token_hex(4)
    path = Path(tempfile.gettempdir()) / f"{PROGRAM}-{log_id}.log"
    handler = logging.FileHandler(path, encoding="utf-8")
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
    log = logging.getLogger(PROGRAM)
    log.addHandler(handler)
    log.propagate = False
    log.error("%s", log_id, exc_info=error)
    handler.close()
    log.removeHandler(handler)
    log.propagate = True
    return f"Something went wrong on our side: log id {log_id}, kept in {path}"


if __name__ == "__main__":
    sys.exit(main())
