"""What of a case was erased, as everything that shows it asks."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from referral.cases.models import Erasure
from referral.errors import NotFound
from referral.web.written import day

ERASED = "(erased)"
"""What stands in the place of erased words."""


def erased_at(subject: InstrumentedAttribute[UUID] | ColumnElement[UUID]) -> Any:  # noqa: ANN401 - a column of the library's
    """Return the query for the moment at which each of these was erased, if it was."""
    return select(Erasure.erased_at).where(Erasure.subject_id == subject).scalar_subquery()


def when_erased(session: Session, subject_id: UUID) -> datetime | None:
    """Return when something was erased, or None if it was not."""
    return session.scalar(select(Erasure.erased_at).where(Erasure.subject_id == subject_id))


def refuse_erased(erased: datetime | None, name: str) -> None:
    """Return nothing if it was not erased; ``erased`` is when it was.

    Raises
    ------
    NotFound
        If it was; says when.
    """
    if erased is not None:
        raise NotFound(f"This {name} was erased on {day(erased)}.")


def erasures_of(session: Session, case_id: UUID) -> Sequence[Erasure]:
    """Return what was erased of a case, the latest first."""
    return session.scalars(
        select(Erasure)
        .where(Erasure.case_id == case_id)
        .order_by(Erasure.erased_at.desc(), Erasure.id.desc())
    ).all()
