"""What is looked at in an assessment: each question with the answers it takes.

Observations only, in the trade's words: none of the answers is a diagnosis.
"""

from collections.abc import Mapping
from dataclasses import dataclass

Options = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that is looked at. ``takes_several``: more than one answer may be ticked."""

    code: str
    asks: str
    options: Options
    takes_several: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the assessment, under its own heading."""

    code: str
    heading: str
    hint: str
    questions: tuple[Question, ...]


EVEN = (("even", "Even"), ("medial", "More on the inside"), ("lateral", "More on the outside"))
STANDING = Part(
    "standing",
    "Standing",
    "On level firm ground, square, with the shoes still on.",
    (
        Question(
            "conformation",
            "Limb",
            (
                ("straight", "Straight"),
                ("toe_in", "Toe in"),
                ("toe_out", "Toe out"),
                ("base_narrow", "Base narrow"),
                ("base_wide", "Base wide"),
                ("over_at_knee", "Over at the knee"),
                ("back_at_knee", "Back at the knee"),
                ("upright", "Upright pastern"),
                ("sloping", "Sloping pastern"),
            ),
            takes_several=True,
        ),
        Question(
            "hoof_pastern_axis",
            "Hoof to pastern",
            (
                ("straight", "In one line"),
                ("broken_back", "Broken back"),
                ("broken_forward", "Broken forward"),
            ),
        ),
        Question("coronet", "Coronet, from in front", (("level", "Level"), *EVEN[1:])),
        Question("symmetry", "Sides of the foot", EVEN),
    ),
)
MOVING = Part(
    "moving",
    "Moving",
    "Walked and trotted in hand on a firm surface.",
    (
        Question(
            "landing",
            "Lands",
            (
                ("flat", "Flat"),
                ("heel_first", "Heel first"),
                ("toe_first", "Toe first"),
                ("medial_first", "Inside first"),
                ("lateral_first", "Outside first"),
            ),
        ),
        Question(
            "flight",
            "Flight",
            (
                ("straight", "Straight"),
                ("inwards", "Swings inwards"),
                ("outwards", "Swings outwards"),
                ("touches_other", "Touches the other limb"),
            ),
        ),
        Question(
            "wear",
            "Wear of the shoe",
            (
                ("even", "Even"),
                ("toe", "Toe"),
                ("heels", "Heels"),
                ("medial", "Inner branch"),
                ("lateral", "Outer branch"),
            ),
            takes_several=True,
        ),
    ),
)
FOOT = Part(
    "foot",
    "The foot",
    "Cleaned, looked at from all sides.",
    (
        Question(
            "distortion",
            "Flares and distortion",
            (
                ("none", "None"),
                ("toe_flare", "Toe"),
                ("medial_flare", "Inner wall"),
                ("lateral_flare", "Outer wall"),
                ("dished", "Dished front wall"),
                ("bulging", "Bulging wall"),
                ("heels_forward", "Heels run forward"),
                ("crushed_heels", "Heels crushed"),
                ("one_heel_higher", "One heel bulb higher"),
                ("narrow_heels", "Narrow heels"),
                ("rings", "Rings that spread at the heels"),
            ),
            takes_several=True,
        ),
        Question(
            "room_for_nails",
            "Wall to nail to",
            (("good", "Good all round"), ("part", "In places"), ("none", "None")),
        ),
    ),
)
UNDER_SHOE = Part(
    "under_shoe",
    "Under the old shoe",
    "With the shoe off, before the trim.",
    (
        Question(
            "found",
            "Found",
            (
                ("nothing", "Nothing of note"),
                ("shoe_moved", "Shoe moved or sprung"),
                ("nail_close", "A nail stood close"),
                ("wall_separated", "Wall parted at the white line"),
                ("soft_horn", "Soft or foul horn"),
                ("stained_sole", "Stained sole"),
                ("crack", "Crack"),
                ("flat_sole", "Flat or dropped sole"),
                ("thin_sole", "Sole gives to the thumb"),
                ("tender", "Tender to the pincers"),
            ),
            takes_several=True,
        ),
    ),
)
PARTS = (STANDING, MOVING, FOOT, UNDER_SHOE)
QUESTIONS: Mapping[str, Question] = {each.code: each for part in PARTS for each in part.questions}
"""Every question by its code."""

NUMBERS: tuple[tuple[str, str], ...] = (
    ("photo_wall_angle_deg", "Dorsal wall angle, by gauge"),
    ("photo_heel_angle_deg", "Heel angle, by gauge"),
    ("photo_toe_length_mm", "Toe length, coronet to ground"),
    ("foot_length_mm", "Foot length, heels to toe"),
    ("foot_width_mm", "Foot width at the widest part"),
    ("heel_to_widest_mm", "Heels to the widest part of the foot"),
    ("half_width_medial_mm", "Middle line to the inner edge at the widest part"),
    ("half_width_lateral_mm", "Middle line to the outer edge at the widest part"),
    ("heel_medial_length_mm", "Widest part to the inner heel"),
    ("heel_lateral_length_mm", "Widest part to the outer heel"),
    ("plumb_to_heel_mm", "Fetlock plumb line to the heel of the bare foot (+ heel behind)"),
    (
        "heel_to_frog_widest_mm",
        "Widest part of the frog to the heel of the bare foot (+ heel behind)",
    ),
    ("frog_width_length_ratio", "Frog, width over length"),
)
"""What is measured on the foot itself with rule and gauge: the reading's code, what is asked."""

WHOLE_FOOT = "whole"
PHOTO_SUBJECTS: Options = (
    (WHOLE_FOOT, "The limb as a whole"),
    *((each.code, each.asks) for each in QUESTIONS.values()),
)
"""What a photo of an assessment can be of: one of the observations, or the whole limb."""

GIRTH = "coronet_circumference_mm"
GIRTH_ASKED = "Girth of the coronet, with a tape"
DAMAGED_HEELS = frozenset({"heels_forward", "crushed_heels"})
"""What is seen of heels that a wedge would load further."""


def answers_said(answers: Mapping[str, object]) -> tuple[tuple[str, str], ...]:
    """Return what was answered, question by question, in words."""
    said = []
    for code, question in QUESTIONS.items():
        given = answers.get(code)
        chosen = given if isinstance(given, list) else [given] if given else []
        labels = dict(question.options)
        if chosen:
            said.append((question.asks, ", ".join(labels[str(each)] for each in chosen)))
    if answers.get(GIRTH):
        said.append((GIRTH_ASKED, f"{answers[GIRTH]:g} mm"))
    return tuple(said)
