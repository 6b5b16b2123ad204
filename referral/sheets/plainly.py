"""A problem and a plan in words that an owner uses."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from referral.shoes.choices import CATEGORIES
from referral.web.written import day

PROBLEMS: Mapping[str, str] = {
    "acute_laminitis": "The tissue that holds the hoof to the bone is inflamed, and may give way.",
    "chronic_laminitis": "The hold between the hoof and the bone inside it has been damaged "
    "before, and the bone no longer lies as it should.",
    "low_palmar_angle": "The bone inside the hoof lies too flat, or tips backward.",
    "under_run_heels": "The toe has grown long and the heels have run forward under the foot.",
    "palmar_foot_pain": "The back part of the foot hurts.",
    "club_foot": "The foot is too upright, because a tendon at the back of the leg pulls on it.",
    "quarter_crack": "The hoof wall is cracked at its side.",
    "toe_crack": "The hoof wall is cracked at the toe.",
    "sheared_heels": "One heel is pushed higher than the other, and the two move apart.",
    "mediolateral_imbalance": "One side of the foot carries more than the other.",
    "dip_arthritis": "The joint inside the foot is worn and inflamed.",
    "collateral_ligament_injury": "A band at the side of the joint inside the foot is injured.",
    "deep_flexor_tendon_injury": "The tendon that ends under the foot is injured.",
    "pedal_bone_fracture": "The bone inside the hoof is broken.",
    "white_line_disease": "The seam between wall and sole is being eaten away from below.",
    "keratoma": "A growth of horn inside the wall presses on the bone.",
    "abscess": "Pus is caught inside the hoof.",
}
"""What each problem is, for somebody who is no vet (common practice, no source)."""

SURE = {
    "confirmed": "The vet is sure of it.",
    "probable": "The vet thinks it likely.",
    "suspected": "The vet suspects it; it is not sure yet.",
}
READINGS: Mapping[str, str] = {
    "palmar_angle_deg": "slope of the bone inside the hoof",
    "dorsal_wall_angle_deg": "slope of the front wall",
    "heel_angle_deg": "slope of the heels",
    "sole_depth_tip_mm": "sole under the tip of the bone",
    "sole_depth_process_mm": "sole under the back of the bone",
    "breakover_distance_mm": "how far ahead of the bone the foot rolls over",
    "toe_distance_mm": "toe ahead of the bone",
    "behind_centre_percent": "share of the foot that carries behind the joint",
    "founder_distance_mm": "how deep the bone lies below the hairline",
    "capsular_rotation_deg": "how far wall and bone have come apart",
    "phalangeal_rotation_deg": "bend of the joint inside the foot",
}
"""What the readings that limits are set on tell of, for somebody who is no vet."""
ATTACHED = {
    "nails": "nailed on",
    "glue": "glued on",
    "screws": "screwed on",
    "cast": "held by a cast",
}
AMOUNTS = (
    ("toe_trim_mm", "{n} mm of horn at the toe"),
    ("heel_trim_mm", "{n} mm of horn at the heels"),
    ("heel_trim_medial_mm", "{n} mm of horn at the inside heel"),
    ("heel_trim_lateral_mm", "{n} mm of horn at the outside heel"),
    ("toe_dress_mm", "{n} mm off the front of the toe"),
    ("sole_pare_mm", "{n} mm off the sole"),
)
SHOE_AMOUNTS = (
    (
        "breakover_setback_mm",
        "Its front edge sits {n} mm back from the toe, so that the foot rolls over sooner.",
    ),
    (
        "heel_extension_mm",
        "It reaches {n} mm behind the heels; it can be trodden on, so use overreach boots.",
    ),
    ("medial_extension_mm", "It stands out {n} mm on the inside."),
    ("lateral_extension_mm", "It stands out {n} mm on the outside."),
)


def problem_plainly(condition: str, certainty: str) -> str:
    """Return what is wrong and how sure the vet is; what has no plain words is left to the vet."""
    said = PROBLEMS.get(condition, "The vet explains it in own words.")
    return f"{said} {SURE.get(certainty, '')}".strip()


def reading_plainly(code: str, name: str) -> str:
    """Return what a reading tells of, or its name where there are no plainer words."""
    return READINGS.get(code, name.lower())


def work_plainly(content: Mapping[str, Any], *, done: bool) -> tuple[str, ...]:
    """Return what is done to one foot in sentences, from a plan or a record of a reset."""
    return (*_trim(content, done=done), *_shoe(content), *_under(content), *_when(content))


def _trim(content: Mapping[str, Any], *, done: bool) -> tuple[str, ...]:
    taken = [words.format(n=_n(content[key])) for key, words in AMOUNTS if content.get(key)]
    if not taken:
        return ("No horn was taken off." if done else "No horn is to be taken off.",)
    verb = "was taken off" if done else "is to be taken off"
    return (f"This {verb}: {' and '.join(taken)}.",)


def _shoe(content: Mapping[str, Any]) -> tuple[str, ...]:
    shoe = content.get("shoe") or {}
    if not shoe.get("category"):
        return ("The foot stays without a shoe.",)
    name = dict(CATEGORIES).get(shoe["category"], shoe["category"]).lower()
    material = f" of {shoe['material']}" if shoe.get("material") not in (None, "other") else ""
    attached = ATTACHED.get(content.get("attachment") or "", "")
    said = f"Shoe: {name}{material}{', ' if attached else ''}{attached}."
    return (
        said,
        *(words.format(n=_n(shoe[key])) for key, words in SHOE_AMOUNTS if shoe.get(key)),
    )


def _under(content: Mapping[str, Any]) -> tuple[str, ...]:
    said = []
    if content.get("wedge_deg"):
        height = f", about {_n(content['wedge_mm'])} mm" if content.get("wedge_mm") else ""
        said.append(f"A wedge lifts the heels by {_n(content['wedge_deg'])}°{height}.")
    if content.get("pad_mm"):
        said.append(f"A pad of {_n(content['pad_mm'])} mm lies between the foot and the shoe.")
    if content.get("packing"):
        said.append(f"The sole is packed with {str(content['packing']).replace('_', ' ')}.")
    return tuple(said)


def _when(content: Mapping[str, Any]) -> tuple[str, ...]:
    weeks = content.get("interval_weeks")
    return (f"It has to be done again after {_n(weeks)} weeks.",) if weeks else ()


def _n(value: float) -> str:
    return f"{float(value):g}"


SOURCES = {
    "film": "By the films (X-rays) of {first} and {last}.",
    "photo": "By the photos of {first} and {last}: a guide, as they show the outside.",
}


def source_plainly(basis: str, first: date, last: date) -> str:
    """Return by what a change was seen, with its days, for somebody who is no vet."""
    told = SOURCES.get(basis, "By the figures that were written down of {first} and {last}.")
    return told.format(first=day(first), last=day(last))
