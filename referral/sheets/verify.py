"""What any copy of a sheet is worth: who signed what when, and what was changed since."""

import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from referral.sheets.wording import ROLES, named, stamped
from referral.storage.canonical import sha256_hex

ALL_GOOD, NOT_GOOD, UNREADABLE = 0, 1, 2
ATTACHED = "handover.json"

WHOLE_FILE, WHOLE_REVISION, PART = "whole file", "whole file as it then was", "part of the file"


@dataclass(frozen=True, slots=True)
class Issued:
    """What the instance knows of a copy: whether it issued these very bytes, what came of them.

    ``sheet_id`` is the sheet that they are a state of, ``signed_since`` whether that sheet was
    signed again after them, ``own`` who issued each certificate that its signers brought
    themselves, by serial number.
    """

    here: bool
    replaced_by: str | None = None
    sheet_id: str | None = None
    signed_since: bool = False
    own: Mapping[str, str] = field(default_factory=dict)


Lookup = Callable[[str, str | None], Issued]
"""From the SHA-256 of the file and the sheet's id inside it (None if it has none)."""


@dataclass(frozen=True, slots=True)
class SignatureFound:
    """One signature. ``timestamp`` is a time authority's, None where ``when`` is only claimed.

    ``timestamp_by`` is who its certificate says it is. A time stamp that is not sound is none,
    and the signature is then not trusted. ``printed`` is the name that the sheet shows, ``who``
    the certificate's, ``issuer`` who issued that. ``own``: the signer brought it themselves, as
    this instance has on record for these very bytes; its authority says nothing of it.
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
    printed: str
    issuer: str
    serial: str
    own: bool


@dataclass(frozen=True, slots=True)
class Verification:
    """The answer on one copy.

    ``intact``: no signed byte was changed. ``changes_after``: what was added after a signature,
    one of ``none signatures other``. ``missing``: fields that nobody signed.
    ``issued_here`` is None when there is no instance to ask. ``signed_since``: the sheet has been
    signed again since this copy. ``issued_as`` is the id of the sheet that the instance issued
    with these very bytes, ``sheet_id`` the one that the file itself claims.
    """

    intact: bool
    signatures: tuple[SignatureFound, ...]
    changes_after: str
    missing: tuple[str, ...]
    issued_here: bool | None
    replaced_by: str | None
    signed_since: bool
    issued_as: str | None
    sheet_id: str | None
    sha256: str
    damaged: str | None
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
            and self.issued_here is not False
            and all(found.trusted or found.own for found in self.signatures)
        )
        return ALL_GOOD if good else NOT_GOOD

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as plain data for JSON."""
        return asdict(self)


def verify_pdf(
    data: bytes,
    root_pem: bytes | None,
    crl_pem: bytes | None = None,
    lookup: Lookup | None = None,
) -> Verification:
    """Return what a copy of a sheet is worth. Nothing is fetched; nothing in it is believed.

    ``root_pem`` is the authority's root, ``crl_pem`` its list of withdrawn certificates; with no
    root nobody is trusted. A signature is trusted when its certificate leads to the root, was
    valid at the time of signing and was not withdrawn by then (or ever, for a stolen key).
    """
    digest = sha256_hex(data)
    try:
        found, missing, changes, sheet_id = _read(data, root_pem, crl_pem)
    except Exception as fault:  # noqa: BLE001 - a hostile file may break the reader in any way
        return _damaged(digest, fault)
    issued = lookup(digest, sheet_id) if lookup else None
    if issued:
        found = tuple(_with_own(each, issued) for each in found)
    answer = Verification(
        intact=bool(found) and all(signature.intact for signature in found),
        signatures=found,
        changes_after=changes,
        missing=missing,
        issued_here=issued.here if issued else None,
        replaced_by=issued.replaced_by if issued else None,
        signed_since=issued is not None and issued.signed_since,
        issued_as=issued.sheet_id if issued else None,
        sheet_id=sheet_id,
        sha256=digest,
        damaged=None,
        says=(),
    )
    return _with_sentences(answer, root_known=root_pem is not None)


def _with_own(found: SignatureFound, issued: Issued) -> SignatureFound:
    """Return a signature with what the instance knows of the certificate it was made with."""
    own = found.intact and not found.spoiled_stamp and found.serial in issued.own
    return replace(found, own=issued.here and own)


_Read = tuple[tuple[SignatureFound, ...], tuple[str, ...], str, str | None]


