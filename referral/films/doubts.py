"""What makes a picture's readings doubtful: how it was taken, and what contradicts it."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.core.measure.contradictions import Chosen, FileSays, contradictions
from referral.core.measure.quality import Taken, quality_caveats
from referral.core.measure.readings import Caveat, Measured
from referral.core.measure.visits import visit_caveats
from referral.films.models import Film, LandmarkSet
from referral.films.queries import MeasuredFilm, films_of, reading_sets

WHOLE_LIMB = 2
"""Letters of a limb's code; one alone is a side."""


def doubts_of(session: Session, film: MeasuredFilm) -> tuple[Caveat, ...]:
    """Return every doubt about a picture that does not come from measuring it."""
    row = film.film
    taken = Taken(
        view=row.view,
        trim=row.trim,
        shod=row.shod,
        condyles_superimposed=row.condyles_superimposed,
        cannon_vertical=row.cannon_vertical,
        on_blocks=row.on_blocks,
        beam_at_sole=row.beam_at_sole,
        days_since_trim=row.days_since_trim,
    )
    points = film.landmarks.points_px if film.landmarks else {}
    chosen = Chosen(row.limb, row.view, points, row.taken_on)
    before = _placed_before(session, row)
    return (*quality_caveats(taken), *contradictions(chosen, _file_says(row), before))


def beside_earlier(session: Session, film: MeasuredFilm, measured: Measured) -> tuple[Caveat, ...]:
    """Return what readings say of those of the newest earlier picture of this limb and view."""
    row = film.film
    alike = {each.id for each in films_of(session, row.case_id) if each.view == row.view}
    for reading_set, before in reading_sets(session, row.case_id, row.limb):
        if reading_set.taken_on < row.taken_on and reading_set.film_id in alike:
            return visit_caveats(before, measured)
    return ()


def _file_says(film: Film) -> FileSays:
    said = str(film.described.get("limb") or "")
    is_whole = len(said) == WHOLE_LIMB
    claimed = claimed_taken_at(film)
    return FileSays(
        limb=said if is_whole else None,
        side=said if said and not is_whole else None,
        view=film.described.get("view"),
        orientation=film.described.get("orientation"),
        claimed_on=None if claimed is None else claimed.date(),
    )


def claimed_taken_at(film: Film) -> datetime | None:
    """Return the moment of taking by the clock of a photo's camera, which is only a claim."""
    said = film.described.get("claimed_taken_at")
    return datetime.fromisoformat(said) if said else None


def _placed_before(session: Session, film: Film) -> dict[str, object] | None:
    """Return the landmarks of the newest earlier picture of this limb and view, if there is one."""
    return session.scalar(
        select(LandmarkSet.points_px)
        .join(Film, Film.id == LandmarkSet.film_id)
        .where(
            Film.case_id == film.case_id,
            Film.limb == film.limb,
            Film.view == film.view,
            Film.taken_on < film.taken_on,
        )
        .order_by(Film.taken_on.desc(), LandmarkSet.placed_at.desc())
        .limit(1)
    )
