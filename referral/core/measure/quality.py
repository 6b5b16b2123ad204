"""What the answers to how a film was taken mean for its readings."""

from dataclasses import dataclass

from referral.core.errors import CoreError
from referral.core.measure.readings import Caveat
from referral.core.measure.views import VIEWS

GROWN_DAYS = 7
LONG_GROWN_DAYS = 28
"""Days since the trim from which growth is named, and from which it counts (common practice)."""


@dataclass(frozen=True, slots=True)
class Taken:
    """How a film or photo was taken, as far as it was said; ``None`` is what was not said.

    ``trim`` is ``before after unknown`` and ``shod`` is ``yes no unknown``.
    """

    view: str
    trim: str
    shod: str
    condyles_superimposed: bool | None = None
    cannon_vertical: bool | None = None
    on_blocks: bool | None = None
    beam_at_sole: bool | None = None
    days_since_trim: int | None = None


ASKED: tuple[tuple[str, str, frozenset[str]], ...] = (
    (
        "condyles_superimposed",
        "whether the condyles lie over each other",
        frozenset({"lateromedial"}),
    ),
    (
        "cannon_vertical",
        "whether the cannon stood vertical",
        frozenset({"lateromedial", "side_photo"}),
    ),
    ("on_blocks", "whether both feet stood on blocks", frozenset({"lateromedial", "dorsopalmar"})),
    (
        "beam_at_sole",
        "the height of the beam",
        frozenset({"lateromedial", "dorsopalmar"}),
    ),
    ("days_since_trim", "the days since the last trim", frozenset({"lateromedial", "dorsopalmar"})),
)
"""What is asked of which views, and how it is called where it was not said."""

NO_BLOCKS = Caveat(
    "not_on_blocks",
    "The feet did not stand on blocks of one height: the weight on this foot is not half, the "
    "palmar angle may be off, and the sole's edge is easily cut off.",
)
HIGH_BEAM = Caveat(
    "beam_not_at_sole",
    "The beam was not at the height of the sole: what is measured upright (sole depth, founder "
    "distance, height of tip and joint) and the palmar angle are doubtful.",
)
LEANING = Caveat(
    "cannon_not_vertical",
    "The cannon did not stand vertical: the angles between the bones, the arms about the joint "
    "and the plumb line are doubtful.",
)
SHOD = Caveat(
    "shod_film",
    "The film is of a shod foot: the ground line is the shoe's, and breakover is the shoe's too.",
)
SHOD_UNKNOWN = Caveat(
    "shod_not_said", "Nobody said whether the foot was shod: nothing is foretold from this film."
)


def quality_caveats(taken: Taken) -> tuple[Caveat, ...]:
    """Return what is doubtful about a picture by the way it was taken.

    Returns
    -------
    tuple of Caveat
        One for each answer that makes readings doubtful, then one that names every answer
        that is lacking. Oblique films have theirs from measuring (``oblique``).

    Raises
    ------
    CoreError
        If the view is none that is known, or the days since the trim are below zero.

    Notes
    -----
    A beam at the sole's height and equal blocks: usual technique for films of balance (Adams &
    Stashak's Lameness in Horses, 7th ed.; from memory). The spans of days: common practice, no
    source.

    Examples
    --------
    >>> told = Taken("lateromedial", "before", "no", True, True, False, True, 3)
    >>> [caveat.code for caveat in quality_caveats(told)]
    ['not_on_blocks']
    """
    if taken.view not in VIEWS:
        raise CoreError(f"There is no view {taken.view!r}.", at="film.view")
    if taken.days_since_trim is not None and taken.days_since_trim < 0:
        raise CoreError("The days since the trim are nought or more.", at="film.days_since_trim")
    found = [*_doubts(taken), *_of_days(taken), *_unsaid(taken)]
    return tuple(found)


def _doubts(taken: Taken) -> list[Caveat]:
    asked = {name for name, _says, views in ASKED if taken.view in views}
    answers = {"on_blocks": NO_BLOCKS, "beam_at_sole": HIGH_BEAM, "cannon_vertical": LEANING}
    found = [
        caveat
        for name, caveat in answers.items()
        if name in asked and getattr(taken, name) is False
    ]
    if not VIEWS[taken.view].is_photo:
        shod = {"yes": SHOD, "unknown": SHOD_UNKNOWN}.get(taken.shod)
        found += [shod] if shod else []
    return found


def _of_days(taken: Taken) -> list[Caveat]:
    days = taken.days_since_trim
    if days is None or taken.trim == "after" or days <= GROWN_DAYS:
        return []
    long = " and its angles have drifted" if days > LONG_GROWN_DAYS else ""
    text = (
        f"The foot has grown for {days} days since the last trim: toe and breakover lie farther "
        f"forward{long}."
    )
    return [Caveat("grown_since_trim", text)]


def _unsaid(taken: Taken) -> list[Caveat]:
    lacking = [
        says for name, says, views in ASKED if taken.view in views and getattr(taken, name) is None
    ]
    if taken.trim == "unknown":
        lacking.append("whether it was before or after the trim")
    if not lacking:
        return []
    return [Caveat("not_said", f"Not said of this picture: {', '.join(lacking)}.")]