def _read(data: bytes, root_pem: bytes | None, crl_pem: bytes | None) -> _Read:
    from pyhanko.pdf_utils.reader import PdfFileReader  # noqa: PLC0415 - heavy, on first use
    from pyhanko.sign.fields import enumerate_sig_fields  # noqa: PLC0415 - likewise

    reader = PdfFileReader(io.BytesIO(data), strict=True)
    missing = tuple(
        name for name, value, _ in enumerate_sig_fields(reader, with_name=None) if value is None
    )
    checked = [_signature(one, root_pem, crl_pem) for one in reader.embedded_regular_signatures]
    found = tuple(signature for signature, _ in checked)
    levels = [level for _, level in checked]
    changes = "other" if "other" in levels else "signatures" if "signatures" in levels else "none"
    return found, missing, changes, _sheet_id(reader)


def _signature(
    embedded: Any,  # noqa: ANN401 - pyHanko's own
    root_pem: bytes | None,
    crl_pem: bytes | None,
) -> tuple[SignatureFound, str]:
    from pyhanko.sign.validation import validate_pdf_signature  # noqa: PLC0415 - heavy

    claimed = embedded.self_reported_timestamp
    stamp_data = _stamp_of(embedded)
    status = validate_pdf_signature(
        embedded,
        _context(root_pem, claimed),
        ts_validation_context=stamp_context(stamp_data) if stamp_data is not None else None,
    )
    certificate = embedded.signer_cert
    whole = bool(status.intact and status.valid)
    stamp = status.timestamp_validity
    sound = stamp if stamp is not None and is_sound(stamp) else None
    known = root_pem is not None and not _withdrawn(
        certificate.serial_number, claimed, root_pem, crl_pem
    )
    found = SignatureFound(
        field=str(embedded.field_name),
        **_bearer(embedded),
        when=claimed.astimezone(UTC).isoformat() if claimed else None,
        covers=_covers(status.coverage),
        intact=whole,
        trusted=bool(whole and stamp is sound and known and status.trusted),
        timestamp=sound.timestamp.astimezone(UTC).isoformat() if sound else None,
        timestamp_by=named(sound.signing_cert.subject) if sound else None,
        spoiled_stamp=stamp is not sound,
        own=False,
    )
    return found, _changes(status)


def _bearer(embedded: Any) -> dict[str, Any]:  # noqa: ANN401 - pyHanko's own
    """Return who signed: as the certificate says, and as the sheet prints them."""
    certificate = embedded.signer_cert
    subject = certificate.subject.native
    return {
        "who": named(certificate.subject),
        "role": subject.get("title") or _role_of(embedded.field_name),
        "organisation": subject.get("organization_name"),
        "printed": str(embedded.sig_object.get("/Name", "")),
        "issuer": named(certificate.issuer),
        "serial": f"{certificate.serial_number:x}",
    }


def _role_of(field_name: str) -> str | None:
    """Return the role that a field of ours is for: certificates of others name none."""
    role = field_name.removeprefix("Sig_").lower()
    return role if role in ROLES else None


def _context(root_pem: bytes | None, moment: datetime | None) -> Any:  # noqa: ANN401 - pyHanko's own
    from asn1crypto import pem, x509  # noqa: PLC0415 - heavy, loaded on first use
    from pyhanko_certvalidator import ValidationContext  # noqa: PLC0415 - likewise

    roots = [x509.Certificate.load(pem.unarmor(root_pem)[2])] if root_pem else []
    return ValidationContext(trust_roots=roots, allow_fetching=False, moment=moment)


def _stamp_of(embedded: Any) -> Any:  # noqa: ANN401 - pyHanko's, asn1crypto's own
    """Return the time stamp of a signature as signed data, or None."""
    for attribute in embedded.signer_info["unsigned_attrs"] or ():
        if attribute["type"].native == "signature_time_stamp_token":
            return attribute["values"][0]["content"]
    return None


def stamp_context(signed: Any) -> Any:  # noqa: ANN401 - asn1crypto's, pyHanko's own
    """Return what a time stamp is read by: its own certificates, as nobody vouches for them."""
    from pyhanko_certvalidator import ValidationContext  # noqa: PLC0415 - heavy, on first use

    own = [each.chosen for each in signed["certificates"] or ()]
    return ValidationContext(trust_roots=own, allow_fetching=False)


