# ruff: noqa: E501 - sentences and signs as a sheet prints them
"""An invented horse, vet and farrier, their sheet, and an authority to sign it with."""

import io
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from PIL import Image, ImageDraw, ImageFilter

from referral.core.predict.plan import Plan, Shoe
from referral.plans.rows import Value
from referral.sheets import snapshot as frozen
from referral.sheets.authority import Authority, IssuedKey
from referral.sheets.drawing import drawn_from
from referral.sheets.printing import field_name, print_sheet
from referral.sheets.signing import SigningAct, sign
from referral.sheets.snapshot import SIGNERS, SheetKind, Snapshot
from referral.storage.canonical import sha256_hex

MADE_AT = datetime(2026, 11, 26, 14, 5, tzinfo=UTC)
MINUTES = (timedelta(minutes=5), timedelta(minutes=42))
FILM_SIZE = (1000, 840)
CHECK_URL = "https://yard.example.org/check/0192f3aa"
VET = frozen.Party(
    "p-vet", "Ines Corvane", "vet", "Marlhope Equine Practice", "Register no. 40 117"
)
FARRIER = frozen.Party("p-far", "Odd Brackley", "farrier", "Brackley & Daughter, Farriers", None)
OWNER = frozen.Party("p-own", "Tamsin Ålund", "owner", None)


def film_jpeg() -> bytes:
    """Return a grey picture that looks enough like a lateromedial film to lay a page out."""
    picture = Image.new("L", FILM_SIZE, 18)
    draw = ImageDraw.Draw(picture)
    draw.polygon([(880, 700), (560, 330), (330, 380), (170, 700)], fill=96)
    draw.polygon([(560, 330), (470, 0), (250, 0), (330, 380)], fill=78)
    draw.polygon([(760, 628), (560, 400), (420, 470), (360, 600)], fill=214)
    draw.polygon([(600, 440), (520, 200), (380, 210), (390, 470)], fill=196)
    draw.ellipse([300, 440, 400, 520], fill=170)
    draw.rectangle([60, 760, 360, 772], fill=250)
    out = io.BytesIO()
    picture.filter(ImageFilter.GaussianBlur(5)).save(out, "JPEG", quality=82)
    return out.getvalue()


FILM = film_jpeg()
OVERLAY = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1000 840"
 font-family="Noto Sans" font-size="26">
