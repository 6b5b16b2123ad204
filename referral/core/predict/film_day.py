"""Whether the film still shows the foot that the plan meets on the day."""

from referral.core.measure.film import Film
from referral.core.measure.readings import Profile
from referral.core.predict.move import mean_heel_trim_mm
from referral.core.predict.plan import Plan

OLD_AFTER_DAYS = 14
"""Growth in two weeks is 4 mm, twice what two readings can tell apart; common practice."""

DAYS_A_WEEK = 7


def film_doubt(film: Film) -> str:
    """Return why nothing at all can be predicted from a film; empty if it can.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> film_doubt(Film("lateromedial", None, {"p3_tip": [0, 15]}, no_scale(), None))
    ''
    """
    if film.view != "lateromedial":
        return "only a lateromedial film can be predicted from"
    if film.shod not in {"yes", "no"}:
        return "film_shod: it is not said whether the foot was filmed shod"
    names = film.landmarks_mm if film.landmarks_px is None else film.landmarks_px
    marked = {"bearing_palmar", "bearing_dorsal"} <= (names or {}).keys()
    if film.shod == "yes" and not marked:
        return (
            "film_shod: the foot was filmed shod; mark bearing_palmar and bearing_dorsal, "
            "where hoof and shoe meet"
        )
    return ""


def length_doubt(film: Film, plan: Plan, profile: Profile) -> str:
    """Return why lengths of this film are not those of the day of fitting; empty if they are.

    Returns
    -------
    str
        The film is older than 14 days and growth since is not stated as an assumption, was
        taken after the trim that the plan describes or after the fitting, or it is not known
        whether it was taken before the trim.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> from datetime import date
    >>> taken = date(2026, 1, 1)
    >>> film = Film("lateromedial", None, {"p3_tip": [0, 15]}, no_scale(), None, taken_on=taken)
    >>> foot = Profile("LF", "adult_horse", date(2026, 1, 20))
    >>> length_doubt(film, Plan(), foot)
    'the film is 19 days older than the fitting: take a new one, or state growth since the film'
    """
    trims = plan.toe_trim_mm or mean_heel_trim_mm(plan) or plan.sole_pare_mm or plan.toe_dress_mm
    if film.trim == "after" and trims:
        return "the film was taken after the trim, and the plan would trim again"
    if film.trim not in {"before", "after"}:
        return "it is not said whether the foot was trimmed since the film"
    age = film_age_days(film, plan, profile)
    if age < 0:
        return "the film was taken after the day of fitting"
    if age > OLD_AFTER_DAYS and not plan.growth_since_film:
        return (
            f"the film is {age} days older than the fitting: take a new one, or state growth "
            "since the film"
        )
    return ""


def film_age_days(film: Film, plan: Plan, profile: Profile) -> int:
    """Return how many days before the fitting the film was taken.

    Notes
    -----
    A day of fitting not said is the day of judging; a film's day not said is that of fitting.

    Examples
    --------
    >>> from referral.core.geometry.scale import no_scale
    >>> from datetime import date
    >>> film = Film("lateromedial", None, {"p3_tip": [0, 15]}, no_scale(), None)
    >>> film_age_days(film, Plan(), Profile("LF", "adult_horse", date(2026, 1, 20)))
    0
    """
    fitted = plan.fit_on or profile.on
    return (fitted - (film.taken_on or fitted)).days


def weeks_grown(film: Film | None, plan: Plan, profile: Profile) -> float:
    """Return the weeks of growth the plan assumes since the film; 0 if it assumes none.

    Examples
    --------
    >>> from datetime import date
    >>> weeks_grown(None, Plan(growth_since_film=True), Profile("LF", "pony", date(2026, 1, 1)))
    0.0
    """
    if film is None or not plan.growth_since_film:
        return 0.0
    return max(film_age_days(film, plan, profile), 0) / DAYS_A_WEEK
