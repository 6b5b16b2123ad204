"""What is said of a copy of a sheet: who signed when, how long that holds, what was changed."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from typing import Any

from referral.sheets.wording import Level, stamped
from referral.web.written import day

ALL_GOOD, NOT_GOOD, UNREADABLE = 0, 1, 2
LASTS = "The file carries what is needed to check that later, without asking anybody."
LASTS_NOT = "What is needed to check that later, when certificates have ended, is not in the file."
SINCE: Mapping[str, str] = {
    "ended": "The certificate has ended since; it counted when this was signed.",
    "withdrawn": "The certificate was withdrawn since; it counted when this was signed.",
}


@dataclass(frozen=True, slots=True)
class Issued:
    """What the instance knows of a copy: whether it issued these very bytes, what came of them.

    ``sheet_id`` is the sheet that they are a state of, ``signed_since`` whether that sheet was
    signed again after them, ``own`` who issued each certificate that its signers brought
    themselves, by serial number, ``erased`` when this instance erased its own files of it.
    """

    here: bool
    replaced_by: str | None = None
    sheet_id: str | None = None
    signed_since: bool = False
    own: Mapping[str, str] = field(default_factory=dict)
    erased: datetime | None = None


Lookup = Callable[[str, str | None], Issued]
"""From the SHA-256 of the file and the sheet's id inside it (None if it has none)."""


@dataclass(frozen=True, slots=True)
class SignatureFound:
    """One signature. ``timestamp`` is a time authority's, None where ``when`` is only claimed.

    ``timestamp_by`` is who its certificate says it is. A time stamp that is not sound is none,
    and the signature is then not trusted; nor is it with a ``foreign_stamp``, which is sound but
    of none of the time authorities that the checker named. ``printed`` is the name that the sheet
    shows, ``who`` the certificate's, ``issuer`` who issued that. ``own``: the signer brought it
    themselves, as this instance has on record for these very bytes; its authority says nothing of
    it.
    ``level`` is how long it can be checked by what the file carries, None if it is not intact.
    ``since``: the certificate has by now ``ended``, or was at any time ``withdrawn``.
    """

    field: str
    who: str
    role: str | None
    organisation: str | None
    when: str | None
    covers: str
    intact: bool
    trusted: bool
    timestamp: str | None
    timestamp_by: str | None
    spoiled_stamp: bool
    foreign_stamp: bool
    printed: str
    issuer: str
    serial: str
    level: Level | None
    since: str | None
    own: bool


@dataclass(frozen=True, slots=True)
class Verification:
    """The answer on one copy.

    ``intact``: no signed byte was changed. ``changes_after``: what was added after a signature,
    one of ``none material signatures other`` (material is what a later check needs). ``missing``:
    fields that nobody signed. ``carried_fault``: what is wrong with that material.
    ``issued_here`` is None when there is no instance to ask. ``signed_since``: the sheet has been
    signed again since this copy. ``erased``: when the instance erased its own files of it.
    ``issued_as`` is the id of the sheet that the instance issued with these very bytes,
    ``sheet_id`` the one that the file itself claims.
    """

    intact: bool
    signatures: tuple[SignatureFound, ...]
    changes_after: str
    missing: tuple[str, ...]
    issued_here: bool | None
    replaced_by: str | None
    signed_since: bool
    erased: str | None
    issued_as: str | None
    sheet_id: str | None
    sha256: str
    damaged: str | None
    carried_fault: str | None
    says: tuple[str, ...]

    @property
    def exit_status(self) -> int:
        """0 all good; 1 tampered with, untrusted or incomplete; 2 unreadable."""
        if self.damaged:
            return UNREADABLE
        good = (
            self.intact
            and bool(self.signatures)
            and not self.missing
            and self.changes_after != "other"
            and not self.carried_fault
            and self.issued_here is not False
            and all(found.trusted or found.own for found in self.signatures)
        )
        return ALL_GOOD if good else NOT_GOOD

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as plain data for JSON."""
        return asdict(self)


def damaged(digest: str, fault: Exception) -> Verification:
    """Return the answer on what cannot be read."""
    why = f"This file is damaged, or is not a PDF: {fault}".splitlines()[0]
    return Verification(
        intact=False,
        signatures=(),
        changes_after="other",
        missing=(),
        issued_here=None,
        replaced_by=None,
        signed_since=False,
        erased=None,
        issued_as=None,
        sheet_id=None,
        sha256=digest,
        damaged=why,
        carried_fault=None,
        says=(why,),
    )


def in_words(answer: Verification, *, root_known: bool) -> Verification:
    """Return the answer with what it says in sentences."""
    return replace(answer, says=tuple(_sentences(answer, root_known=root_known)))


def _sentences(answer: Verification, *, root_known: bool) -> Sequence[str]:
    says = [_about(found, root_known=root_known) for found in answer.signatures]
    if not answer.signatures:
        says.append("Nobody has signed this file.")
    says += [f"The field {name} is not signed." for name in answer.missing]
    if answer.signatures and answer.intact and answer.changes_after == "other":
        says.append("Something other than a signature was changed after signing.")
    if answer.carried_fault:
        says.append(answer.carried_fault)
    if answer.issued_here is False:
        says.append("This instance did not issue this file as it is.")
    if answer.signed_since:
        says.append("This sheet was signed again after this copy; ask for the later one.")
    if answer.erased:
        erased = day(datetime.fromisoformat(answer.erased))
        says.append(f"It was issued here, and erased here on {erased}; this copy is as it was.")
    if answer.replaced_by:
        says.append(f"A newer sheet replaces it: {answer.replaced_by}.")
    return says


def _about(found: SignatureFound, *, root_known: bool) -> str:
    if not found.intact:
        return f"{found.who}: the signed bytes were changed after signing."
    if found.foreign_stamp:
        return (
            f"{found.who}: intact, but the time stamp is of {found.timestamp_by}, which is none of "
            "the time authorities that are trusted here; when this was signed is not shown."
        )
    if found.own:
        return _with_stamp(
            f"{found.printed}: intact, signed with a certificate that they brought, of "
            f"{found.who}, issued by {found.issuer}; this instance’s authority says nothing of it",
            found,
        )
    if not root_known:
        return f"{found.who}: intact, but no authority is known here to trust the signer by."
    if not found.trusted:
        return f"{found.who}: intact, but the signer is not one this authority vouches for."
    return _with_stamp(f"{found.who}: intact, and the signer is known", found)


def _with_stamp(said: str, found: SignatureFound) -> str:
    """Return a sentence with who stamped when, how long that holds, and what became of the key."""
    more = [SINCE[found.since]] if found.since else []
    if found.timestamp is None:
        return " ".join([f"{said}.", *more])
    stamp = stamped(datetime.fromisoformat(found.timestamp), found.timestamp_by)
    lasts = LASTS if found.level is Level.LASTING else LASTS_NOT
    return " ".join([f"{said}; {stamp}.", lasts, *more])
