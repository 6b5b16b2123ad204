"""`referral demo`: tell the story: people, horses, films, cases and signed sheets."""

import hashlib
import json
import shutil
from pathlib import Path
from typing import Any

import click

from referral.clock import today_in
from referral.errors import Invalid
from referral.settings import Settings, load_settings

MARK = "demo.json"
STORY = "story"
SHEETS = "sheets"
MADE_BY = b"teller 7"
"""Counts up when the same story is told into another shape, so that the demo is built anew."""


@click.group()
def demo() -> None:
    """Build the demo."""


@demo.command()
@click.option(
    "--instance", type=click.Path(path_type=Path, file_okay=False, exists=True), required=True
)
@click.option("--fresh", is_flag=True, help="Build it anew, though nothing has changed.")
def build(instance: Path, *, fresh: bool) -> None:
    """Build the demo of an instance, unless it stands already."""
    settings = load_settings(instance)
    if not settings.demo:
        raise Invalid("This instance is not marked as a demo, so no story is told in it.")
    digest = _digest(instance / STORY)
    mark = instance / "var" / MARK
    if fresh or not _stands(mark, digest):
        if mark.parent.exists():
            shutil.rmtree(mark.parent)
        settings = load_settings(instance)
        _build(settings, instance, digest, mark)
    _introduce(json.loads(mark.read_text()))


def _digest(folder: Path) -> str:
    together = hashlib.sha256(MADE_BY)
    for path in sorted(folder.glob("*.toml")):
        together.update(path.name.encode() + path.read_bytes())
    return together.hexdigest()


def _stands(mark: Path, digest: str) -> bool:
    try:
        return bool(json.loads(mark.read_text())["story"] == digest)
    except (OSError, ValueError, KeyError):
        return False


def _build(settings: Settings, instance: Path, digest: str, mark: Path) -> None:
    from referral.accounts.passwords import Passwords  # noqa: PLC0415 - heavy, when building only
    from referral.exchange.story import Stage, copy_sheets, tell  # noqa: PLC0415 - likewise
    from referral.rulebook.loader import load_rulebook  # noqa: PLC0415 - likewise
    from referral.storage import schema  # noqa: PLC0415 - likewise
    from referral.storage.blobs import BlobStore  # noqa: PLC0415 - likewise
    from referral.storage.db import Database  # noqa: PLC0415 - likewise
    from referral.web.wiring import Wiring  # noqa: PLC0415 - likewise

    click.echo("Building the demo: films, plans, findings, signed sheets. This takes a minute.")
    schema.upgrade(settings.database_url)
    wired = Wiring(
        settings=settings,
        database=Database(settings.database_url),
        blobs=BlobStore(settings.files_dir),
        rulebook=load_rulebook(),
        passwords=Passwords(),
    )
    stage = Stage(wired, wired.passwords, today_in(settings.zone))
    cast, numbers = tell(stage, instance / STORY, lambda said: click.echo(f"  {said}"))
    sheets = copy_sheets(stage, numbers, instance / "var" / SHEETS)
    wired.database.dispose()
    mark.write_text(
        json.dumps(
            {
                "story": digest,
                "password": cast.password,
                "people": [
                    [cast.names[key], member.role.value, cast.emails[key]]
                    for key, member in cast.people.items()
                ],
                "cases": list(numbers),
                "sheets": [sheet.name for sheet in sheets],
            },
            indent=1,
        )
    )


def _introduce(told: dict[str, Any]) -> None:
    click.echo("The demo stands. Everybody's password: " + told["password"])
    for name, role, email in told["people"]:
        click.echo(f"  {role:<12} {name:<22} {email}")
    click.echo(f"Cases {', '.join(str(each) for each in told['cases'])}: open one from the desk,")
    click.echo("  follow its timeline, and open a sheet.")
    folder = f"instance_demo/var/{SHEETS}"
    click.echo(f"{len(told['sheets'])} sheets signed by both lie in {folder};")
    click.echo(f"  try: .venv/bin/referral verify {folder}/{told['sheets'][0]}")
    click.echo("Nothing here is for real use: people, places, horses and films are invented.")
