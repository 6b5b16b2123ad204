"""The notes of a case that are an entry and nothing more: what each asks, and what it says.

A note's closed answers and days stand in its entry as facts; what is written in words stands
there as a salted hash, with the words in a row that can be erased.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from referral.cases.choices import LIMBS, TETANUS
from referral.cases.lameness import GAITS, SCALES, alarm_of, grade_faults
from referral.core.workflow import Move

Options = tuple[tuple[str, str], ...]
Answers = Mapping[str, Any]

DRUGS: Options = (
    ("sedation", "Sedation"),
    ("nerve_block", "Nerve or joint block"),
    ("anti_inflammatory", "Anti-inflammatory, pain relief"),
    ("antibiotic", "Antibiotic"),
    ("tetanus", "Tetanus vaccine or antitoxin"),
    ("other", "Something else"),
)
COMFORT: Options = (
    ("comfortable", "Comfortable, moves freely"),
    ("tender", "Tender, short in front or behind"),
    ("lame", "Lame, or lamer than before"),
    ("not_seen", "Not seen moving"),
)
SHOE: Options = (
    ("sound", "Firm and in place"),
    ("moved", "Loose, moved or twisted"),
    ("lost", "Lost"),
    ("none", "No shoe"),
)
SUPPORT: Options = (
    ("quiet", "Cool, normal pulse, loaded as before"),
    ("warm", "Warm, or a bounding pulse"),
    ("shifting", "Rested, shifted off, or sore on it"),
    ("sinking", "Sole bulging, or a groove at the coronary band"),
)
DEVICES: Options = (("wedge", "Wedge"), ("bar", "Bar shoe"), ("wedge_and_bar", "Wedge and bar"))
PARTNERS: Options = (
    ("vet", "The vet"),
    ("farrier", "The farrier"),
    ("owner", "The owner"),
    ("other", "Somebody else"),
)


@dataclass(frozen=True, slots=True)
class Asked:
    """One field of a note. With options it is a choice; ``is_day`` a day; else words.

    With ``at_most`` it is a number from 0 to that.
    """

    name: str
    label: str
    options: Options = ()
    is_day: bool = False
    required: bool = True
    hint: str = ""
    may_come: bool = False
    at_most: float | None = None

    @property
    def is_words(self) -> bool:
        """Whether it is free text, which can be erased."""
        return not (self.options or self.is_day or self.at_most is not None)


@dataclass(frozen=True, slots=True)
class NoteKind:
    """One kind of note: its move, its page, its fields.

    ``faults`` finds what does not go together in the answers and the note's day, beside its
    field; ``alarm`` says why a red flag should be raised next, by the answers and the notes before,
    newest first.
    """

    move: Move
    heading: str
    button: str
    said: str
    asked: tuple[Asked, ...]
    lead: str = ""
    cautions: tuple[str, ...] = ()
    faults: Callable[[Answers], dict[str, list[str]]] = lambda _answers: {}
    alarm: Callable[[Answers, Iterable[Answers]], str] = lambda _answers, _before: ""


def _limb(*, required: bool = True) -> Asked:
    return Asked("limb", "Limb", LIMBS, required=required)


def _wear_off_faults(answers: Answers) -> dict[str, list[str]]:
    until = answers.get("wears_off_on")
    if until is None or until >= answers["happened_on"]:
        return {}
    return {"wears_off_on": ["This day is before it was given."]}


SUPPORT_ALARM = "The support limb is in danger: say so here, and ring the vet now."

NOTES: Mapping[str, NoteKind] = {
    "calls": NoteKind(
        Move.ADD_CALL_NOTE,
        "Note a call",
        "Keep the note",
        "The call note is kept; the other side is asked to confirm it.",
        (
            Asked("with_whom", "With", PARTNERS),
            Asked("words", "What was said and agreed"),
        ),
        "A call that nobody wrote down was never made. The other side confirms what stands here.",
    ),
    "medication": NoteKind(
        Move.NOTE_MEDICATION,
        "Note medication",
        "Keep the note",
        "The medication is noted, and is shown where the visit is recorded.",
        (
            Asked("medication", "What was given", DRUGS),
            Asked("words", "Which, how much, by whom"),
            _limb(required=False),
            Asked(
                "wears_off_on",
                "Until when it may hide pain",
                is_day=True,
                required=False,
                may_come=True,
            ),
        ),
        cautions=("Comfort cannot be judged while blocked, sedated or medicated.",),
        faults=_wear_off_faults,
    ),
    "lameness": NoteKind(
        Move.GRADE_LAMENESS,
        "Grade the lameness",
        "Keep the grade",
        "The grade is kept, and stands over the visits beside those of its own scale.",
        (
            _limb(),
            Asked("scale", "Scale", tuple((code, each.label) for code, each in SCALES.items())),
            Asked("grade", "Grade", at_most=max(each.worst for each in SCALES.values())),
            Asked("gait", "Seen", GAITS),
            Asked("words", "What else you saw", required=False),
        ),
        "A grade means something on its own scale alone: it is never turned into another's.",
        ("While blocked, sedated or medicated, how lame the horse is cannot be told.",),
        grade_faults,
        alarm_of,
    ),
    "emergencies": NoteKind(
        Move.RECORD_EMERGENCY,
        "Record emergency work",
        "Record it",
        "The emergency work is recorded; the vet is asked to look at it.",
        (
            _limb(),
            Asked("found", "What was found"),
            Asked("removed", "What was taken off or out", required=False),
            Asked("left", "What was left as it was, and why", required=False),
            Asked("rung", "Who was rung, and when", required=False),
            Asked("tetanus", "If something went in: tetanus", TETANUS, required=False),
        ),
        "First aid is never held up by a plan. Facts first; the vet decides what follows.",
        ("A nail or other object in the foot: leave it in if you can, protect it, ring the vet.",),
    ),
    "support-limb-checks": NoteKind(
        Move.CHECK_SUPPORT_LIMB,
        "Look at the support limb",
        "Keep what you saw",
        "What you saw of the support limb is kept.",
        (
            Asked("limb", "The foot that carries the weight", LIMBS),
            Asked("found", "What you found", SUPPORT),
            Asked("words", "What else you saw", required=False),
        ),
        "While one foot bears no weight, the opposite one is looked at at every visit.",
        ("It can founder within days. Anything but quiet: raise a red flag, and ring the vet.",),
        alarm=lambda answers, _before: "" if answers["found"] == "quiet" else SUPPORT_ALARM,
    ),
    "after-checks": NoteKind(
        Move.CHECK_AFTER_FITTING,
        "Check after fitting",
        "Keep the check",
        "The check after fitting is kept.",
        (
            Asked("comfort", "How the horse goes", COMFORT),
            Asked("shoe", "The shoe", SHOE),
            Asked("words", "What you saw", required=False),
        ),
        "One to three days after fitting, by whoever sees the horse.",
        ("Lame, or a shoe lost, twisted or trodden in: raise a red flag and ring the vet.",),
    ),
    "step-downs": NoteKind(
        Move.STEP_DOWN,
        "Step a device down",
        "Keep it",
        "It is recorded that the device is stepped down.",
        (_limb(), Asked("device", "Device", DEVICES), Asked("words", "How, and from when")),
    ),
    "renewals": NoteKind(
        Move.RENEW_DEVICE,
        "Keep a device on",
        "Keep the reason",
        "The reason for keeping the device on is recorded.",
        (_limb(), Asked("device", "Device", DEVICES), Asked("words", "Why it stays on")),
        "After three resets in a wedge or a bar, its reason is renewed or it is stepped down.",
    ),
}
"""Every kind of note by its part of the address."""

LABELS: Mapping[str, str] = {
    code: label
    for options in (DRUGS, COMFORT, SHOE, SUPPORT, DEVICES, PARTNERS, GAITS)
    for code, label in options
} | {code: scale.label for code, scale in SCALES.items()}
"""What a note's answers are called."""
