"""What any copy of a sheet is worth: who signed what when, and what was changed since."""

import asyncio
import io
import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from referral.sheets.copies import Issued, Lookup, SignatureFound, Verification, damaged, in_words
from referral.sheets.wording import ROLES, Level, named
from referral.storage.canonical import sha256_hex

if TYPE_CHECKING:
    from referral.sheets.store import Store

ATTACHED = "handover.json"

CHANGES = ("none", "material", "signatures", "other")
"""What was added after a signature, from the least to the worst."""
WHOLE_FILE, WHOLE_REVISION, PART = "whole file", "whole file as it then was", "part of the file"


@dataclass(frozen=True, slots=True)
class Known:
    """What the checker brings: a root, its list of withdrawn certificates (PEM), the time.

    ``time_root_pem``: whose time stamps are taken; None where any sound one is.
    """

    root_pem: bytes | None
    crl_pem: bytes | None = None
    now: datetime | None = None
    time_root_pem: bytes | None = None


def verify_pdf(
    data: bytes,
    root_pem: bytes | None,
    crl_pem: bytes | None = None,
    lookup: Lookup | None = None,
    now: datetime | None = None,
    time_root_pem: bytes | None = None,
) -> Verification:
    """Return what a copy of a sheet is worth. Nothing is fetched; nothing in it is believed.

    ``root_pem`` is the authority's root, ``crl_pem`` its list of withdrawn certificates; with no
    root nobody is trusted. A signature is trusted when its certificate leads to the root, was
    valid when it was made (by its time stamp, else as it says), and was not withdrawn by then (or
    ever, for a stolen key): by that list, and by what the file carries. ``now`` only tells which
    certificates have ended since. With ``time_root_pem``, the roots of time authorities, no
    signature is trusted that carries the stamp of another.
    """
    digest = sha256_hex(data)
    try:
        read = _read(data, Known(root_pem, crl_pem, now, time_root_pem))
    except Exception as fault:  # noqa: BLE001 - a hostile file may break the reader in any way
        return damaged(digest, fault)
    issued = lookup(digest, read.sheet_id) if lookup else None
    found = read.found
    if issued:
        found = tuple(_with_own(each, issued) for each in found)
    answer = Verification(
        intact=bool(found) and all(signature.intact for signature in found),
        signatures=found,
        changes_after=read.changes,
        missing=read.missing,
        issued_here=issued.here if issued else None,
        replaced_by=issued.replaced_by if issued else None,
        signed_since=issued is not None and issued.signed_since,
        erased=issued.erased.isoformat() if issued and issued.erased else None,
        issued_as=issued.sheet_id if issued else None,
        sheet_id=read.sheet_id,
        sha256=digest,
        damaged=None,
        carried_fault=read.carried_fault,
        says=(),
    )
    return in_words(answer, root_known=root_pem is not None)


def _with_own(found: SignatureFound, issued: Issued) -> SignatureFound:
    """Return a signature with what the instance knows of the certificate it was made with."""
    stands = found.intact and not found.spoiled_stamp and not found.foreign_stamp
    own = stands and found.serial in issued.own
    return replace(found, own=issued.here and own)


@dataclass(frozen=True, slots=True)
class _Read:
    """What the file itself says."""

    found: tuple[SignatureFound, ...]
    missing: tuple[str, ...]
    changes: str
    carried_fault: str | None
    sheet_id: str | None


def _read(data: bytes, known: Known) -> _Read:
    from pyhanko.pdf_utils.reader import PdfFileReader  # noqa: PLC0415 - heavy, on first use
    from pyhanko.sign.fields import enumerate_sig_fields  # noqa: PLC0415 - likewise

    from referral.sheets.store import read_store  # noqa: PLC0415 - likewise

    reader = PdfFileReader(io.BytesIO(data), strict=True)
    missing = tuple(
        name for name, value, _ in enumerate_sig_fields(reader, with_name=None) if value is None
    )
    store = read_store(reader)
    checked = [_signature(one, known, store) for one in reader.embedded_regular_signatures]
    found = tuple(signature for signature, _ in checked)
    worst = max((CHANGES.index(change) for _, change in checked), default=0)
    return _Read(found, missing, CHANGES[worst], store.fault, _sheet_id(reader))


def _signature(
    embedded: Any,  # noqa: ANN401 - pyHanko's own
    known: Known,
    store: "Store",
) -> tuple[SignatureFound, str]:
    from pyhanko.sign.validation import validate_pdf_signature  # noqa: PLC0415 - heavy

    claimed = embedded.self_reported_timestamp
    stamp_data = _stamp_of(embedded)
    moment = claimed if stamp_data is None else _stamped_at(stamp_data)
    status = validate_pdf_signature(
        embedded,
        _context(known.root_pem, moment),
        ts_validation_context=_stamp_judge(stamp_data, known, moment),
    )
    sound, stamp = _stamp_facts(status.timestamp_validity, known)
    whole = bool(status.intact and status.valid)
    level, was_withdrawn = _held(embedded, sound, store)
    withdrawal = _withdrawal(embedded.signer_cert.serial_number, known)
    counted = not was_withdrawn and not (withdrawal and withdrawal.spoils(moment))
    found = SignatureFound(
        field=str(embedded.field_name),
        **_bearer(embedded),
        when=claimed.astimezone(UTC).isoformat() if claimed else None,
        covers=_covers(status.coverage),
        intact=whole,
        trusted=bool(whole and counted and known.root_pem and status.trusted)
        and not (stamp["spoiled_stamp"] or stamp["foreign_stamp"]),
        **stamp,
        level=level if whole else None,
        since=_since(embedded.signer_cert, withdrawal, known.now),
        own=False,
    )
    return found, _changes(status)


