"""The one list of readings: code, name, unit, sign, landmarks, source, sentence."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.errors import UnknownMeasure
from referral.core.measure.photo_texts import FRONT_PHOTO, OWN, SIDE_PHOTO, SOLE_PHOTO
from referral.core.measure.readings import Convention
from referral.core.measure.views import VIEWS
from referral.core.units import unit_of


@dataclass(frozen=True, slots=True)
class Measure:
    """One kind of reading.

    ``needs`` are the landmarks, ground points too; ``a|b`` means either. ``sign`` says what
    a positive value means, or is empty. ``source`` is where the definition comes from; the
    literature's definitions differ, so ``sentence`` is the convention kept here.
    """

    code: str
    name: str
    unit: str
    sign: str
    view: str
    needs: tuple[str, ...]
    source: str
    sentence: str

    @property
    def convention(self) -> Convention:
        """Return the definition in force, as it is kept with a reading."""
        return Convention(self.sign, self.sentence, self.needs, self.source)


CRIPPS = "Cripps & Eustace 1999, Equine Vet J 31:427-432"
DARE = "Dareh-Shori, Iran J Vet Surg (angles S, T, U, H, R)"

_LATEROMEDIAL: Mapping[str, tuple[str, str, str, str]] = {
    "palmar_angle_deg": (
        "Palmar angle",
        "+ processes higher than the tip",
        "Clements 2020, Equine Vet Educ, doi 10.1111/eve.13186",
        "Line from the tip to the mean of the palmar processes, against the ground.",
    ),
    "dorsal_p3_angle_deg": (
        "Dorsal face of the coffin bone",
        "",
        DARE,
        "Straight front face of the coffin bone, against the ground.",
    ),
    "dorsal_wall_angle_deg": (
        "Dorsal wall angle",
        "",
        DARE,
        "Upper straight part of the front wall, against the ground.",
    ),
    "heel_angle_deg": ("Heel angle", "", OWN, "Heel wall, against the ground."),
    "toe_heel_difference_deg": (
        "Toe-heel difference",
        "+ front wall steeper than the heel",
        "Kane 1998, Am J Vet Res 59:1545-1552",
        "Dorsal wall angle less heel angle.",
    ),
    "capsular_rotation_deg": (
        "Capsular rotation",
        "+ bone steeper than wall",
        DARE,
        "Dorsal face of the coffin bone less dorsal wall angle.",
    ),
    "p2_angle_deg": (
        "Short pastern angle",
        "",
        DARE,
        "Front face of the short pastern bone, against the ground.",
    ),
    "phalangeal_rotation_deg": (
        "Phalangeal rotation",
        "+ broken forward",
        DARE,
        "Dorsal face of the coffin bone less short pastern angle.",
    ),
    "bone_angle_deg": (
        "Bone angle",
        "",
        OWN,
        "Dorsal face of the coffin bone less palmar angle: fixed for one bone.",
    ),
    "founder_distance_mm": (
        "Founder distance",
        "+ bone lower than the hairline",
        CRIPPS,
        "Height of the hairline over the extensor process.",
    ),
    "wall_thickness_proximal_mm": (
        "Dorsal wall thickness, high",
        "",
        "Linford 1993, Am J Vet Res 54:38-51 (from memory)",
        "Square to the coffin bone's front face, from its upper end to the outer wall.",
    ),
    "wall_thickness_mid_mm": (
        "Dorsal wall thickness, middle",
        "",
        "Linford 1993, Am J Vet Res 54:38-51 (from memory)",
        "Square to the coffin bone's front face, from its middle to the outer wall.",
    ),
    "wall_thickness_distal_mm": (
        "Dorsal wall thickness, low",
        "",
        "Linford 1993, Am J Vet Res 54:38-51 (from memory)",
        "Square to the coffin bone's front face, from its lower end to the outer wall.",
    ),
    "wall_to_cortex_ratio": (
        "Wall to palmar cortex",
        "",
        "Mullard 2020, Equine Vet Educ (authorship from memory)",
        "Middle wall thickness over palmar cortex length; needs no scale.",
    ),
    "lamellar_lucent_zone_mm": (
        "Lamellar lucent zone",
        "+ horn in front of the bone",
        "Skelton 2025, Equine Vet J, doi 10.1111/evj.14436",
        "From the coffin bone's front face, square to it, to the dense horn's inner edge.",
    ),
    "palmar_cortex_length_mm": (
        "Palmar cortex length",
        "",
        "Turkmen, Vet Res Forum",
        "From the tip to the navicular joint edge: fixed for one horse.",
    ),
    "sole_depth_tip_mm": (
        "Sole depth under the tip",
        "",
        DARE,
        "Height of the tip over the sole's ground surface.",
    ),
    "sole_depth_process_mm": (
        "Sole depth under the palmar process",
        "",
        OWN,
        "Height of the palmar processes over the sole's ground surface.",
    ),
    "tip_to_ground_mm": (
        "Tip to ground",
        "",
        OWN,
        "Height of the tip over the ground line, air, pad and shoe included.",
    ),
    "sole_cup_tip_mm": (
        "Sole cup",
        "+ sole above the bearing line",
        OWN,
        "Height of the sole under the tip over the hoof's own bearing line.",
    ),
    "sole_to_shoe_mm": (
        "Sole to shoe",
        "+ gap",
        OWN,
        "From the sole to the shoe's foot surface at the web's inner edge, seating-out added.",
    ),
    "breakover_distance_mm": (
        "Breakover distance",
        "+ breakover in front of the tip",
        "Kummer 2006, Vet J, doi 10.1016/j.tvjl.2005.03.008",
        "Along the ground, from below the tip to the breakover.",
    ),
    "toe_distance_mm": (
        "Toe distance",
        "+ toe in front of the tip",
        "Kummer 2006, Vet J, doi 10.1016/j.tvjl.2005.03.008",
        "Along the ground, from below the tip to the toe.",
    ),
    "toe_arm_mm": (
        "Toe arm",
        "+ breakover in front of the centre",
        "Eliashar 2002 (from memory)",
        "Along the ground, from below the coffin joint's centre to the breakover, else the toe.",
    ),
    "heel_arm_mm": (
        "Heel arm",
        "+ heel behind the centre",
        OWN,
        "Along the ground, from the heel to below the coffin joint's centre.",
    ),
    "behind_centre_percent": (
        "Share behind the centre",
        "",
        "Adams & Stashak, 7th ed., p 1092",
        "Heel arm over heel arm and toe arm together.",
    ),
    "dip_height_mm": (
        "Coffin joint height",
        "",
        DARE,
        "Height of the coffin joint's centre over the ground line.",
    ),
    "bearing_length_mm": (
        "Bearing length",
        "",
        DARE,
        "Along the ground, from heel to toe.",
    ),
}

_LATERAL = "+ lateral side higher"
_LATERAL_MORE = "lateral less medial"

_DORSOPALMAR: Mapping[str, tuple[str, str, str, str]] = {
    "p3_tilt_deg": (
        "Coffin bone tilt",
        _LATERAL,
        OWN,
        "Line through the lower edges of the coffin bone, against the ground.",
    ),
    "joint_tilt_deg": (
        "Coffin joint tilt",
        _LATERAL,
        OWN,
        "Line through the edges of the coffin bone's joint face, against the ground.",
    ),
    "joint_space_difference_mm": (
        "Joint space difference",
        _LATERAL_MORE,
        OWN,
        "One film alone is low confidence: stance changes it.",
    ),
    **{
        f"{code}_{side}{ending}": (f"{name}, {side}", sign, OWN, sentence)
        for side in ("medial", "lateral")
        for code, ending, name, sign, sentence in (
            (
                "joint_space",
                "_mm",
                "Joint space",
                "+ gap",
                "From the joint line of the coffin bone, square to it, to the short pastern bone.",
            ),
            (
                "sole_depth",
                "_mm",
                "Sole depth",
                "",
                "Height of the coffin bone's lower edge over the sole's ground surface.",
            ),
            (
                "wall_thickness",
                "_mm",
                "Wall thickness",
                "",
                "From the coffin bone's side face to the outer wall, square to the wall.",
            ),
            (
                "coronet_height",
                "_mm",
                "Coronet height",
                "",
                "Height of the coronet over the ground line.",
            ),
            (
                "wall_angle",
                "_deg",
                "Wall angle",
                "below 90 flares outward",
                "Outer wall against the ground, measured through the horn.",
            ),
        )
    },
}

_TEXTS = {
    "lateromedial": _LATEROMEDIAL,
    "dorsopalmar": _DORSOPALMAR,
    "sole_photo": SOLE_PHOTO,
    "side_photo": SIDE_PHOTO,
    "front_photo": FRONT_PHOTO,
}


def _measure(view: str, code: str) -> Measure:
    name, sign, source, sentence = _TEXTS[view][code]
    spec = VIEWS[view]
    ground = () if code in spec.ground_free else spec.frame
    needs = tuple(dict.fromkeys((*spec.needs[code], *ground)))
    return Measure(code, name, unit_of(code) or "", sign, view, needs, source, sentence)


MEASURES: Mapping[str, Measure] = MappingProxyType(
    {code: _measure(view, code) for view, texts in _TEXTS.items() for code in texts}
)
"""Every reading there is, by code, in the order in which pages show them."""


def measure_of(code: str, *, at: str = "") -> Measure:
    """Return the reading's entry in the registry.

    Raises
    ------
    UnknownMeasure
        If no reading has this code.

    Examples
    --------
    >>> measure_of("palmar_angle_deg").unit
    'deg'
    """
    measure = MEASURES.get(code)
    if measure is None:
        raise UnknownMeasure(f"There is no reading called {code!r}.", at=at)
    return measure
