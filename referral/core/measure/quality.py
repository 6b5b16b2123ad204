"""What the answers to how a film was taken mean for its readings."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from referral.core.errors import CoreError
from referral.core.measure.readings import Caveat
from referral.core.measure.views import VIEWS

GROWN_DAYS = 7
LONG_GROWN_DAYS = 28
"""Days since the trim from which growth is named, and from which it counts (common practice)."""


@dataclass(frozen=True, slots=True)
class Taken:
    """How a film or photo was taken, as far as it was said; ``None`` is what was not said.

    ``condyles_superimposed`` of a film from the front says that it is square to the foot.
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


FILMS = frozenset({"lateromedial", "dorsopalmar"})
LATEROMEDIAL = frozenset({"lateromedial"})
DORSOPALMAR = frozenset({"dorsopalmar"})
SIDE_ON = frozenset({"lateromedial", "side_photo"})

ASKED: tuple[tuple[str, str, frozenset[str]], ...] = (
    ("condyles_superimposed", "whether the condyles lie over each other", LATEROMEDIAL),
    ("condyles_superimposed", "whether the film is square to the foot", DORSOPALMAR),
    ("cannon_vertical", "whether the cannon stood vertical", SIDE_ON),
    ("on_blocks", "whether both feet stood on blocks", FILMS),
    ("beam_at_sole", "the height of the beam", FILMS),
    ("days_since_trim", "the days since the last trim", FILMS),
)
"""What is asked of which views, and how it is called where it was not said."""

UNKNOWN_TRIM = "whether it was before or after the trim"
UNKNOWN_SHOD = "whether the foot was shod, so nothing is foretold from it"

DOUBTS: Mapping[str, Mapping[str, Caveat]] = MappingProxyType(
    {
        "lateromedial": MappingProxyType(
            {
                "on_blocks": Caveat(
                    "not_on_blocks",
                    "The feet did not stand on blocks of one height: this foot may carry more or "
                    "less than its half, the palmar angle may be off, and the sole's edge is "
                    "easily cut off.",
                ),
                "beam_at_sole": Caveat(
                    "beam_not_at_sole",
                    "The beam was not at the height of the sole: what is measured upright (sole "
                    "depth, founder distance, height of tip and joint) and the palmar angle are "
                    "doubtful.",
                ),
                "cannon_vertical": Caveat(
                    "cannon_not_vertical",
                    "The cannon did not stand vertical: the short pastern angle, phalangeal "
                    "rotation and the arms about the joint are doubtful.",
                ),
            }
        ),
        "dorsopalmar": MappingProxyType(
            {
                "on_blocks": Caveat(
                    "not_on_blocks",
                    "The feet did not stand on blocks of one height: this foot may carry more or "
                    "less than its half, tilts and joint spaces may be off, and the sole's edge "
                    "is easily cut off.",
                ),
                "beam_at_sole": Caveat(
                    "beam_not_at_sole",
                    "The beam was not at the height of the sole: what is measured upright (sole "
                    "depth and coronet height of either side) is doubtful.",
                ),
            }
        ),
        "side_photo": MappingProxyType(
            {
                "cannon_vertical": Caveat(
                    "cannon_not_vertical",
                    "The cannon did not stand vertical: the pastern angle is doubtful and the "
                    "plumb line is not read.",
                )
            }
        ),
    }
)
"""View -> the answer that is no -> what is doubtful then."""

SHOD: Mapping[str, Caveat] = MappingProxyType(
    {
        "lateromedial": Caveat(
            "shod_film",
            "The film is of a shod foot: the ground line and breakover are the shoe's, and heights "
            "over the ground include it; sole depth is the horn's alone.",
        ),
        "dorsopalmar": Caveat(
            "shod_film",
            "The film is of a shod foot: heights over the ground include the shoe; sole depth is "
            "the horn's alone.",
        ),
    }
)


def quality_caveats(taken: Taken) -> tuple[Caveat, ...]:
    """Return what is doubtful about a picture by the way it was taken.

    Returns
    -------
    tuple of Caveat
        One for each answer that makes readings doubtful, then one that names every answer
        that is lacking. Codes: ``not_on_blocks beam_not_at_sole cannon_not_vertical shod_film
        grown_since_trim not_said``. Oblique films have theirs from measuring (``oblique``).
        Photos are asked for the cannon alone, and that only from the side.

    Raises
    ------
    CoreError
        If the view is none that is known, or the days since the trim are below zero.

    Notes
    -----
    Beam at the sole: with the beam at the coronet palmar angles read larger and less evenly on
    24 feet ("position of x-ray beam centring", abstract, authors not shown). Equal blocks and a
    vertical cannon: usual technique (Adams & Stashak, 7th ed., from memory). The spans of days
    and what growth does in them: common practice, no source.

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
    return (*_doubts(taken), *_of_days(taken), *_unsaid(taken))


def _doubts(taken: Taken) -> list[Caveat]:
    answers = DOUBTS.get(taken.view, {})
    found = [caveat for name, caveat in answers.items() if getattr(taken, name) is False]
    if taken.shod == "yes" and taken.view in SHOD:
        found.append(SHOD[taken.view])
    return found


def _of_days(taken: Taken) -> list[Caveat]:
    days = taken.days_since_trim
    if days is None or days <= GROWN_DAYS or taken.view not in FILMS:
        return []
    what = {
        "lateromedial": "toe and breakover lie farther forward, and the sole may be deeper",
        "dorsopalmar": "walls and sole may be longer on one side than on the other",
    }[taken.view]
    long = (
        "" if days <= LONG_GROWN_DAYS else "; angles have drifted too, so film it anew if you can"
    )
    text = f"The foot has grown for {days} days since the last trim: {what}{long}."
    return [Caveat("grown_since_trim", text)]


def _unsaid(taken: Taken) -> list[Caveat]:
    lacking = [
        says for name, says, views in ASKED if taken.view in views and getattr(taken, name) is None
    ]
    if taken.view in FILMS and taken.trim == "unknown":
        lacking.append(UNKNOWN_TRIM)
    if taken.view in FILMS and taken.shod == "unknown":
        lacking.append(UNKNOWN_SHOD)
    if not lacking:
        return []
    return [Caveat("not_said", f"Not said of this picture: {'; '.join(lacking)}.")]
