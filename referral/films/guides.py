"""External guides: what photos say where no film does, and how far they lie from the joint.

A guide says the day it was taken. A sole photo is held against a film only where both show the
foot on one day and in one state; where they do not, the reason is said instead.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlalchemy.orm import Session

from referral.core.measure.external import AGREEMENT, HEEL_ARM, centre_agreement, external_guides
from referral.core.measure.readings import Measured, Reading
from referral.core.measure.registry import MEASURES
from referral.films.models import Film, ReadingSet
from referral.films.queries import films_of, is_guide, reading_sets
from referral.web.codes import in_words
from referral.web.written import day, quantity, with_u

FILM_VIEWS = ("lateromedial", "dorsopalmar")
JUDGED_SCALES = frozenset({"marker", "corrected"})
UNSAID = "unknown"


ReadSet = tuple[ReadingSet, Measured]


@dataclass(frozen=True, slots=True)
class Taken:
    """What was read on one day on a picture, or on the foot itself where there is no view."""

    taken_on: date
    measured: Measured
    view: str | None = None
    trim: str = UNSAID
    shod: str = UNSAID
    film_id: UUID | None = None


@dataclass(frozen=True, slots=True)
class GuidesPage:
    """The sentences on guides, and what is doubtful about them."""

    says: tuple[str, ...] = ()
    agreement: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.says or self.agreement or self.doubts)


def guides_by_limb(films: Sequence[Film], taken: Sequence[ReadSet]) -> dict[str, GuidesPage]:
    """Return what the guides of each limb of a case say, limbs that have any."""
    found = {limb: guides_say(sets) for limb, sets in sorted(_taken(films, taken).items())}
    return {limb: page for limb, page in found.items() if page}


def guides_of_photo(session: Session, film: Film) -> GuidesPage:
    """Return what one photo says where no film of its limb does, and how well it agrees."""
    films, taken = films_of(session, film.case_id), reading_sets(session, film.case_id)
    sets = _taken(films, taken).get(film.limb, [])
    return guides_say([each for each in sets if each.view in FILM_VIEWS or each.film_id == film.id])


def _taken(films: Sequence[Film], taken: Sequence[ReadSet]) -> dict[str, list[Taken]]:
    """Return what was read on each limb, newest first, each picture as it was last measured."""
    by_id = {film.id: film for film in films}
    limbs: dict[str, list[Taken]] = {}
    seen: set[UUID] = set()
    for row, measured in taken:
        if row.film_id in seen:
            continue
        film = by_id.get(row.film_id) if row.film_id else None
        if film is None:
            one = Taken(row.taken_on, measured)
        else:
            seen.add(film.id)
            one = Taken(row.taken_on, measured, film.view, film.trim, film.shod, film.id)
        limbs.setdefault(row.limb, []).append(one)
    return limbs


def guides_say(sets: Sequence[Taken]) -> GuidesPage:
    """Return the sentences on one limb's guides; ``sets`` stand newest first."""
    outside = [each for each in sets if any(is_guide(code) for code in each.measured.readings)]
    guides = external_guides(_newest_films(sets), [each.measured for each in outside])
    says, days = [], set()
    for guide in guides:
        source = next(each for each in outside if guide.reading.code in each.measured.readings)
        days.add(source.taken_on)
        says.append(
            f"{MEASURES[guide.reading.code].name} {_value_says(guide.reading)} on "
            f"{day(source.taken_on)}, a guide to the "
            f"{in_words(guide.stands_for)}; no film gives it"
        )
    return GuidesPage(tuple(says), _agreement_says(sets), _mixed(days))


def _newest_films(sets: Sequence[Taken]) -> Measured:
    """Return the readings of the newest measured film of each view together."""
    readings: dict[str, Reading] = {}
    for view in FILM_VIEWS:
        newest = next((each for each in sets if each.view == view and each.measured.readings), None)
        readings |= newest.measured.readings if newest else {}
    return Measured(readings)


def _mixed(days: Iterable[date]) -> tuple[str, ...]:
    taken = [day(each) for each in sorted(set(days))]
    if not taken[1:]:
        return ()
    said = f"{', '.join(taken[:-1])} and {taken[-1]}"
    return (f"These guides are of different days ({said}): the foot has grown between.",)


def why_not_compared(film: Taken, photo: Taken) -> str:
    """Return why a film and a photo show the foot in different states, or an empty string."""
    if film.taken_on != photo.taken_on:
        return f"the photo is of {day(photo.taken_on)} and the film of {day(film.taken_on)}"
    if UNSAID in (film.shod, photo.shod):
        return "it is not said of both whether the foot was shod"
    if film.shod != photo.shod:
        return "one shows the foot shod and the other bare"
    if UNSAID in (film.trim, photo.trim):
        return "it is not said of both whether they are of before or after the trim"
    if film.trim != photo.trim:
        return "one is of before the trim and the other of after it"
    return ""


def _agreement_says(sets: Sequence[Taken]) -> tuple[str, ...]:
    """Return how far the newest pair that can be compared lies apart, else why none can be."""
    films = [each for each in sets if each.view == "lateromedial"]
    soles = [each for each in sets if each.view == "sole_photo"]
    pairs = [(film, sole, why_not_compared(film, sole)) for film in films for sole in soles]
    if not pairs:
        return ()
    alike = [(film, sole) for film, sole, why in pairs if not why]
    if not alike:
        return (f"The sole photo is not held against the film: {pairs[0][2]}.",)
    film, sole = alike[0]
    found = centre_agreement(film.measured, sole.measured)
    apart = found.readings.get(AGREEMENT)
    if apart is None:
        why = in_words(found.absent[AGREEMENT])
        return (f"How far the widest part lies from the joint’s centre is not known: {why}.",)
    where = "in front of" if apart.value > 0 else "behind"
    says = (
        f"On {day(sole.taken_on)} the widest part of the foot lies {abs(apart.value):.1f} ± "
        f"{quantity(2 * apart.u, 'mm')} {where} the centre of the coffin joint"
    )
    is_judged = film.measured.readings[HEEL_ARM].scale_state in JUDGED_SCALES
    return (says if is_judged else f"{says}; the film’s scale is only estimated",)


def _value_says(reading: Reading) -> str:
    return with_u(reading.value, reading.u, reading.unit)