def is_sound(stamp: Any) -> bool:  # noqa: ANN401 - pyHanko's own
    """Say whether a time stamp was read whole, and by a certificate that is for time stamps alone.

    Source: RFC 3161, 2.3.
    """
    uses = stamp.signing_cert.extended_key_usage_value
    for_stamps = uses is not None and uses.native == ["time_stamping"]
    return bool(stamp.intact and stamp.valid and for_stamps)


def _withdrawn(
    serial: int, signed_at: datetime | None, root_pem: bytes, crl_pem: bytes | None
) -> bool:
    """Tell whether a certificate no longer counted when it signed. A list not ours says nothing."""
    from cryptography import x509  # noqa: PLC0415 - heavy, loaded on first use
    from cryptography.hazmat.primitives.asymmetric.ec import (  # noqa: PLC0415 - likewise
        EllipticCurvePublicKey,
    )

    if crl_pem is None:
        return False
    listed = x509.load_pem_x509_crl(crl_pem)
    issuer = x509.load_pem_x509_certificate(root_pem).public_key()
    if not isinstance(issuer, EllipticCurvePublicKey) or not listed.is_signature_valid(issuer):
        return True
    entry = listed.get_revoked_certificate_by_serial_number(serial)
    if entry is None:
        return False
    reason = entry.extensions.get_extension_for_class(x509.CRLReason).value.reason
    stolen = reason is x509.ReasonFlags.key_compromise
    return stolen or signed_at is None or entry.revocation_date_utc <= signed_at


def _covers(coverage: Any) -> str:  # noqa: ANN401 - pyHanko's own
    from pyhanko.sign.validation.status import SignatureCoverageLevel  # noqa: PLC0415 - heavy

    if coverage is SignatureCoverageLevel.ENTIRE_FILE:
        return WHOLE_FILE
    return WHOLE_REVISION if coverage is SignatureCoverageLevel.ENTIRE_REVISION else PART


def _changes(status: Any) -> str:  # noqa: ANN401 - pyHanko's own
    """Return what was added after this signature: none, signatures, or other."""
    from pyhanko.sign.diff_analysis import ModificationLevel  # noqa: PLC0415 - heavy

    if not status.intact:
        return "other"
    if status.modification_level is ModificationLevel.NONE:
        return "none"
    allowed = {ModificationLevel.FORM_FILLING, ModificationLevel.LTA_UPDATES}
    return "signatures" if status.modification_level in allowed and status.docmdp_ok else "other"


def _sheet_id(reader: Any) -> str | None:  # noqa: ANN401 - pyHanko's own
    """Return the sheet's id from the attached JSON, None if there is none to be read."""
    try:
        names = reader.root["/Names"]["/EmbeddedFiles"]["/Names"]
        for at in range(1, len(names), 2):
            specification = names[at]
            if specification["/UF"] == ATTACHED:
                content = json.loads(specification["/EF"]["/F"].data)
                return str(content["sheet_id"])
    except (KeyError, ValueError, TypeError, AttributeError):
        return None
    return None


def _damaged(digest: str, fault: Exception) -> Verification:
    why = f"This file is damaged, or is not a PDF: {fault}".splitlines()[0]
    return Verification(
        intact=False,
        signatures=(),
        changes_after="other",
        missing=(),
        issued_here=None,
        replaced_by=None,
        signed_since=False,
        issued_as=None,
        sheet_id=None,
        sha256=digest,
        damaged=why,
        says=(why,),
    )


def _with_sentences(answer: Verification, *, root_known: bool) -> Verification:
    return replace(answer, says=tuple(_sentences(answer, root_known=root_known)))


def _sentences(answer: Verification, *, root_known: bool) -> Sequence[str]:
    says = [_about(found, root_known=root_known) for found in answer.signatures]
    if not answer.signatures:
        says.append("Nobody has signed this file.")
    says += [f"The field {name} is not signed." for name in answer.missing]
    if answer.signatures and answer.intact and answer.changes_after == "other":
        says.append("Something other than a signature was changed after signing.")
    if answer.issued_here is False:
        says.append("This instance did not issue this file as it is.")
    if answer.signed_since:
        says.append("This sheet was signed again after this copy; ask for the later one.")
    if answer.replaced_by:
        says.append(f"A newer sheet replaces it: {answer.replaced_by}.")
    return says


def _about(found: SignatureFound, *, root_known: bool) -> str:
    if not found.intact:
        return f"{found.who}: the signed bytes were changed after signing."
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
    if found.timestamp is None:
        return f"{said}."
    return f"{said}; {stamped(datetime.fromisoformat(found.timestamp), found.timestamp_by)}."
