"""Landmarks placed again, blind, to learn how far apart a person's own placements lie."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.models import CaseMember
from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS
from referral.core.measure.scatter import Repeats, Scatter, own_scatter, own_sds_mm
from referral.errors import Invalid
from referral.films.models import Film, RepeatPlacement
from referral.films.queries import MeasuredFilm, film_of, film_to_see
from referral.films.service import measure_move_of
from referral.storage.ids import new_id

NO_SCALE = "This picture has no scale yet, so distances on it are not known in millimetres."


@dataclass(frozen=True, slots=True)
class PlaceAgain:
    """Landmarks placed once more, in the original's pixels."""

    film_id: UUID
    points_px: Mapping[str, Any]


def place_again(session: Session, access: CaseAccess, command: PlaceAgain, now: datetime) -> None:
    """Keep one repeat; nothing that was measured changes.

    Raises
    ------
    NotAllowed
        If this person may not measure such a picture.
    Invalid
        If nothing is placed, or the picture has no scale.
    NotFound
        If this case has no such picture.
    """
    film = film_to_see(session, access.case_id, command.film_id)
    access.role_for(measure_move_of(film.film.view))
    single = {name: at for name, at in command.points_px.items() if name not in SEVERAL_POINTS}
    if not single:
        sentence = "Place at least one landmark; a row of points round a joint does not count."
        raise Invalid(sentence, {"landmarks": [sentence]})
    if why_not_counted(film):
        raise Invalid(NO_SCALE, {"landmarks": [NO_SCALE]})
    session.add(
        RepeatPlacement(
            id=new_id(now),
            film_id=film.film.id,
            points_px=single,
            placed_by=access.actor_id,
            placed_at=now,
        )
    )


def why_not_counted(film: MeasuredFilm) -> str:
    """Return why repeats on this picture cannot count, or an empty string."""
    return "" if film.scale.row_mm is not None else NO_SCALE


def times_placed(session: Session, person_id: UUID, film_id: UUID) -> int:
    """Return how often this person has placed the picture's landmarks again."""
    mine = select(func.count(RepeatPlacement.id)).where(
        RepeatPlacement.placed_by == person_id, RepeatPlacement.film_id == film_id
    )
    return session.scalar(mine) or 0


def scatter_of(session: Session, person_id: UUID, view: str) -> dict[str, Scatter]:
    """Return a person's own scatter in one view, over the pictures that they may still see."""
    rows = session.execute(
        select(RepeatPlacement, Film.case_id)
        .join(Film, Film.id == RepeatPlacement.film_id)
        .where(
            RepeatPlacement.placed_by == person_id,
            Film.view == view,
            Film.case_id.in_(
                select(CaseMember.case_id).where(
                    CaseMember.person_id == person_id, CaseMember.until.is_(None)
                )
            ),
        )
        .order_by(RepeatPlacement.placed_at)
    ).all()
    placed: dict[tuple[UUID, UUID], list[Mapping[str, Any]]] = {}
    for row, case_id in rows:
        placed.setdefault((case_id, row.film_id), []).append(row.points_px)
    pictures = [
        repeats
        for (case_id, film_id), times in placed.items()
        if (repeats := _repeats(film_of(session, case_id, film_id), times)) is not None
    ]
    return own_scatter(pictures)


def _repeats(film: MeasuredFilm, times: Sequence[Mapping[str, Any]]) -> Repeats | None:
    scale = film.scale
    if scale.row_mm is None or scale.column_mm is None:
        return None
    return Repeats(times, scale.row_mm, scale.column_mm)


def sds_of(session: Session, person_id: UUID, view: str) -> dict[str, float]:
    """Return the person's own SDs in mm that are believed, landmark by landmark."""
    return own_sds_mm(scatter_of(session, person_id, view))


def views_placed(session: Session, person_id: UUID) -> tuple[str, ...]:
    """Return the views of which this person has placed pictures again, in the house's order."""
    seen = set(
        session.scalars(
            select(Film.view)
            .join(RepeatPlacement, RepeatPlacement.film_id == Film.id)
            .where(RepeatPlacement.placed_by == person_id)
            .distinct()
        )
    )
    return tuple(view for view in LANDMARKS if view in seen)
