"""The command that checks a copy of a sheet."""

import json
from pathlib import Path

import click

from referral.clock import utc_now
from referral.errors import Invalid
from referral.sheets.verify import Lookup, Verification, verify_pdf


@click.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option(
    "--instance",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    help="The instance that is said to have issued it.",
)
@click.option(
    "--root",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="An authority's root certificate (PEM), where there is no instance to ask.",
)
@click.option(
    "--crl",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="That authority's list of withdrawn certificates (PEM).",
)
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
def verify(
    file: Path, instance: Path | None, root: Path | None, crl: Path | None, *, as_json: bool
) -> int:
    """Say who signed FILE, when, and whether anything was changed since.

    Exit status 0: all good; 1: changed, untrusted or incomplete; 2: unreadable.
    """
    if instance and root:
        raise Invalid("Name an instance or a root certificate, not both.")
    data = file.read_bytes()
    answer = _by_instance(data, instance) if instance else _alone(data, root, crl)
    click.echo(json.dumps(answer.to_dict(), indent=1) if as_json else "\n".join(answer.says))
    return answer.exit_status


def _alone(data: bytes, root: Path | None, crl: Path | None) -> Verification:
    return verify_pdf(data, _read(root), _read(crl))


def _read(path: Path | None) -> bytes | None:
    return path.read_bytes() if path else None


def _by_instance(data: bytes, instance: Path) -> Verification:
    from referral.settings import load_settings  # noqa: PLC0415 - loaded when asked for
    from referral.sheets.office import authority_of  # noqa: PLC0415 - loaded when asked for
    from referral.sheets.queries import issued_lookup  # noqa: PLC0415 - loaded when asked for
    from referral.storage.db import Database  # noqa: PLC0415 - loaded when asked for

    settings, now = load_settings(instance), utc_now()
    authority = authority_of(settings, now)
    with Database(settings.database_url).reading() as session:
        lookup: Lookup = issued_lookup(session)
        return verify_pdf(data, authority.root_pem, authority.crl(now), lookup)