<g fill="none" stroke="#000000" stroke-width="7"><path d="M880 700L560 330M760 628L360 600M170 704H900"/></g>
<g fill="none" stroke="#ffffff" stroke-width="3"><path d="M880 700L560 330M760 628L360 600M170 704H900"/></g>
<g fill="#ffffff" stroke="#000000" stroke-width="3"><circle cx="760" cy="628" r="9"/>
<circle cx="360" cy="600" r="9"/><circle cx="880" cy="700" r="9"/></g>
<g fill="#ffffff"><text x="780" y="620">tip</text>
<text x="420" y="650">palmar angle 4.0°</text><text x="60" y="750">60 mm</text></g></svg>"""


READINGS = (
    (
        "palmar_angle_deg",
        "Palmar angle",
        "deg",
        (1.4, 0.72),
        "at least 3.0°",
        "case",
        (4.6, 0.8),
        (4.9, 0.7),
        "TOO_CLOSE",
    ),
    (
        "sole_depth_tip_mm",
        "Sole depth under the tip",
        "mm",
        (12.5, 0.7),
        "at least 10 mm",
        "case",
        (12.5, 0.7),
        (12.1, 0.7),
        "WITHIN",
    ),
    (
        "breakover_mm",
        "Breakover in front of the tip",
        "mm",
        (41.5, 0.9),
        "at most 20 mm",
        "shipped",
        (21.2, 1.9),
        (19.4, 0.9),
        "TOO_CLOSE",
    ),
    (
        "wall_angle_deg",
        "Dorsal wall angle",
        "deg",
        (47.0, 0.6),
        None,
        None,
        (50.2, 0.9),
        (50.4, 0.6),
        None,
    ),
    (
        "heel_angle_deg",
        "Heel angle",
        "deg",
        (33.0, 0.9),
        "within 5° of the wall",
        "shipped",
        (36.1, 1.1),
        (36.0, 0.9),
        "OUTSIDE",
    ),
    (
        "behind_centre_percent",
        "Ground surface behind the centre",
        "percent",
        (36.2, 0.9),
        "at least 50 %",
        "practice",
        (48.1, 1.2),
        (51.0, 1.0),
        "TOO_CLOSE",
    ),
    (
        "support_ratio",
        "Support ratio",
        "ratio",
        (0.91, 0.02),
        None,
        None,
        (1.09, 0.03),
        (1.1, 0.02),
        None,
    ),
    (
        "founder_distance_mm",
        "Founder distance",
        "mm",
        (9.6, 0.7),
        None,
        None,
        (-0.4, 0.7),
        None,
        "CANNOT_TELL",
    ),
)


def readings(fitted: bool) -> tuple[frozen.ReadingRow, ...]:
    return tuple(
        frozen.ReadingRow(
            code,
            name,
            unit,
            Value(*now),
            limit,
            origin,
            Value(*predicted),
            Value(*done) if fitted and done else None,
            verdict,
            "hoof capsule rotates with the trim" if code == "founder_distance_mm" else None,
        )
        for code, name, unit, now, limit, origin, predicted, done, verdict in READINGS
    )


FINDINGS = (
    frozen.FindingShown(
        "R05",
        "Heel angle follows the wall",
        "after_fit",
        "OUTSIDE",
        "breach",
        "The heels are under-run by 14.1° ± 2.8°: bring the heel bearing back and reset in five weeks at most.",
        "shipped",
        "textbook",
        "Invented handbook of the foot, chapter 7",
    ),
    frozen.FindingShown(
        "case:0",
        "Palmar angle",
        "after_fit",
        "TOO_CLOSE",
        "breach",
        "4.6° ± 1.6° against at least 3.0°: the film cannot decide. Film again after fitting.",
        "case",
        None,
        None,
    ),
    frozen.FindingShown(
        "R22",
        "Wedge kept no longer than needed",
        "at_due",
        "CANNOT_TELL",
        "caution",
        "The number of resets in this wedge is not recorded. Say how many before the next reset.",
        "shipped",
        "from memory",
        None,
    ),
    frozen.FindingShown(
        "R01",
        "Sole depth under the tip",
        "after_fit",
        "WITHIN",
        "breach",
        "12.5 mm ± 1.4 mm.",
        "shipped",
        "textbook",
        None,
    ),
    frozen.FindingShown(
        "R24",
        "Last nail not behind the widest part",
        "after_fit",
        "WITHIN",
        "caution",
        "4 mm in front.",
        "shipped",
        "from memory",
        None,
    ),
    frozen.FindingShown(
        "R10",
        "Hind medial breakover",
        "after_fit",
        "NOT_APPLICABLE",
        "note",
        "Forefoot.",
        "shipped",
        "common practice",
        None,
    ),
)


def plan_lines(fitted: bool) -> tuple[frozen.PlanLine, ...]:
    lines = (
        ("Toe trim", "2.0 mm", "2.0 mm", None, None),
        (
            "Heel trim",
            "5.0 mm",
            "3.5 mm",
            "−1.5 mm",
            "Horn at the inside heel was softer than expected; stopped at sound horn.",
        ),
        ("Shoe", "straight bar, steel, 22 × 10 mm", "straight bar, steel, 22 × 10 mm", None, None),
        ("Breakover set back", "20 mm", "21 mm", "+1 mm", None),
        ("Heel extension", "8 mm", "8 mm", None, None),
        ("Wedge", "3° (7.9 mm over 151 mm)", "3°", None, None),
        ("Nails", "6, last 4 mm in front of the widest part", "6", None, None),
        ("Reset in", "5 weeks", "5 weeks", None, None),
    )
    return tuple(frozen.PlanLine(*(line if fitted else line[:2])) for line in lines)


PLAN = Plan(
    toe_trim_mm=2,
    heel_trim_mm=5,
    wedge_deg=3,
    shoe=Shoe(
        "straight_bar", thickness_mm=10, web_mm=22, breakover_setback_mm=20, heel_extension_mm=8
    ),
)
FILM_SHOWN = frozen.FilmShown(
    "lateromedial",
    date(2026, 11, 20),
    FILM_SIZE,
    sha256_hex(FILM),
    OVERLAY,
    "marker",
    "rod of 60 mm in the sagittal plane, 0.198 mm to a pixel ± 0.003.",
    "no",
    "before",
)
DRAWN = drawn_from(
    PLAN,
    "LF",
    wall_angle_deg=47,
    heel_angle_deg=38,
    palmar_angle_deg=1.4,
    bearing_length_mm=146.5,
)


def part(kind: SheetKind) -> frozen.LimbPart:
    fitted = kind is SheetKind.AS_FITTED
    return frozen.LimbPart(
        "LF",
        "low palmar angle, under-run heels",
        FILM_SHOWN,
        None,
        readings(fitted),
        FINDINGS,
        (
            frozen.WaiverShown(
                "R05",
                "Heel angle follows the wall",
                "Cannot be reached in one reset; aim is 5° in three.",
                VET.name,
                date(2026, 11, 26),
            ),
        ),
        plan_lines(fitted),
        DRAWN,
    )


CAUTIONS = (
    "Decision support only: it flags; it does not diagnose, choose a shoe or approve.",
    "Diagnosis, sedation, nerve blocks and the reading of films are for a registered vet; shoeing where the law asks for it is for a registered farrier. Local law and codes come first.",
    "Predicted readings are calculated from the film and the plan; the joints of the living foot may answer otherwise.",
)


def sample(kind: SheetKind = SheetKind.AGREED_PLAN) -> Snapshot:
    """Return a whole sheet's content; every name in it is invented."""
    return Snapshot(
        sheet_id="0192f3aa-0000-7000-8000-000000000001",
        kind=kind,
        instance="Marlhope and Brackley",
        case_number="2026-014",
        revision=7,
        made_at=MADE_AT,
        replaces=None,
        horse=frozen.Horse(
            "Quillon", "981 020 001 234 567", "826 001 12 345678", "Bay gelding, 2014, 16.1 hands"
        ),
        owner=OWNER,
        people=(VET, FARRIER),
        limbs=(part(kind),),
        agreements=(frozen.Agreement(VET.name, "vet", MADE_AT, "Plan 2 agreed with one waiver"),),
        consent=frozen.ConsentShown(
            OWNER.name, "owner", "by telephone", date(2026, 11, 26), VET.name
        ),
        aftercare=(
            "Stable on a deep bed for two days, then walk in hand on firm level ground.",
            "Look at the clenches and feel the hoof for warmth every morning.",
            "Check after fitting: Odd Brackley rings within 72 hours.",
        ),
        danger_signs=(
            "Will not bear weight, or is suddenly lamer.",
            "A warm foot with a bounding pulse.",
            "The shoe has moved, twisted or come off.",
        ),
        emergency_contacts=("Marlhope Equine Practice, day and night: 01632 960 117",),
        next_steps=(
            frozen.NextStep("reset due", date(2026, 12, 31), FARRIER.name),
            frozen.NextStep("recheck with a film", date(2027, 1, 6), VET.name),
        ),
        cautions=CAUTIONS,
        rulebook="5f0c6a1e",
        check_url=CHECK_URL,
    )


