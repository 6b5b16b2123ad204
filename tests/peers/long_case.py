"""A case of sixty resets, and each kind of sheet that is made of it at its end."""

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pytest

from referral.cases.remarks import close_case
from referral.cases.service import Words
from referral.sheets import sealing
from referral.sheets.snapshot import SheetKind
from referral.storage.db import Database
from tests.factories import READINGS, typed_readings
from tests.features.resets.story import SHOE, Story, a_story
from tests.features.sheets.test_letters import drafted, signed

RESETS = 60
WHY = "The wall broke away at the inside quarter when the old nails were drawn. "
LONG = WHY * 12


@dataclass(frozen=True)
class LongCase:
    """The signed file of each kind, and the days of the resets."""

    story: Story
    sheets: dict[SheetKind, bytes]
    days: tuple[date, ...]


def one_round(story: Story, n: int, **changed: object) -> date:
    """Measure, plan, agree, fit and countersign once more; return the day of the fitting."""
    with story.database.transaction() as session:
        vet = story.access(session, "vet")
        grown = READINGS["palmar_angle_deg"] + n / 20
        typed_readings(session, vet, story.now, palmar_angle_deg=grown)
    story.submit(**changed)
    story.agree(n)
    story.move(days=1)
    reasons = {"LF.heel_trim_mm": LONG} if n in (7, RESETS) else {}
    fitted = story.fitted(n, reasons, **changed, **({"heel_trim_mm": 3.0} if reasons else {}))
    if n == RESETS:
        fitted = replace(fitted, found=LONG, comfort=LONG, advice=LONG)
    story.sign_first("farrier", story.propose_reset(fitted))
    story.countersign(n)
    return fitted.fitted_on


def a_long_case(database: Database, folder: Path) -> LongCase:
    """Return one. The sheets before the last of each kind are not printed: nobody reads them."""
    story, days = a_story(database, folder), []
    story.refer(with_film=True)
    sheets = {}
    kept = signed(story, drafted(story, SheetKind.REFERRAL, LONG))
    sheets[SheetKind.REFERRAL] = story.office.blobs.get(kept.pdf_sha256)
    with pytest.MonkeyPatch.context() as quick:
        office = story.office
        story.office = replace(office, printing=lambda snapshot, _pictures: snapshot.to_json())
        quick.setattr(sealing, "sign", lambda pdf, *_how: pdf + b".")
        for n in range(1, RESETS):
            days.append(one_round(story, n))
            story.move(weeks=5)
    story.office = office
    shoe = {**SHOE, "size_label": "Forge-made, seven and a half"}
    days.append(one_round(story, RESETS, shoe=shoe))
    sheets |= {
        kind: story.office.blobs.get(story.latest(kind.value).pdf_sha256)
        for kind in (SheetKind.AGREED_PLAN, SheetKind.AS_FITTED)
    }
    sheets[SheetKind.OWNER_COPY] = letter(story, SheetKind.OWNER_COPY)
    with story.database.transaction() as session:
        vet = story.access(session, "vet")
        close_case(session, vet, "improved", Words(LONG, story.today), story.now)
    sheets[SheetKind.CLOSING] = letter(story, SheetKind.CLOSING)
    return LongCase(story, sheets, tuple(days))


def letter(story: Story, kind: SheetKind) -> bytes:
    kept = signed(story, drafted(story, kind, LONG))
    return story.office.blobs.get(kept.pdf_sha256)
