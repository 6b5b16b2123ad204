"""How lame a horse was seen to be: grades on the scales in use, never turned into one another."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale of lameness from 0: its worst grade, and from what a vet is to be rung at once.

    ``alarming`` is the grade, ``jump`` the worsening since the grade before, from which it is.
    """

    label: str
    worst: float
    alarming: float | None = None
    jump: float | None = None


SCALES: Mapping[str, Scale] = {
    "aaep": Scale("0 to 5 (AAEP)", 5.0, alarming=5.0, jump=1.0),
    "uk": Scale("0 to 10 (United Kingdom)", 10.0, alarming=9.0, jump=2.0),
    "obel": Scale("Obel, 0 to 4 (laminitis)", 4.0, alarming=3.0),
    "modified_obel": Scale("Modified Obel, sum 0 to 12 (laminitis)", 12.0),
}
"""The scales in use. Where the alarm lies is common practice, no source."""

GAITS = (
    ("rest", "At rest"),
    ("walk", "At the walk"),
    ("trot_straight", "Trot in hand, straight"),
    ("trot_circle_hard", "Trot on a circle, hard ground"),
    ("trot_circle_soft", "Trot on a circle, soft ground"),
    ("after_flexion", "After flexion"),
)
HALVES = 2


def grade_faults(answers: Mapping[str, Any]) -> dict[str, list[str]]:
    """Return what is wrong with a grade, beside its field: none that the scale does not have."""
    scale, grade = SCALES[answers["scale"]], answers["grade"]
    if grade > scale.worst:
        return {"grade": [f"This scale ends at {scale.worst:g}: {scale.label}."]}
    if not (grade * HALVES).is_integer():
        return {"grade": ["Whole grades or halves."]}
    return {}


def is_alarming(now: Mapping[str, Any], before: Iterable[Mapping[str, Any]]) -> bool:
    """Return whether a grade calls for a red flag: as bad as that, or so much worse than before.

    ``before`` are earlier grades of the same limb, newest first; only one of the same scale and
    gait is compared with.
    """
    scale, grade = SCALES[now["scale"]], now["grade"]
    if scale.alarming is not None and grade >= scale.alarming:
        return True
    like = (each for each in before if all(each[key] == now[key] for key in ("scale", "gait")))
    last = next(like, None)
    return scale.jump is not None and last is not None and grade - last["grade"] >= scale.jump


def alarm_of(answers: Mapping[str, Any], before: Iterable[Mapping[str, Any]]) -> str:
    """Return what to do at once about a grade that is being kept, empty where it can wait."""
    mine = [each for each in before if each["limb"] == answers["limb"]]
    if not is_alarming(answers, mine):
        return ""
    return "So lame, or so much lamer, is a red flag: say so here, and see the horse now."
