"""How long a sheet takes, from the rows to two signatures, beside WeasyPrint on the same HTML."""

import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.queries import case_for, people_on
from referral.clock import utc_now
from referral.exchange.bench_upload import Place, a_case
from referral.exchange.story_steps import STEPS, Telling
from referral.exchange.timing import medians_ms
from referral.plans.queries import plan_of
from referral.rulebook.loader import load_rulebook
from referral.settings import Settings, load_settings
from referral.sheets.authority import IssuedKey
from referral.sheets.drafts import Office
from referral.sheets.making import SheetWanted, make_snapshot
from referral.sheets.office import authority_of
from referral.sheets.printing import field_name, print_sheet, sheet_html
from referral.sheets.signing import SigningAct, sign
from referral.sheets.snapshot import SIGNERS, Agreement, SheetKind, Snapshot
from referral.storage import schema
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.ids import new_id
from referral.web.pdf import VARIANT, house_fonts

AT_MOST = 15
BETWEEN_MOVES = timedelta(minutes=5)
SHOE = {"category": "straight_bar", "material": "steel", "thickness_mm": 10.0}
PLAN = {"toe_trim_mm": 4.0, "heel_trim_mm": 0.0, "interval_weeks": 5.0, "shoe": SHOE}
MOVES: tuple[tuple[str, str, Mapping[str, Any]], ...] = (
    ("vet", "problem", {"limb": "LF", "condition": "under_run_heels", "certainty": "confirmed"}),
    ("vet", "film", {"limb": "LF", "foot": {}}),
    (
        "vet",
        "limit",
        {"measure": "palmar_angle_deg", "stage": "after_fit", "at_least": 3.0, "strength": "must"},
    ),
    ("vet", "refer", {"limbs": ["LF"], "urgency": "routine", "goals": "Raise the angle."}),
    ("farrier", "acknowledge", {}),
    (
        "farrier",
        "plan",
        {"limbs": {"LF": PLAN}, "words": "It is what this foot allows."},
    ),
)


@dataclass(frozen=True, slots=True)
class Desk:
    """A case with a judged plan, and who would sign it; ``now`` is when its story ends."""

    folder: Path
    place: Place
    office: Office
    keys: Mapping[str, IssuedKey]
    now: datetime


def sheet_figures() -> Mapping[str, str]:
    """Return how long WeasyPrint alone takes, the sheet without signatures, and the whole."""
    with a_desk(utc_now() - timedelta(hours=1), MOVES) as desk:
        snapshot, pictures = _snapshot(desk)
        html = sheet_html(snapshot, pictures)
        unsigned = print_sheet(snapshot, pictures)
        alone_ms, made_ms, signed_ms = medians_ms(
            [
                lambda: _weasyprint_alone(html),
                lambda: print_sheet(*_snapshot(desk)),
                lambda: _sign_twice(desk, unsigned),
            ],
            AT_MOST,
        )
    return {
        "WeasyPrint alone on the same HTML": f"{alone_ms:.0f} ms",
        "snapshot, picture, HTML, PDF/A with its fields": f"{made_ms:.0f} ms",
        "the same over WeasyPrint alone": f"{made_ms / alone_ms:.2f}",
        "two signatures": f"{signed_ms:.0f} ms",
        "a signature": f"{signed_ms / 2:.0f} ms",
        "the whole over (1.3 WeasyPrint alone + 60 ms a signature)": (
            f"{(made_ms + signed_ms) / (1.3 * alone_ms + 120):.2f}"
        ),
    }


def _weasyprint_alone(html: str) -> bytes:
    from weasyprint import HTML  # noqa: PLC0415 - heavy

    fonts, css = house_fonts()
    with warnings.catch_warnings():
        # WeasyPrint leaves its colour profile's file for the garbage collector to close.
        warnings.filterwarnings("ignore", "unclosed file", ResourceWarning)
        page = HTML(string=html)
        data: bytes = page.write_pdf(stylesheets=[css], font_config=fonts, pdf_variant=VARIANT)
    return data


def _snapshot(desk: Desk) -> tuple[Snapshot, Mapping[str, bytes]]:
    with desk.place.database.reading() as session:
        access = desk.place.access
        sheet_id = new_id(desk.now)
        wanted = SheetWanted(
            sheet_id=sheet_id,
            kind=SheetKind.AGREED_PLAN,
            plan=plan_of(session, access.case_id, 1),
            waivers={},
            agreements=(Agreement("vet", "vet", desk.now, "Plan 1"),),
            replaces=None,
            instance=desk.office.instance,
            check_url=desk.office.check_page(sheet_id),
            made_at=desk.now,
        )
        return make_snapshot(session, access, desk.place.blobs, wanted)


def _sign_twice(desk: Desk, pdf: bytes) -> bytes:
    for role in SIGNERS[SheetKind.AGREED_PLAN]:
        act = SigningAct(field_name(role), role == "vet", "As printed", None, desk.now)
        pdf = sign(pdf, desk.office.authority, desk.keys[role], act)
    return pdf


Told = tuple[str, str, Mapping[str, Any]]


@contextmanager
def a_desk(start: datetime, moves: Sequence[Told]) -> Iterator[Desk]:
    """Give a case of an instance of its own, taken that far by its people."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "config.toml").touch()
        settings = load_settings(folder, {})
        schema.upgrade(settings.database_url)
        database = Database(settings.database_url)
        with database.transaction() as session:
            opened = a_case(session)
        blobs = BlobStore(settings.files_dir)
        office = _office(settings, blobs, start)
        now = start + BETWEEN_MOVES * len(moves)
        keys = {
            role: office.authority.issue(role, role, role, None, now) for role in ("vet", "farrier")
        }
        desk = Desk(folder, Place(database, blobs, opened), office, keys, now)
        take(desk, moves, start)
        yield desk
        database.dispose()


def take(desk: Desk, moves: Sequence[Told], start: datetime) -> None:
    """Have the people of a case make moves, one after the other."""
    for at, (who, what, step) in enumerate(moves):
        with desk.place.database.transaction() as session:
            access = _access(session, desk.place.access, who)
            when = start + BETWEEN_MOVES * at
            STEPS[what](Telling(session, access, desk.office, when, when.date(), step))


def _office(settings: Settings, blobs: BlobStore, now: datetime) -> Office:
    authority = authority_of(settings, now)
    return Office(blobs, load_rulebook(), authority, settings.instance_name, "http://localhost")


def _access(session: Session, opened: CaseAccess, who: str) -> CaseAccess:
    person = next(
        person.id
        for member, person, _organisation in people_on(session, opened.case_id)
        if member.role == who
    )
    return case_for(session, person, opened.number)
