"""A snapshot as a PDF to be signed: filled template, pictures as data, snapshot attached."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from referral.core.geometry.frames import shown_size
from referral.errors import Invalid
from referral.plans.rows import UNITS
from referral.sheets.course import bounds_say, course_values, svg_data
from referral.sheets.drawing import shod_svg, sole_svg, trim_svg
from referral.sheets.signing import SignatureField, prepare
from referral.sheets.snapshot import (
    SIGNERS,
    TITLES,
    FilmShown,
    FindingShown,
    LimbPart,
    Party,
    SheetKind,
    Snapshot,
)
from referral.sheets.wording import (
    LIMBS,
    LIMIT_FROM,
    ROLES,
    STAGES,
    VERDICTS,
    moment,
    with_u,
)
from referral.storage.canonical import sha256_hex
from referral.web.codes import in_words, rule_name
from referral.web.pdf import Attached, RenderedPdf, page_html, render_pdf
from referral.web.qr import qr_picture
from referral.web.written import day

ATTACHMENT = "handover.json"
SIGN_BOX = "sign-"
FILM_WIDTH_MM, FILM_HEIGHT_MM = 78.0, 82.0
QUIET = frozenset({"WITHIN", "NOT_APPLICABLE"})
PLANNED = frozenset({SheetKind.AGREED_PLAN, SheetKind.AS_FITTED})
"""Sheets that hand over a plan, with what it would do and what was agreed."""


@dataclass(frozen=True, slots=True)
class LimbPage:
    """A limb's part of the sheet with its pictures as data addresses."""

    part: LimbPart
    name: str
    film_mm: tuple[float, float] | None
    picture: str | None
    overlay: str | None
    drawings: tuple[tuple[str, str], ...]
    loud: tuple[FindingShown, ...]
    within: tuple[FindingShown, ...]
    not_applicable: tuple[FindingShown, ...]


def print_sheet(snapshot: Snapshot, pictures: Mapping[str, bytes]) -> bytes:
    """Return the unsigned PDF/A-3a of a snapshot with an empty signature field for each signer.

    ``pictures`` holds the JPEG of each film by its SHA-256, as the snapshot names it.

    Raises
    ------
    Invalid
        If a picture is missing or is not the one named, if a signer is not among the people,
        or if a character cannot be printed.
    """
    rendered = render_sheet(snapshot, pictures)
    return prepare(rendered.data, signature_fields(snapshot, rendered))


def render_sheet(snapshot: Snapshot, pictures: Mapping[str, bytes]) -> RenderedPdf:
    """Return the sheet as PDF/A-3a before signature fields are added.

    Raises
    ------
    Invalid
        As :func:`print_sheet`.
    """
    html = sheet_html(snapshot, pictures)
    attached = Attached(
        ATTACHMENT, snapshot.to_json(), "The content of this sheet as data", snapshot.made_at
    )
    return render_pdf(html, [attached])


def sheet_html(snapshot: Snapshot, pictures: Mapping[str, bytes]) -> str:
    """Return the sheet as HTML with its pictures inside.

    Raises
    ------
    Invalid
        If a picture is missing or is not the one named, or a signer is not among the people.
    """
    return page_html("print/sheet.html", _values(snapshot, pictures))


def signature_fields(snapshot: Snapshot, rendered: RenderedPdf) -> list[SignatureField]:
    """Return the empty fields of a rendered sheet, in the order they are to be signed.

    Raises
    ------
    Invalid
        If a signer of this kind of sheet is not among its people.
    """
    return [
        SignatureField(
            field_name(party.role),
            f"Signature of {party.name}, {party.role}",
            rendered.boxes[SIGN_BOX + party.role],
        )
        for party in _signers(snapshot)
    ]


def _signers(snapshot: Snapshot) -> list[Party]:
    found = []
    for role in SIGNERS[snapshot.kind]:
        party = snapshot.party(role)
        if party is None:
            raise Invalid(f"This sheet needs a {role} to sign it, and names none.")
        found.append(party)
    return found


def field_name(role: str) -> str:
    """Return the name of a role's signature field."""
    return f"Sig_{role.capitalize()}"


def _values(snapshot: Snapshot, pictures: Mapping[str, bytes]) -> dict[str, Any]:
    fitted = snapshot.kind is SheetKind.AS_FITTED
    return {
        "sheet": snapshot,
        "title": TITLES[snapshot.kind],
        "fitted": fitted,
        "planned": snapshot.kind in PLANNED,
        "about": [LIMBS[limb] for limb in snapshot.about],
        "limb_names": LIMBS,
        "bounds": bounds_say,
        **course_values(snapshot),
        "limbs": [_limb_page(part, pictures, fitted=fitted) for part in snapshot.limbs],
        "signers": _signers(snapshot),
        "fingerprint": snapshot.fingerprint(),
        "qr": qr_picture(snapshot.check_url) if snapshot.check_url else None,
        "day": day,
        "moment": moment,
        "with_u": with_u,
        "units": UNITS,
        "roles": ROLES,
        "stages": STAGES,
        "verdicts": VERDICTS,
        "limit_from": LIMIT_FROM,
        "severity": _severity,
        "in_words": in_words,
        "rule_name": rule_name,
    }


def _limb_page(part: LimbPart, pictures: Mapping[str, bytes], *, fitted: bool) -> LimbPage:
    picture = overlay = None
    if part.film is not None:
        jpeg = pictures.get(part.film.picture_sha256)
        if jpeg is None or sha256_hex(jpeg) != part.film.picture_sha256:
            raise Invalid(f"The picture of the {part.limb} film is not the one the sheet names.")
        picture = f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}"
        overlay = svg_data(part.film.overlay_svg.encode())
    return LimbPage(
        part,
        LIMBS[part.limb],
        film_size_mm(part.film) if part.film else None,
        picture,
        overlay,
        _drawings(part, fitted=fitted),
        tuple(finding for finding in part.findings if _is_loud(finding)),
        tuple(each for each in part.findings if each.verdict == "WITHIN" and not _is_loud(each)),
        tuple(
            finding
            for finding in part.findings
            if finding.verdict == "NOT_APPLICABLE" and not _is_loud(finding)
        ),
    )


def _is_loud(finding: FindingShown) -> bool:
    """Say whether a finding is printed whole; what a practice set otherwise always is."""
    return finding.verdict not in QUIET or finding.limit_from == "practice"


def film_size_mm(film: FilmShown) -> tuple[float, float]:
    """Return the printed size of a film: as large as its column and a third of the page allow."""
    width, height = shown_size(film.size_px, film.pixel_aspect)
    mm_per_px = min(FILM_WIDTH_MM / width, FILM_HEIGHT_MM / height)
    return round(width * mm_per_px, 2), round(height * mm_per_px, 2)


def _drawings(part: LimbPart, *, fitted: bool) -> tuple[tuple[str, str], ...]:
    if part.drawn is None:
        return ()
    made = [("Fitted, from the side", shod_svg(part.drawn)), ("From below", sole_svg(part.drawn))]
    if not fitted:
        made.insert(0, ("What comes off", trim_svg(part.drawn)))
    return tuple((caption, svg_data(svg.encode())) for caption, svg in made)


def _severity(finding: FindingShown) -> str:
    """Return what a finding weighs: its severity only where the limit is broken."""
    return finding.severity.replace("_", " ") if finding.verdict == "OUTSIDE" else ""
