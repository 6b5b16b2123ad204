"""A red flag is managed until a day: once that has passed, whoever must act is told, once.

Nothing is written to the case: that the flag is live again is worked out from its entries. The
work waits for the morning after the last day by the yard's own calendar, or until there is a
worker; then it looks whether the answer still stands and the case is open.
"""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.cases.models import Case, FlagAnswer, RedFlag
from referral.cases.offices import office_people
from referral.cases.queries import case_state, flags_of, people_on
from referral.clock import day_at, morning_of
from referral.core.workflow import Stage, on_day
from referral.notices.policy import FLAG_LAPSED, RESPONSIBLE, offices_told
from referral.notices.service import Happened, tell
from referral.storage.jobs import Finish, Handler, enqueue

TELL_OF_LAPSE = "tell_of_lapse"
"""The work of telling people that a red flag is managed no longer."""


def watch_for_lapse(session: Session, answer: FlagAnswer, zone: str, now: datetime) -> None:
    """Have people told on the day after the last one of an answer, where it has a last one."""
    if answer.until is None:
        return
    moment = morning_of(answer.until + timedelta(days=1), zone)
    enqueue(session, TELL_OF_LAPSE, {"answer": str(answer.id)}, now, moment)


def lapse_teller(now: Callable[[], datetime]) -> Handler:
    """Return how people are told that a red flag is managed no longer."""

    def prepare(payload: Mapping[str, Any]) -> Finish:
        answer_id = UUID(payload["answer"])
        return lambda session: tell_of_lapse(session, answer_id, now())

    return Handler(prepare, lambda _payload: lambda _session: None)


def tell_of_lapse(session: Session, answer_id: UUID, now: datetime) -> None:
    """Tell the vets, the farriers and the vets' offices that the flag is live again.

    Nobody is told where the flag was answered anew meanwhile, or the case is closed.
    """
    answer = session.get_one(FlagAnswer, answer_id)
    case = session.get_one(Case, session.get_one(RedFlag, answer.flag_id).case_id)
    if not _has_lapsed(session, case, answer, now):
        return
    members = [member for member, _person, _organisation in people_on(session, case.id)]
    people = {each.person_id for each in members if each.role in RESPONSIBLE}
    people |= office_people(session, case.id, offices_told(FLAG_LAPSED))
    tell(session, people, Happened(case.id, FLAG_LAPSED, None), now)


def _has_lapsed(session: Session, case: Case, answer: FlagAnswer, now: datetime) -> bool:
    last = {flag.id: found for flag, found in flags_of(session, case.id)}[answer.flag_id]
    state, _revision = case_state(session, case.id)
    if last is not answer or state.stage is Stage.CLOSED:
        return False
    return str(answer.flag_id) in on_day(state, day_at(now, case.zone)).live_flags
