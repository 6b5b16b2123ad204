"""What is due on a case, who owns it, and who is shown it once its day has passed.

Everything is worked out from the timeline's entries and from today's date in the
yard. Due dates are plain dates; only a visit has a time, which is the clock on the
wall of the yard. Nothing here reads a clock.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from referral.core.standing import DUE_SOON_DAYS
from referral.core.workflow import CaseState, Happening, Move, Role, Stage, on_day, state_of

CAUTION_AFTER_DAYS = 7
ALERT_AFTER_DAYS = 14
LONGEST_WEEKS = 10
CHECK_FROM_DAYS = 1
CHECK_UNTIL_DAYS = 3
"""A fitting is checked from the first to the third day after it (common practice, no source)."""


class Lateness(StrEnum):
    """How a due date stands on a day."""

    LATER = "later"
    DUE = "due"
    OVERDUE = "overdue"
    CAUTION = "caution"
    ALERT = "alert"


PASSED = frozenset({Lateness.OVERDUE, Lateness.CAUTION, Lateness.ALERT})


class What(StrEnum):
    """What can be due on a case; the value is what a page says."""

    RESET = "Next reset"
    RECHECK = "Recheck"
    AFTER_CHECK = "Check after fitting"
    EXAMINATION = "Answer the request for an examination"
    REFERRAL = "Acknowledge the referral"
    MANAGED = "Look again at a red flag that is managed"


@dataclass(frozen=True, slots=True)
class Dated:
    """An entry of the timeline and the day on which it happened."""

    happening: Happening
    on: date


@dataclass(frozen=True, slots=True)
class DueItem:
    """One thing that is due: what, on which day of the yard, whose it is, how late it is."""

    what: What
    due_on: date
    owner: Role
    lateness: Lateness
    days_late: int

    @property
    def shown_to(self) -> frozenset[Role]:
        """The roles it is put before as theirs to see to, as :func:`shown_to` says."""
        return shown_to(self.owner, self.lateness)


def lateness(due_on: date, today: date, fitted_on: date | None = None) -> Lateness:
    """Return how a due date stands today; both are dates of the yard.

    Overdue is a caution after more than 7 days, an alert after more than 14, or when a
    shoe has been on for more than ten weeks since ``fitted_on`` (common practice, no source).

    Examples
    --------
    >>> lateness(date(2026, 5, 1), date(2026, 5, 9)).value
    'caution'
    """
    late = (today - due_on).days
    worn_out = fitted_on is not None and today - fitted_on > timedelta(weeks=LONGEST_WEEKS)
    if late > ALERT_AFTER_DAYS or worn_out:
        return Lateness.ALERT
    if late > CAUTION_AFTER_DAYS:
        return Lateness.CAUTION
    if late > 0:
        return Lateness.OVERDUE
    return Lateness.DUE if -late <= DUE_SOON_DAYS else Lateness.LATER


def shown_to(owner: Role, how_late: Lateness) -> frozenset[Role]:
    """Return the roles before whom a due thing is put as theirs to see to.

    Until its day, its owner; once it has passed, the coordinator too; once it is a
    caution, vet and farrier both (common practice, no source).

    Examples
    --------
    >>> sorted(shown_to(Role.VET, Lateness.OVERDUE))
    [<Role.COORDINATOR: 'coordinator'>, <Role.VET: 'vet'>]
    """
    roles = {owner}
    if how_late in PASSED:
        roles |= {Role.COORDINATOR}
    if how_late in {Lateness.CAUTION, Lateness.ALERT}:
        roles |= {Role.VET, Role.FARRIER}
    return frozenset(roles)


def due_items(
    entries: Sequence[Dated], today: date, *, has_owner: bool, state: CaseState | None = None
) -> tuple[DueItem, ...]:
    """Return what is due on a case today, the earliest first; nothing on a closed case.

    ``has_owner`` says that the horse's owner is on the case; the check after fitting is
    theirs, and else the farrier's. ``state`` is what the entries lead to today, from whoever has
    worked it out already.

    Examples
    --------
    >>> fitted = Dated(Happening("reset_recorded", "farrier", {"n": 1}), date(2026, 5, 1))
    >>> items = due_items([fitted], date(2026, 5, 3), has_owner=True)
    >>> [(item.what.value, item.due_on.day) for item in items]
    [('Check after fitting', 4)]
    """
    state = state or on_day(state_of(each.happening for each in entries), today)
    if state.stage is Stage.CLOSED:
        return ()
    fitted_on = _latest_day(entries, Move.RECORD_RESET)
    found: list[tuple[What, date, Role]] = []
    if state.due_on is not None:
        found.append((What.RESET, state.due_on, Role.FARRIER))
    if state.recheck_on is not None:
        owner = Role(state.recheck_owner or Role.VET)
        since = state.recheck_on - timedelta(days=DUE_SOON_DAYS)
        if not _was_seen(_after_it_was_set(entries), owner, since):
            found.append((What.RECHECK, state.recheck_on, owner))
    if fitted_on is not None and not _was_checked(entries, fitted_on):
        owner = Role.OWNER if has_owner else Role.FARRIER
        if today >= fitted_on + timedelta(days=CHECK_FROM_DAYS):
            found.append((What.AFTER_CHECK, fitted_on + timedelta(days=CHECK_UNTIL_DAYS), owner))
    found += _asked(entries, state.stage)
    found += _managed(entries)
    items = (_item(each, today, fitted_on) for each in found)
    return tuple(sorted(items, key=lambda item: (item.due_on, item.what)))


def _item(found: tuple[What, date, Role], today: date, fitted_on: date | None) -> DueItem:
    what, due_on, owner = found
    worn = fitted_on if what is What.RESET else None
    late = max((today - due_on).days, 0)
    return DueItem(what, due_on, owner, lateness(due_on, today, worn), late)


def _latest_day(entries: Sequence[Dated], move: Move) -> date | None:
    days = [each.on for each in entries if each.happening.kind == move]
    return days[-1] if days else None


SEEING = frozenset(
    {
        Move.ADD_FILM,
        Move.ADD_PHOTO,
        Move.RECORD_READINGS,
        Move.ADD_OBSERVATION,
        Move.RECORD_RESET,
        Move.COUNTERSIGN,
        Move.ANSWER_FLAG,
    }
)
"""Moves that show that whoever made them looked at the horse, or at what was sent of it."""


def _was_seen(entries: Sequence[Dated], role: Role, since: date) -> bool:
    return any(
        each.happening.kind in SEEING and each.happening.role == role and each.on >= since
        for each in entries
    )


def _after_it_was_set(entries: Sequence[Dated]) -> Sequence[Dated]:
    """Return what was entered after the recheck was set; what set it is no look at the horse."""
    places = [n for n, each in enumerate(entries) if each.happening.facts.get("recheck_on")]
    return entries[places[-1] + 1 :]


def _was_checked(entries: Sequence[Dated], fitted_on: date) -> bool:
    """Say whether the fitting was checked; on its own day it is too early to tell."""
    since = fitted_on + timedelta(days=CHECK_FROM_DAYS)
    return any(
        each.happening.kind == Move.CHECK_AFTER_FITTING and each.on >= since for each in entries
    )


ANSWER_DAYS: Mapping[str, int] = {"now": 0, "24_hours": 1, "7_days": 7, "routine": 14}
"""Within how many days what is asked, by its urgency, is answered (common practice, no source)."""


ASKING: Mapping[Stage, tuple[Move, What, Role]] = {
    Stage.ASKED: (Move.ASK_EXAMINATION, What.EXAMINATION, Role.VET),
    Stage.REFERRED: (Move.SEND_REFERRAL, What.REFERRAL, Role.FARRIER),
}
"""What waits for an answer at a stage: the move that asked, what is due, and whose it is."""


def _asked(entries: Sequence[Dated], stage: Stage) -> list[tuple[What, date, Role]]:
    if stage not in ASKING:
        return []
    move, what, owner = ASKING[stage]
    asked = [each for each in entries if each.happening.kind == move][-1]
    days = ANSWER_DAYS.get(str(asked.happening.facts.get("urgency")), ANSWER_DAYS["routine"])
    return [(what, asked.on + timedelta(days=days), owner)]


def _managed(entries: Sequence[Dated]) -> list[tuple[What, date, Role]]:
    untils = [
        date.fromisoformat(str(each.happening.facts["until"]))
        for each in entries
        if each.happening.kind == Move.ANSWER_FLAG and each.happening.facts.get("until")
    ]
    return [
        (What.MANAGED, day, Role.VET) for day in untils if not _was_seen(entries, Role.VET, day)
    ]


class OnTheClock(StrEnum):
    """How often a time stands on the yard's clock on a day."""

    ONCE = "once"
    MISSING = "missing"
    TWICE = "twice"


@dataclass(frozen=True, slots=True)
class WallTime:
    """A time on the yard's clock: how often it comes that day, and the moments, in UTC."""

    kind: OnTheClock
    moments: tuple[datetime, ...]


def wall_time(day: date, at: time, zone: str) -> WallTime:
    """Return when the clock of a yard shows a time: once, never, or twice that day.

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        If there is no IANA zone of that name.

    Examples
    --------
    >>> wall_time(date(2026, 3, 29), time(1, 30), "Europe/London").kind.value
    'missing'
    """
    yard = ZoneInfo(zone)
    shown = datetime.combine(day, at)
    first, second = (shown.replace(tzinfo=yard, fold=fold).astimezone(UTC) for fold in (0, 1))
    there = [
        moment
        for moment in (first, second)
        if moment.astimezone(yard).replace(tzinfo=None, fold=0) == shown
    ]
    if not there:
        return WallTime(OnTheClock.MISSING, ())
    if first == second:
        return WallTime(OnTheClock.ONCE, (first,))
    return WallTime(OnTheClock.TWICE, (first, second))