def _stamp_facts(stamp: Any, known: Known) -> tuple[Any, dict[str, Any]]:  # noqa: ANN401 - pyHanko's own
    """Return a signature's time stamp if it is sound, and what is said of it."""
    sound = stamp if stamp is not None and is_sound(stamp) else None
    return sound, {
        "timestamp": sound.timestamp.astimezone(UTC).isoformat() if sound else None,
        "timestamp_by": named(sound.signing_cert.subject) if sound else None,
        "spoiled_stamp": stamp is not sound,
        "foreign_stamp": bool(sound and known.time_root_pem and not sound.trusted),
    }


def _held(
    embedded: Any,  # noqa: ANN401 - pyHanko's own
    stamp: Any,  # noqa: ANN401 - likewise
    store: "Store",
) -> tuple[Level, bool]:
    """Return how long a signature holds by what its file carries, and if that has it withdrawn."""
    from referral.sheets.material import Material, Verdict, standing_of  # noqa: PLC0415 - heavy
    from referral.sheets.stamping import FOR_STAMPS  # noqa: PLC0415 - likewise

    if stamp is None:
        return Level.BASIC, False
    token = _stamp_of(embedded)
    inside = (*embedded.other_embedded_certs, *(each.chosen for each in token["certificates"]))
    material = store.material + Material(inside)
    if not store.material.lists and not store.material.answers:
        return Level.STAMPED, False
    at = stamp.timestamp
    signer = asyncio.run(standing_of(embedded.signer_cert, material, at))
    authority = asyncio.run(standing_of(stamp.signing_cert, material, at, FOR_STAMPS))
    both = signer.verdict is authority.verdict is Verdict.COUNTED
    is_withdrawn = Verdict.WITHDRAWN in {signer.verdict, authority.verdict}
    return Level.LASTING if both else Level.STAMPED, is_withdrawn


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


def _stamped_at(signed: Any) -> datetime:  # noqa: ANN401 - asn1crypto's own
    """Return the time that a time stamp names, sound or not."""
    at: datetime = signed["encap_content_info"]["content"].parsed["gen_time"].native
    return at


def _stamp_judge(signed: Any, known: Known, at: datetime | None) -> Any:  # noqa: ANN401 - likewise
    """Return what a time stamp is judged by: the roots that are known at its time, else itself."""
    from pyhanko_certvalidator import ValidationContext  # noqa: PLC0415 - heavy, on first use

    from referral.sheets.material import certificates_in  # noqa: PLC0415 - likewise

    if signed is None or known.time_root_pem is None:
        return None if signed is None else stamp_context(signed)
    roots = [*certificates_in(known.time_root_pem)]
    return ValidationContext(trust_roots=roots, allow_fetching=False, moment=at)


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


@dataclass(frozen=True, slots=True)
class _Withdrawal:
    """When a certificate was withdrawn; ``at`` is None for as long as there is one."""

    at: datetime | None
    stolen: bool = False

    def spoils(self, signed_at: datetime | None) -> bool:
        """Say whether what it signed at a moment does not count."""
        return self.stolen or self.at is None or signed_at is None or self.at <= signed_at


def _withdrawal(serial: int, known: Known) -> _Withdrawal | None:
    """Return what the checker's list says of a certificate; a list not the root's trusts nobody."""
    from cryptography import x509  # noqa: PLC0415 - heavy, loaded on first use
    from cryptography.hazmat.primitives.asymmetric.ec import (  # noqa: PLC0415 - likewise
        EllipticCurvePublicKey,
    )

    if known.crl_pem is None or known.root_pem is None:
        return None
    listed = x509.load_pem_x509_crl(known.crl_pem)
    issuer = x509.load_pem_x509_certificate(known.root_pem).public_key()
    if not isinstance(issuer, EllipticCurvePublicKey) or not listed.is_signature_valid(issuer):
        return _Withdrawal(None)
    entry = listed.get_revoked_certificate_by_serial_number(serial)
    if entry is None:
        return None
    reason = entry.extensions.get_extension_for_class(x509.CRLReason).value.reason
    return _Withdrawal(entry.revocation_date_utc, reason is x509.ReasonFlags.key_compromise)


def _since(
    certificate: Any,  # noqa: ANN401 - asn1crypto's own
    withdrawal: _Withdrawal | None,
    now: datetime | None,
) -> str | None:
    """Return what became of a certificate by now: withdrawn, ended, or nothing."""
    if withdrawal is not None and withdrawal.at is not None:
        return "withdrawn"
    return "ended" if now is not None and now >= certificate.not_valid_after else None


def _covers(coverage: Any) -> str:  # noqa: ANN401 - pyHanko's own
    from pyhanko.sign.validation.status import SignatureCoverageLevel  # noqa: PLC0415 - heavy

    if coverage is SignatureCoverageLevel.ENTIRE_FILE:
        return WHOLE_FILE
    return WHOLE_REVISION if coverage is SignatureCoverageLevel.ENTIRE_REVISION else PART


def _changes(status: Any) -> str:  # noqa: ANN401 - pyHanko's own
    """Return what was added after this signature, as one of ``CHANGES``."""
    from pyhanko.sign.diff_analysis import ModificationLevel  # noqa: PLC0415 - heavy

    if not status.intact:
        return "other"
    if status.modification_level is ModificationLevel.NONE:
        return "none"
    allowed = {
        ModificationLevel.LTA_UPDATES: "material",
        ModificationLevel.FORM_FILLING: "signatures",
    }
    return allowed.get(status.modification_level, "other") if status.docmdp_ok else "other"


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
