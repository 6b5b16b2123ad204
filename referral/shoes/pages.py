"""What the pages of shoes show: rows with everything in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from referral.shoes.choices import CATEGORIES, MATERIALS
from referral.shoes.fit import Foot, fit_of, nearest
from referral.shoes.models import StockShoe
from referral.shoes.outline import PLATES, ShoeFacts, ShoeShape, facts_of
from referral.shoes.service import shape_of
from referral.web.written import number, quantity

LABELS: Mapping[str, str] = dict(CATEGORIES)
MATERIAL_LABELS: Mapping[str, str] = dict(MATERIALS)
FULLER = "before holes and fuller"
NO_MASS = "cannot be told: material or thickness is not said"
NO_CHANGE = "fits as it is"
TOO_FAR = "another size is called for"


@dataclass(frozen=True, slots=True)
class ShoeLine:
    """One kind of shoe in the list; ``alter`` and ``cover`` where a foot is asked about."""

    shoe_id: UUID
    name: str
    material: str
    size: str
    section: str
    count: int
    note: str | None
    forge_id: str
    alter: str = ""
    is_too_far: bool = False
    covers: bool | None = None


def shoe_name(category: str, size_label: str | None) -> str:
    """Return what a shoe is called: its category, and its size where one is said."""
    name = LABELS.get(category, category)
    return f"{name}, size {size_label}" if size_label else name


def shoe_line(row: StockShoe) -> ShoeLine:
    """Return a row of the stock as the list shows it."""
    return ShoeLine(
        shoe_id=row.id,
        name=shoe_name(row.category, row.size_label),
        material=MATERIAL_LABELS.get(row.material, row.material),
        size=f"{row.length_mm:g} × {row.width_mm:g} mm",
        section=f"{row.web_mm:g} × {row.thickness_mm:g} mm",
        count=row.count,
        note=row.note,
        forge_id=str(row.organisation_id),
    )


def ranked_lines(rows: Sequence[StockShoe], foot: Foot) -> list[ShoeLine]:
    """Return the stock with what has to be altered for a foot, least first; what is out is last."""
    found = nearest([(row, shape_of(row)) for row in rows], foot)
    lines = []
    for row, needed in found:
        said = "; ".join(needed.sentences) or NO_CHANGE
        lines.append(
            replace(
                shoe_line(row),
                alter=f"{said}: {TOO_FAR}" if needed.is_too_far else said,
                is_too_far=needed.is_too_far,
                covers=fit_of(shape_of(row), foot).covers_both_heels,
            )
        )
    return sorted(lines, key=lambda each: each.count == 0)


def shape_lines(shape: ShoeShape) -> list[str]:
    """Return a shoe's measures in short words."""
    said = [
        MATERIAL_LABELS.get(shape.material or "", ""),
        f"{shape.length_mm:g} mm from heel line to toe, {shape.width_mm:g} mm at the widest line",
        f"web {shape.web:g} mm" + ("" if shape.web_mm is not None else " (usual; not said)"),
        f"{shape.thickness_mm:g} mm thick" if shape.thickness_mm else "",
    ]
    for side, extension_mm in (
        ("inner", shape.medial_extension_mm),
        ("outer", shape.lateral_extension_mm),
    ):
        said.append(f"{side} side {extension_mm:+g} mm" if extension_mm else "")
    return [each for each in said if each]


def facts_said(shape: ShoeShape) -> list[tuple[str, str]]:
    """Return what the outline tells, as pairs of words.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    facts: ShoeFacts = facts_of(shape)
    long_mm, wide_mm = number(facts.overall_length_mm), quantity(facts.overall_width_mm, "mm")
    rows = [
        ("Area", f"{number(facts.area_cm2)} cm²"),
        ("Against the open shoe of this size", f"{facts.gain_percent:+.0f} %"),
        ("Behind the widest line", f"{number(facts.behind_percent, 0)} % of the area"),
        ("Mass", f"{number(facts.mass_g, 0)} g, {FULLER}" if facts.mass_g else NO_MASS),
        ("Over all", f"{long_mm} × {wide_mm}"),
        ("Drawn with", drawn_with(shape)),
    ]
    if shape.breakover_setback_mm:
        rows.insert(1, ("Behind breakover", f"{number(facts.ground_cm2)} cm²"))
    return rows


def drawn_with(shape: ShoeShape) -> str:
    """Return what the outline, and so every area of it, takes for granted of the shoe's shape."""
    of = shape.shape
    said = [
        f"the widest line at {100 * of.widest:.0f} % of the length",
        f"heels {100 * of.heels:.0f} % of the width apart",
    ]
    if shape.category in PLATES:
        said.append(f"a frog plate to {100 * of.plate_tip:.0f} % of the length")
    return f"{', '.join(said)} (custom and practice, no source)"


def fit_said(shape: ShoeShape, foot: Foot) -> list[tuple[str, str]]:
    """Return how a shoe lies on a foot, as pairs of words.

    Raises
    ------
    Invalid
        If there is no shoe of these measures.
    """
    fit = fit_of(shape, foot)
    rows = [
        ("Behind the trimmed heels", quantity(fit.heel_extension_mm, "mm", 0)),
        ("Wider than the foot at its widest", quantity(fit.wider_by_mm, "mm", 0)),
    ]
    for heel in fit.heels:
        covered = "covered" if heel.is_covered else "not covered"
        out = quantity(heel.overhang_mm, "mm", 0)
        rows.append((f"{heel.side.capitalize()} heel", f"{covered}; shoe {out} outside"))
    return rows