@dataclass(frozen=True)
class Signed:
    """A sheet before and after each signature, and who made them."""

    authority: Authority
    keys: dict[str, IssuedKey]
    unsigned: bytes
    once: bytes
    twice: bytes
    snapshot: Snapshot


def signed_sheet(
    folder: Path, kind: SheetKind = SheetKind.AGREED_PLAN, made_at: datetime = MADE_AT
) -> Signed:
    """Return a sheet signed by both in the order its kind asks for."""
    made = replace(sample(kind), made_at=made_at)
    authority, keys = an_authority(folder, made)
    unsigned = print_sheet(made, {sha256_hex(FILM): FILM})
    stages = signed_by_all(unsigned, authority, keys, made)
    return Signed(authority, keys, unsigned, stages[0], stages[-1], made)


def an_authority(folder: Path, made: Snapshot) -> tuple[Authority, dict[str, IssuedKey]]:
    """Return an authority of its own and a key for each side."""
    authority = Authority.load_or_create(folder, b"k" * 32, made.instance, made.made_at)
    at = made.made_at
    return authority, {
        each.role: authority.issue(each.person_id, each.name, each.role, each.organisation, at)
        for each in (VET, FARRIER)
    }


def signed_by_all(
    unsigned: bytes, authority: Authority, keys: dict[str, IssuedKey], made: Snapshot
) -> list[bytes]:
    """Return the sheet after each signature that its kind asks for."""
    stages = [unsigned]
    for n, role in enumerate(SIGNERS[made.kind]):
        where = "Marlhope" if n == 0 else None
        act = SigningAct(field_name(role), n == 0, "As printed", where, made.made_at + MINUTES[n])
        stages.append(sign(stages[-1], authority, keys[role], act))
    return stages[1:]
