"""The command that checks a copy of a sheet."""

import json
from pathlib import Path

import click

from referral.clock import utc_now
from referral.errors import Invalid
from referral.settings import CONFIG_NAME, instance_named, load_settings
from referral.sheets.copies import Verification
from referral.sheets.verify import verify_pdf
from referral.storage.given import MEBIBYTE, STANDARD_INPUT, read_given

LARGEST_SHEET = 50 * MEBIBYTE
LARGEST_CERTIFICATE = MEBIBYTE


@click.command()
@click.argument("file")
@click.option(
    "--instance",
    type=click.Path(path_type=Path),
    help="The instance that is said to have issued it; else REFERRAL_INSTANCE, else the one "
    "whose folder FILE lies in.",
)
@click.option("--root", help="An authority's root certificate (PEM), in place of an instance.")
@click.option("--crl", help="That authority's list of withdrawn certificates (PEM).")
@click.option(
    "--time-root", help="The only root certificates (PEM) whose time stamps count, with --root."
)
def verify(
    file: str, instance: Path | None, root: str | None, crl: str | None, time_root: str | None
) -> int:
    """Say as JSON who signed FILE, when, and whether anything was changed since.

    Exit status 0: all good; 1: changed, untrusted, incomplete, or no authority is known;
    2: unreadable.
    """
    if instance and root:
        raise Invalid("Name an instance or a root certificate, not both.")
    if time_root and not root:
        raise Invalid(
            "With --time-root, name --root too: an instance names its own in its settings."
        )
    data = read_given(file, LARGEST_SHEET)
    folder = None if root else instance or instance_named() or _instance_above(file)
    if folder is None:
        known = _certificate(root), _certificate(crl)
        answer = verify_pdf(data, *known, now=utc_now(), time_root_pem=_certificate(time_root))
    else:
        answer = _by_instance(data, folder)
    if answer.damaged:
        raise Invalid(f"{file}: {answer.damaged}")
    click.echo(json.dumps(answer.to_dict(), indent=2, ensure_ascii=False, allow_nan=False))
    return answer.exit_status


def _certificate(name: str | None) -> bytes | None:
    data = None if name is None else read_given(name, LARGEST_CERTIFICATE)
    if data is not None and b"-----BEGIN " not in data:
        raise Invalid(f"{name}: this is not in PEM form; name the authority's own .pem file.")
    return data


def _instance_above(file: str) -> Path | None:
    """Return the nearest folder above a file that is an instance in use."""
    if file == STANDARD_INPUT:
        return None
    for folder in Path(file).resolve().parents:
        if (folder / CONFIG_NAME).is_file() and (folder / "var").is_dir():
            return folder
    return None


def _by_instance(data: bytes, folder: Path) -> Verification:
    from referral.sheets.keys import withdrawn_list  # noqa: PLC0415 - heavy
    from referral.sheets.office import authority_folder, authority_of  # noqa: PLC0415 - heavy
    from referral.sheets.queries import issued_lookup  # noqa: PLC0415 - heavy
    from referral.storage import schema  # noqa: PLC0415 - heavy
    from referral.storage.db import Database  # noqa: PLC0415 - heavy

    settings, now = load_settings(folder), utc_now()
    database = Database(settings.database_url)
    try:
        schema.refuse_old(database.engine)
        root_pem = crl_pem = None
        with database.reading() as session:
            if authority_folder(settings).is_dir():
                authority = authority_of(settings, now)
                root_pem, crl_pem = authority.root_pem, withdrawn_list(session, authority, now)
            lookup, time_root = issued_lookup(session), settings.time_authority_root
            return verify_pdf(data, root_pem, crl_pem, lookup, now, time_root)
    finally:
        database.dispose()
