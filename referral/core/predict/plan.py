"""A plan for one foot in numbers: trim, shoe, wedge, attachment, interval."""

from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, slots=True)
class ExecutionU:
    """Standard uncertainty of doing what the plan says, by kind of act."""

    trim_mm: float = 0.0
    wedge_deg: float = 0.0
    breakover_mm: float = 0.0
    length_mm: float = 0.0


PAGE_EXECUTION_U = ExecutionU(trim_mm=1.15, wedge_deg=0.29, breakover_mm=1.73, length_mm=1.15)
"""Agreed tolerances (2 mm, 0.5 deg, 3 mm, 2 mm) over the square root of three."""


@dataclass(frozen=True, slots=True)
class Shoe:
    """A shoe by generic trade category and its measures, all in millimetres."""

    category: str
    material: str | None = None
    web_mm: float | None = None
    thickness_mm: float = 0.0
    width_mm: float | None = None
    length_mm: float | None = None
    size_label: str | None = None
    breakover_setback_mm: float = 0.0
    heel_extension_mm: float = 0.0
    medial_extension_mm: float = 0.0
    lateral_extension_mm: float = 0.0
    sole_clearance_mm: float | None = None
    frog_plate: str | None = None
    frog_plate_height_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Nails:
    """How a shoe is nailed: number, holes, least spacing, last nail behind the widest part.

    ``holes`` are those used, numbered from the toe on each branch: ``M1`` the foremost of the
    inner branch, ``L1`` of the outer one.
    """

    count: int | None = None
    holes: tuple[str, ...] = ()
    spacing_mm: float | None = None
    last_behind_widest_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Clip:
    """One clip and its distance from a crack, if there is one."""

    position: str
    crack_distance_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be done to one foot. Trims are square to the bearing surface."""

    toe_trim_mm: float = 0.0
    heel_trim_mm: float = 0.0
    heel_trim_medial_mm: float | None = None
    heel_trim_lateral_mm: float | None = None
    toe_dress_mm: float = 0.0
    sole_pare_mm: float = 0.0
    wedge_deg: float = 0.0
    wedge_mm: float | None = None
    wedge_length_mm: float | None = None
    pad_mm: float = 0.0
    bevel_setback_mm: float | None = None
    packing: str | None = None
    shoe: Shoe | None = None
    nails: Nails | None = None
    clips: tuple[Clip, ...] = ()
    attachment: str | None = None
    surface: str | None = None
    interval_weeks: float | None = None
    fit_on: date | None = None
    reason: str | None = None
    execution_u: ExecutionU = field(default_factory=ExecutionU)
    growth_since_film: bool = False
