"""The frozen content of a sheet: plain data that it is printed from and that travels inside it."""

from dataclasses import asdict, dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from referral.plans.rows import PlanLine, ReadingRow, Value
from referral.storage.canonical import canonical_json, sha256_hex

SCHEMA = "handover-1"
FINGERPRINT_LETTERS = 20


class SheetKind(StrEnum):
    """What a sheet hands over; the value is stored and never changes."""

    AGREED_PLAN = "agreed_plan"
    AS_FITTED = "as_fitted"
    REFERRAL = "referral"
    OWNER_COPY = "owner_copy"
    CLOSING = "closing"


TITLES = {
    SheetKind.AGREED_PLAN: "Agreed plan",
    SheetKind.AS_FITTED: "As fitted",
    SheetKind.REFERRAL: "Referral",
    SheetKind.OWNER_COPY: "Owner\N{RIGHT SINGLE QUOTATION MARK}s copy",
    SheetKind.CLOSING: "Closing report",
}
SIGNERS: dict[SheetKind, tuple[str, ...]] = {
    SheetKind.AGREED_PLAN: ("vet", "farrier"),
    SheetKind.AS_FITTED: ("farrier", "vet"),
    SheetKind.REFERRAL: ("vet",),
    SheetKind.OWNER_COPY: ("vet",),
    SheetKind.CLOSING: ("vet",),
}
"""Who signs each kind, in order: the first certifies, the others approve."""


@dataclass(frozen=True, slots=True)
class Horse:
    """The horse as it can be told apart: chip and UELN as checked when entered."""

    name: str
    chip: str | None
    ueln: str | None
    description: str


@dataclass(frozen=True, slots=True)
class Party:
    """A person named on the sheet, with the organisation that answers for them."""

    person_id: str
    name: str
    role: str
    organisation: str | None
    registration: str | None = None


@dataclass(frozen=True, slots=True)
class FilmShown:
    """The measured film: its picture by hash, what is drawn on it, and its scale state.

    ``overlay_svg`` is a whole SVG document whose viewBox is the film as it is shown;
    ``pixel_aspect`` is the (vertical, horizontal) length of a pixel.
    """

    view: str
    taken_on: date
    size_px: tuple[int, int]
    picture_sha256: str
    overlay_svg: str
    scale_state: str
    scale_says: str
    shod: str
    trim: str
    pixel_aspect: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True, slots=True)
class AcknowledgedShown:
    """That somebody acknowledged a caution, in which role, and why."""

    by: str
    role: str
    reason: str


@dataclass(frozen=True, slots=True)
class FindingShown:
    """A rule's or limit's answer as it was shown when the decision was made.

    ``acknowledged`` is what was said of it, as far as it still holds.
    """

    rule: str
    title: str
    stage: str
    verdict: str
    severity: str
    says: str
    limit_from: str
    evidence: str | None
    source: str | None
    acknowledged: tuple[AcknowledgedShown, ...] = ()


@dataclass(frozen=True, slots=True)
class WaiverShown:
    """A broken limit that the vet agreed to all the same, and why."""

    rule: str
    title: str
    reason: str
    by: str
    on: date


@dataclass(frozen=True, slots=True)
class DrawnPlan:
    """The numbers that the plan drawing is made from; None where the foot's own is not known."""

    limb: str
    category: str | None
    toe_trim_mm: float = 0.0
    heel_trim_mm: float = 0.0
    toe_dress_mm: float = 0.0
    wedge_deg: float = 0.0
    pad_mm: float = 0.0
    thickness_mm: float = 0.0
    web_mm: float | None = None
    width_mm: float | None = None
    length_mm: float | None = None
    breakover_setback_mm: float = 0.0
    heel_extension_mm: float = 0.0
    medial_extension_mm: float = 0.0
    lateral_extension_mm: float = 0.0
    wall_angle_deg: float | None = None
    heel_angle_deg: float | None = None
    palmar_angle_deg: float | None = None
    bearing_length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class LimbPart:
    """All that the sheet says about one limb."""

    limb: str
    problem: str
    film: FilmShown | None
    film_absent: str | None
    readings: tuple[ReadingRow, ...]
    findings: tuple[FindingShown, ...]
    waivers: tuple[WaiverShown, ...]
    plan_lines: tuple[PlanLine, ...]
    drawn: DrawnPlan | None


