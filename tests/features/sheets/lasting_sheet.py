"""A sheet that both signed, stamped by a real time authority whose issuer answers for it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from referral.clock import utc_now
from referral.sheets.authority import IssuedKey
from referral.sheets.drafts import Lookups
from referral.sheets.lasting import issued_material, with_material
from referral.sheets.printing import field_name
from referral.sheets.signing import SigningAct, sign
from referral.sheets.snapshot import SIGNERS, SheetKind
from referral.sheets.stamping import InstanceStamper
from tests.features.sheets.issuing import Issuer, an_issuer_that_answers
from tests.features.sheets.sample import Signed, signed_sheet
from tests.features.sheets.time_authority import TimeAuthority, a_time_authority

ROLES = ("vet", "farrier")


@dataclass(frozen=True)
class Desk:
    """What a lasting signature is made with."""

    sheet: Signed
    issuer: Issuer
    time: TimeAuthority

    @property
    def lookups(self) -> Lookups:
        return Lookups((self.issuer.host,))

    def stamped(
        self, pdf: bytes, role: str = "vet", key: IssuedKey | None = None
    ) -> tuple[bytes, InstanceStamper]:
        """Return the PDF with one more stamped signature, and nothing to check it later by."""
        at = utc_now()
        stamper = InstanceStamper(self.time.address, at, self.time.root.read_bytes())
        certifies = role == SIGNERS[self.sheet.snapshot.kind][0]
        act = SigningAct(field_name(role), certifies, "As printed", None, at)
        key = key or self.sheet.keys[role]
        return sign(pdf, self.sheet.authority, key, act, stamper), stamper

    def lasting(
        self, pdf: bytes, role: str = "vet", lookups: Lookups | None = None
    ) -> tuple[bytes, bool]:
        """Return the PDF with one more signature, stamped, and whether it carries its proofs."""
        signed, stamper = self.stamped(pdf, role)
        key = self.sheet.keys[role]
        material = issued_material(self.sheet.authority, key, stamper.at)
        return with_material(signed, key, material, stamper, lookups or self.lookups)


@dataclass(frozen=True)
class Lasting:
    """The sheet before and after each signature, its proofs included, and when it was made."""

    desk: Desk
    once: bytes
    twice: bytes
    made_at: datetime

    @property
    def unsigned(self) -> bytes:
        return self.desk.sheet.unsigned


@contextmanager
def a_desk(
    folder: Path, named: str = "named_list", kind: SheetKind = SheetKind.AGREED_PLAN
) -> Iterator[Desk]:
    """Give one; ``named`` is how its time authority's certificate says who answers for it."""
    made_at = utc_now().replace(microsecond=0) - timedelta(minutes=30)
    sheet = signed_sheet(folder / "authority", kind, made_at)
    with an_issuer_that_answers(folder / "issuer") as issuer:
        words = getattr(issuer, named)() if named else ""
        with a_time_authority(folder / "tsa", issuer, words) as time:
            yield Desk(sheet, issuer, time)


def signed_by_both(desk: Desk) -> Lasting:
    once, _lasts = desk.lasting(desk.sheet.unsigned, "vet")
    twice, _lasts = desk.lasting(once, "farrier")
    return Lasting(desk, once, twice, utc_now())
