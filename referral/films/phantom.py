"""A drawn side-on radiograph of a foot of known dimensions, with its landmarks.

For trying the platform without a patient, and for checking it: placing the landmarks and
the marker's ends must return the dimensions that the foot was drawn from.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from referral.core.errors import CoreError
from referral.core.geometry.points import Floats
from referral.films.phantom_file import Exposed, dicom_bytes
from referral.films.phantom_foot import Foot, Frame, frame_of, landmarks_of, truth_of
from referral.films.phantom_outlines import marker_ends
from referral.films.phantom_picture import Sight, expose

__all__ = ["Exposure", "Foot", "Phantom", "draw_phantom"]

LIMBS = ("LF", "RF", "LH", "RH")
SMALLEST_PX = 200
COARSEST_MM = 1.0
BITS_STORED = range(8, 17)
DRAWN_ON = date(2026, 1, 5)


@dataclass(frozen=True, slots=True)
class Exposure:
    """How the film is taken; spacing is the detector's own, down and across."""

    row_mm: float = 0.16
    column_mm: float = 0.16
    sid_mm: float = 700.0
    oid_mm: float = 80.0
    bits_stored: int = 12
    noise: float = 1.0
    seed: int = 0
    marker_length_mm: float = 60.0
    mirrored: bool = False
    size_px: tuple[int, int] = (1400, 1100)
    limb: str = "LF"
    taken_on: date = DRAWN_ON
    magnification_tag: bool = False


@dataclass(frozen=True, slots=True)
class Phantom:
    """A film as a file, and where on it, in its own pixels, everything lies."""

    dicom: bytes
    landmarks_px: dict[str, list[float] | list[list[float]]]
    marker_ends_px: list[list[float]]
    marker_length_mm: float
    truth: Mapping[str, float]


def draw_phantom(foot: Foot, exposure: Exposure, *, patient_name: str = "") -> Phantom:
    """Draw a film; all lies in the foot's middle plane, so one magnification holds for all.

    Raises
    ------
    CoreError
        If the foot's dimensions contradict each other, or the film cannot be taken so.
    """
    _check(exposure)
    frame = frame_of(foot)
    sight = _sight(frame, exposure)
    ends = marker_ends(frame, exposure.marker_length_mm)
    landmarks = landmarks_of(foot, frame)
    _check_in_view(sight, [*landmarks.values(), ends])
    words = expose(foot, frame, ends, sight, bits=exposure.bits_stored, noise=exposure.noise,
                   rng=np.random.default_rng(exposure.seed))  # fmt: skip
    exposed = Exposed(
        words=words,
        bits_stored=exposure.bits_stored,
        spacing_mm=(exposure.row_mm, exposure.column_mm),
        sid_mm=exposure.sid_mm,
        magnification=_magnification(exposure) if exposure.magnification_tag else None,
        limb=exposure.limb,
        toe_on_left=exposure.mirrored,
        taken_on=exposure.taken_on,
        patient_name=patient_name,
    )
    return Phantom(
        dicom=dicom_bytes(exposed),
        landmarks_px={name: sight.to_px(each).tolist() for name, each in landmarks.items()},
        marker_ends_px=sight.to_px(ends).tolist(),
        marker_length_mm=exposure.marker_length_mm,
        truth=truth_of(foot, frame),
    )


def _magnification(exposure: Exposure) -> float:
    return exposure.sid_mm / (exposure.sid_mm - exposure.oid_mm)


def _check(exposure: Exposure) -> None:
    spacing_fits = all(0.0 < each <= COARSEST_MM for each in (exposure.row_mm, exposure.column_mm))
    sides = min(exposure.size_px)
    faults = {
        "The detector's spacing must be above 0 and at most 1 mm.": spacing_fits,
        "oid_mm must be from 0 to less than half of sid_mm.": (
            0.0 <= exposure.oid_mm < exposure.sid_mm / 2.0
        ),
        "bits_stored must be from 8 to 16.": exposure.bits_stored in BITS_STORED,
        f"The film must be at least {SMALLEST_PX} pixels wide and high.": sides >= SMALLEST_PX,
        f"limb must be one of {', '.join(LIMBS)}.": exposure.limb in LIMBS,
        "marker_length_mm must be above 0.": exposure.marker_length_mm > 0.0,
        "noise must not be negative.": exposure.noise >= 0.0,
    }
    for sentence, holds in faults.items():
        if not holds:
            raise CoreError(sentence, at="exposure")


def _sight(frame: Frame, exposure: Exposure) -> Sight:
    """Return where the foot lies on the film: in the middle across, the block along the foot."""
    shrink = 1.0 / _magnification(exposure)
    width, height = exposure.size_px
    row, column = exposure.row_mm * shrink, exposure.column_mm * shrink
    middle_mm = float(frame.toe[0] + frame.bulb[0]) / 2.0
    ground_px = height - max(0.08 * height, 9.0 / row)
    return Sight(
        row_mm=row,
        column_mm=column,
        origin_px=(0.5 * (width - 1) - middle_mm / column, ground_px),
        size_px=exposure.size_px,
        mirrored=exposure.mirrored,
    )


def _check_in_view(sight: Sight, points: list[Floats]) -> None:
    every = sight.to_px(np.concatenate([np.reshape(each, (-1, 2)) for each in points]))
    if (every < 0.0).any() or (every > np.array(sight.size_px) - 1.0).any():
        raise CoreError(
            "The foot does not fit on the film: take more pixels or a coarser spacing.",
            at="exposure.size_px",
        )
