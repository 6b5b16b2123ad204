"""The command that says what is understood of a film or picture file."""

import json
from pathlib import Path

import click

from referral.errors import Invalid, ReferralError
from referral.storage.decode.apart import Answer, in_a_child
from referral.storage.decode.film import describe, png_bytes, read_film
from referral.storage.given import MEBIBYTE, read_given

LARGEST_FILM = 200 * MEBIBYTE


@click.command()
@click.argument("file")
@click.option("--png", "png", metavar="OUT", help="Also write the 8-bit picture as PNG to OUT.")
def film(file: str, png: str | None) -> int:
    """Say what is understood of a film or picture file; - reads standard input.

    Exit status 0: read; 2: it cannot be read. Names of people and horses are never shown.
    """
    data = read_given(file, LARGEST_FILM)
    try:
        said, picture = in_a_child(lambda: _read(data, file, with_picture=png is not None))
    except ReferralError as error:
        raise Invalid(f"{file}: {error.message}") from error
    if png is not None:
        _write(Path(png), picture)
    click.echo(json.dumps(said, indent=2, ensure_ascii=False, allow_nan=False))
    return 0


def _read(data: bytes, name: str, *, with_picture: bool) -> Answer:
    decoded = read_film(data, name)
    return describe(decoded), png_bytes(decoded) if with_picture else b""


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError:
        raise Invalid(f"{path}: the picture cannot be written there; name another file.") from None
