"""Which feet a rule leaves out and why, and what must be known before it can answer."""

from collections.abc import Mapping, Sequence

from referral.core.measure.landmarks import LANDMARKS
from referral.core.measure.registry import MEASURES
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import LIMBS, Applies, Limit, Rule
from referral.horses.choices import ANIMALS
from referral.rules.words import GROUPS, measure_name
from referral.web.written import LIMBS as LIMB_NAMES
from referral.web.written import words

PLAN, FILM, FOOT, SAID = "the plan", "a film", "the foot in hand", "an answer on the case"
FILM_VIEWS = ("lateromedial", "dorsopalmar")
SOURCES = (FILM, PLAN, FOOT, SAID)
"""Where what a rule needs comes from; the list of rules can be told to show one of them."""

COMPARED: Mapping[str, str] = {
    "previous": "the same on the visit before",
    "opposite": "the same on the other foot",
}
OF_NEEDS: Mapping[str, tuple[str, str]] = {
    "wedge": (PLAN, "the wedge in degrees and in millimetres, with the length it lies on"),
    "pair_lift": (PLAN, "shoe and pad of both feet of the pair"),
    "film_scale": (FILM, "a film, with a marker or the detector’s distances"),
    "film_before_trim": (FILM, "a film, and whether it shows the foot before the trim"),
    "recent_film": (FILM, "a film with its day, and the day of fitting"),
    "recheck": (SAID, "who owns the recheck, and its day"),
    "red_flags": (SAID, "whether red flags were asked about, and which were seen"),
    "founder_rise": (FILM, "the founder distance on this film and on that of the visit before"),
    "film_doubts": (FILM, "what makes the film doubtful, by its file, its scale and its places"),
    "fitted_as_signed": (SAID, "what was fitted, and the reason of each difference"),
    "frog_plate": (PLAN, "the frog plate, and how high it stands above the shoe"),
    "surface": (PLAN, "the shoe, and the ground that the horse goes on"),
    "turned_back": (PLAN, "trim and wedge on this foot, and where it breaks over"),
    "wedge_on_weak_heels": (FOOT, "the wedge, and whether the heels are damaged"),
    "lameness_scale": (SAID, "each lameness value with the name of its scale"),
    "identity": (SAID, "the horse’s chip number and UELN"),
    "farrier_words": (SAID, "the farrier’s own words on the case"),
}
DERIVED_NEEDS: Mapping[str, tuple[str, str]] = {
    "shoe_cover_mm": (PLAN, "how far the shoe reaches behind the heel and past either side"),
    "shoe_past_plumb_line_mm": (FOOT, "the shoe, and the plumb line’s distance behind the heel"),
    "shoe_past_frog_line_mm": (FOOT, "the shoe, and the frog’s widest part ahead of the heel"),
    "heel_length_difference_mm": (FOOT, "the length of either heel"),
    "gauge_toe_heel_difference_deg": (FOOT, "toe and heel angle by gauge or photo"),
    "mass_per_area": (SAID, "the horse’s weight, and the girth of the coronet"),
    "resets_in_device": (SAID, "how many visits in this wedge or bar"),
    "last_nail_from_toe_percent": (FOOT, "the nails, and the foot’s length"),
}


def needs(rule: Rule) -> tuple[str, tuple[str, ...]]:
    """Return where what a rule needs comes from, and each thing that must be known."""
    if rule.measure is None:
        source, said = OF_NEEDS[rule.of or ""]
        return source, (said,)
    compared = {
        "previous": "the same on the visit before",
        "opposite": "the same on the other foot",
    }
    more = (compared[rule.against],) if rule.against else ()
    if rule.measure in MEASURES:
        return _of_reading(rule.measure, more)
    if rule.measure in DERIVED_NEEDS:
        source, said = DERIVED_NEEDS[rule.measure]
        return source, (said, *more)
    name = measure_name(rule.measure)
    return PLAN, (f"{name[:1].lower()}{name[1:]}", *more)


def _of_reading(code: str, more: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    measure = MEASURES[code]
    places = {name: said for view in LANDMARKS.values() for name, said in view.items()}
    named = [
        " or ".join(places.get(each, words(each)).rstrip(".") for each in need.split("|"))
        for need in measure.needs
    ]
    length = ("a scale, because it is a length",) if measure.unit == "mm" else ()
    name = f"{measure.name} as a reading"
    read = (f"{name}, or its landmarks:", *named) if named else (name,)
    source = FILM if measure.view in FILM_VIEWS else FOOT
    return source, (*read, *length, *more)


def left_out(rule: Rule, limits: Sequence[Limit]) -> tuple[tuple[str, str], ...]:
    """Return the feet that get no answer by these limits, each with the finding's reason."""
    return (*_out_of_scope(rule.applies), *_without_limit(limits))


def _without_limit(limits: Sequence[Limit]) -> list[tuple[str, str]]:
    groups = {limit.only for limit in limits}
    return [
        (feet, Reason.NOT_IN_FORCE.sentence)
        for group, feet in GROUPS.items()
        if None not in groups and group not in groups
    ]


def _out_of_scope(applies: Applies) -> list[tuple[str, str]]:
    found = []
    limbs = [LIMB_NAMES[limb] for limb in LIMBS if limb not in applies.limbs]
    if limbs:
        found.append((", ".join(limbs), Reason.OTHER_LIMB.sentence))
    animals = [
        label
        for code, label in ANIMALS
        if code in applies.not_animals
        or (applies.animals is not None and code not in applies.animals)
    ]
    if animals:
        found.append((", ".join(animals), Reason.OTHER_ANIMAL.sentence))
    for wanted, kind, reason in (
        (applies.conditions, "feet without", Reason.OTHER_CONDITION),
        (applies.devices, "shoes other than", Reason.OTHER_DEVICE),
        (applies.attachments, "shoes attached otherwise than by", Reason.OTHER_ATTACHMENT),
    ):
        if wanted is not None:
            named = " or ".join(words(each) for each in sorted(wanted))
            bare = "a bare foot" if named == "any" else f"{kind} {named}"
            found.append((bare, reason.sentence))
    return found