@dataclass(frozen=True, slots=True)
class Agreement:
    """Who agreed to what, and when."""

    by: str
    role: str
    at: datetime
    what: str


@dataclass(frozen=True, slots=True)
class ConsentShown:
    """The owner's consent: who gave it, by what authority, how and when."""

    by: str
    authority: str
    how: str
    on: date
    recorded_by: str


@dataclass(frozen=True, slots=True)
class NextStep:
    """What comes next, on which day, and the person who owns it."""

    what: str
    on: date
    owner: str


@dataclass(frozen=True, slots=True)
class Told:
    """One headed part of a sheet in words: facts with their labels, then sentences."""

    title: str
    facts: tuple[tuple[str, str], ...] = ()
    says: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LimitShown:
    """A limit that the vet set: on what, when it is judged, how strong, and why."""

    limb: str | None
    name: str
    says: str
    stage: str
    strength: str
    reason: str | None


@dataclass(frozen=True, slots=True)
class SeriesShown:
    """One reading of one limb over the visits, oldest first, with what changed.

    ``change`` is last less first with its own standard uncertainty; ``is_real`` says whether
    it is more than error.
    """

    limb: str
    code: str
    name: str
    unit: str
    source: str
    points: tuple[tuple[date, Value], ...]
    change: Value
    is_real: bool
    at_least: float | None
    at_most: float | None


@dataclass(frozen=True, slots=True)
class VisitShown:
    """One reset of one limb as recorded, with what was then predicted for after fitting."""

    n: int
    fitted_on: date
    limb: str
    plan_n: int
    readings: tuple[tuple[str, Value], ...]
    differences: int
    answer: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything a sheet prints, frozen. Its canonical JSON is attached to the PDF.

    ``notes`` are label and words of what else was said: of a reset what was found, and so on.
    ``about`` names the limbs where ``limbs`` has no part for each. ``told`` and what follows it
    stand on the sheets that one person signs.
    """

    sheet_id: str
    kind: SheetKind
    instance: str
    case_number: str
    revision: int
    made_at: datetime
    replaces: str | None
    horse: Horse
    owner: Party
    people: tuple[Party, ...]
    limbs: tuple[LimbPart, ...]
    agreements: tuple[Agreement, ...]
    consent: ConsentShown | None
    aftercare: tuple[str, ...]
    danger_signs: tuple[str, ...]
    emergency_contacts: tuple[str, ...]
    next_steps: tuple[NextStep, ...]
    cautions: tuple[str, ...]
    rulebook: str
    check_url: str | None
    notes: tuple[tuple[str, str], ...] = ()
    about: tuple[str, ...] = ()
    told: tuple[Told, ...] = ()
    limits: tuple[LimitShown, ...] = ()
    series: tuple[SeriesShown, ...] = ()
    visits: tuple[VisitShown, ...] = ()

    def to_json(self) -> bytes:
        """Return the canonical JSON of the snapshot: one content, one text."""
        return canonical_json({"schema": SCHEMA, **_plain(asdict(self))})

    def sha256(self) -> str:
        """Return the SHA-256 of the canonical JSON, in hexadecimal."""
        return sha256_hex(self.to_json())

    def fingerprint(self) -> str:
        """Return the first 80 bits of the hash in groups of four, to read out over a telephone."""
        return in_groups(self.sha256())

    def party(self, role: str) -> Party | None:
        """Return the person who acts in a role on this sheet, if there is one."""
        return next((person for person in self.people if person.role == role), None)


def in_groups(digest: str) -> str:
    """Return the beginning of a hash as a fingerprint is printed: DD89 EB05 4681 9E26 D6FF."""
    letters = digest[:FINGERPRINT_LETTERS].upper()
    return " ".join(letters[start : start + 4] for start in range(0, len(letters), 4))


def _plain(value: Any) -> Any:  # noqa: ANN401 - any field of a snapshot
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value
