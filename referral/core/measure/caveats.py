"""What is doubtful about a picture: its scale, its view, the circle through the condyle."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.errors import DegenerateCircle
from referral.core.geometry.circle import FEWEST_POINTS, arc_deg
from referral.core.geometry.scale import Scale
from referral.core.measure.lateromedial import condyle_circle
from referral.core.measure.placement import Placement
from referral.core.measure.readings import Caveat

GREATEST_RESIDUAL_MM = 1.0
LEAST_ARC_DEG = 90.0

OBLIQUE: Mapping[str, Caveat] = MappingProxyType(
    {
        "lateromedial": Caveat(
            "oblique",
            "The condyles are not superimposed: the film is oblique, rotation reads too small, "
            "and the uncertainties are widened.",
        ),
        "dorsopalmar": Caveat(
            "oblique",
            "The film is oblique: widths along the ground read too small, walls and joint spaces "
            "of the two sides cannot be compared as they are, and the uncertainties are widened.",
        ),
    }
)
"""View -> what is doubtful of a film that is not square to the foot."""

PHOTO_GUIDE = Caveat(
    "photo", "Read from a photo: a guide from outside, not to be mixed with readings of a film."
)
SIZE_ASSUMED = Caveat(
    "size_assumed", "No scale: the uncertainty of angles is that of a foot of ordinary size."
)


@dataclass(frozen=True, slots=True)
class CondyleFit:
    """How well the condyle's points make a circle. ``count`` may be too few for one."""

    count: int
    residual_mm: float = 0.0
    arc_deg: float = 0.0

    @property
    def is_short(self) -> bool:
        """Return whether the points cover less than 90 degrees of their circle."""
        return self.count >= FEWEST_POINTS and self.arc_deg < LEAST_ARC_DEG


def scale_caveats(scale: Scale, *, is_placed: bool) -> tuple[Caveat, ...]:
    """Return what is doubtful about a picture's scale; ``is_placed`` says if it has a frame.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> [caveat.code for caveat in scale_caveats(no_scale(), is_placed=True)]
    ['size_assumed']
    """
    found = tuple(Caveat("scale", text) for text in scale.warnings)
    return (*found, SIZE_ASSUMED) if is_placed and scale.row_mm is None else found


def condyle_fit(placed: Placement, root: str) -> CondyleFit | None:
    """Return the fit of the condyle's points, or ``None`` if none are placed.

    Raises
    ------
    DegenerateCircle
        If the points lie on a straight line; its path starts with ``root``.
    """
    if "p2_condyle" not in placed.spans:
        return None
    # A circle fits alike in every frame, so the points are taken as they were placed.
    arc = placed.x0[:-2].reshape(-1, 2)[placed.spans["p2_condyle"]]
    try:
        circle = condyle_circle({"p2_condyle": arc})
    except DegenerateCircle as error:
        raise DegenerateCircle(error.message, at=f"{root}.p2_condyle") from error
    if circle is None:
        return CondyleFit(len(arc))
    residual_mm = float(circle.residual) * placed.unit_mm
    return CondyleFit(len(arc), residual_mm, float(arc_deg(arc, circle.centre)))


def condyle_caveats(fit: CondyleFit) -> tuple[Caveat, ...]:
    """Return what is doubtful about the circle.

    Examples
    --------
    >>> [caveat.code for caveat in condyle_caveats(CondyleFit(3, 0.0, 120.0))]
    ['circle_not_checked']
    """
    if fit.count < FEWEST_POINTS:
        return (Caveat("circle_few", "The condyle needs three points or more."),)
    found = []
    if fit.count == FEWEST_POINTS:
        text = "Circle fit not checked: three points always lie on a circle; place a fourth."
        found.append(Caveat("circle_not_checked", text))
    if fit.residual_mm > GREATEST_RESIDUAL_MM:
        text = f"The condyle's points miss their circle by {fit.residual_mm:.1f} mm; check them."
        found.append(Caveat("circle_residual", text))
    if fit.is_short:
        text = f"The condyle's points cover only {fit.arc_deg:.0f} degrees: its centre is unsure."
        found.append(Caveat("circle_arc", text))
    return tuple(found)
