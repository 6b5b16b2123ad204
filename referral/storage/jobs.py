"""Work for later: a row in the same transaction as the change it belongs to.

A worker claims a row for a while; one that dies leaves it to the next. So the slow part of a
piece of work may be done twice, but what it changes is committed with its end, once.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import Index, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from referral.storage.db import Base, Database
from referral.storage.ids import new_id

LEASE = timedelta(minutes=3)
"""How long a worker has for one piece of work before another may take it."""

MOST_ATTEMPTS = 5
FIRST_WAIT = timedelta(seconds=2)
"""The wait before a second attempt; it doubles with each one."""

log = logging.getLogger(__name__)

Finish = Callable[[Session], None]
"""What a piece of work changes, done in the transaction that ends it."""


class Job(Base):
    """One piece of work: what, when from, who has it now, how it ended."""

    __tablename__ = "job"
    __table_args__ = (Index(None, "ended_at", "run_after"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    kind: Mapped[str]
    payload: Mapped[dict[str, Any]]
    made_at: Mapped[datetime]
    run_after: Mapped[datetime]
    claimed_until: Mapped[datetime | None]
    attempts: Mapped[int]
    ended_at: Mapped[datetime | None]
    fault: Mapped[str | None]


@dataclass(frozen=True, slots=True)
class Handler:
    """How one kind of work is done.

    ``prepare`` does the slow part outside any transaction and returns what is to be changed;
    ``give_up`` returns that for work which failed every time.
    """

    prepare: Callable[[Mapping[str, Any]], Finish]
    give_up: Callable[[Mapping[str, Any]], Finish]
    most_attempts: int = MOST_ATTEMPTS
    first_wait: timedelta = FIRST_WAIT


def enqueue(
    session: Session,
    kind: str,
    payload: Mapping[str, Any],
    now: datetime,
    after: datetime | None = None,
) -> UUID:
    """Add a piece of work to the transaction of the change it belongs to, for now or for later."""
    job = Job(
        id=new_id(now),
        kind=kind,
        payload=dict(payload),
        made_at=now,
        run_after=after or now,
        attempts=0,
    )
    session.add(job)
    return job.id


def wait_before(attempt: int, first: timedelta = FIRST_WAIT) -> timedelta:
    """Return how long to wait before trying once more after so many attempts."""
    return first * (1 << (attempt - 1))


class Worker:
    """Does what waits, one piece at a time."""

    def __init__(
        self, database: Database, handlers: Mapping[str, Handler], now: Callable[[], datetime]
    ) -> None:
        self.database = database
        self.handlers = handlers
        self.now = now

    def run_waiting(self) -> int:
        """Do everything that waits now and return how many pieces that was."""
        done = 0
        while self.run_one():
            done += 1
        return done

    def run_one(self) -> bool:
        """Do the piece that waits longest; say whether there was one."""
        job = self._claim()
        if job is None:
            return False
        handler = self.handlers[job.kind]
        try:
            too_often = job.attempts > handler.most_attempts
            finish = (handler.give_up if too_often else handler.prepare)(job.payload)
            self._end(job, finish, "given up" if too_often else None)
        except Exception as error:  # any fault of one piece must leave the worker alive
            log.exception("job %s (%s) failed, attempt %d", job.id, job.kind, job.attempts)
            self._give_back(job, type(error).__name__)
        return True

    def _claim(self) -> Job | None:
        """Claim what waits longest; looking alone takes no lock that a writer waits for."""
        now = self.now()
        waiting = (
            select(Job)
            .where(
                Job.ended_at.is_(None),
                Job.run_after <= now,
                or_(Job.claimed_until.is_(None), Job.claimed_until <= now),
                Job.kind.in_(self.handlers),
            )
            .order_by(Job.run_after, Job.id)
            .limit(1)
        )
        with self.database.reading() as session:
            if session.scalar(waiting) is None:
                return None
        with self.database.transaction() as session:
            job = session.scalars(waiting.with_for_update(skip_locked=True)).one_or_none()
            if job is not None:
                job.claimed_until = now + LEASE
                job.attempts += 1
            return job

    def _end(self, job: Job, finish: Finish, fault: str | None) -> None:
        """Make the change and end the work, unless another worker has taken it meanwhile."""
        with self.database.transaction() as session:
            mine = self._still_mine(session, job)
            if mine is None:
                return
            finish(session)
            mine.ended_at = self.now()
            mine.claimed_until = None
            mine.fault = fault

    def _give_back(self, job: Job, fault: str) -> None:
        with self.database.transaction() as session:
            mine = self._still_mine(session, job)
            if mine is None:
                return
            mine.run_after = self.now() + wait_before(
                mine.attempts, self.handlers[mine.kind].first_wait
            )
            mine.claimed_until = None
            mine.fault = fault

    def _still_mine(self, session: Session, job: Job) -> Job | None:
        return session.scalars(
            select(Job)
            .where(
                Job.id == job.id,
                Job.ended_at.is_(None),
                Job.attempts == job.attempts,
            )
            .with_for_update()
        ).one_or_none()
