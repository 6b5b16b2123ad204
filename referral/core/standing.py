"""How a case stands for somebody: whose turn it is, or how near the date."""

from datetime import date

from referral.core.workflow import CaseState, Role, Stage

DUE_SOON_DAYS = 7


def standing(state: CaseState, role: Role, today: date) -> str:
    """Return how a case stands for a role: whose turn, or how near the date.

    One of ``waiting on you``, ``waiting on them``, ``due``, ``overdue``, ``quiet``,
    ``closed``. ``due_on`` is a plain date, judged by the yard's own day.

    Examples
    --------
    >>> standing(CaseState(stage=Stage.REVIEW), Role.VET, date(2026, 11, 25))
    'waiting on you'
    """
    if state.stage is Stage.CLOSED:
        return "closed"
    if state.stage is Stage.MONITORING and state.turn is not Role.VET:
        if state.due_on is None:
            return "quiet"
        days_left = (state.due_on - today).days
        if days_left < 0:
            return "overdue"
        return "due" if days_left <= DUE_SOON_DAYS else "quiet"
    return "waiting on you" if state.turn is role else "waiting on them"
