"""Which mail a person gets and when it may go: decided here from values alone."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from referral.core.workflow import Move, Role

MAIL_LOST = "mail_given_up"
"""The kind of a notice that a mail did not arrive; it stands in the inbox and is never mailed."""

RECHECK_LATE = "recheck_late"
"""The kind of a notice that a recheck is late; it comes of itself, on a day."""

RULE_CHANGED = "rule_changed"
"""The kind of a notice that a rule changed after a plan was consented to; it comes on a day."""

FLAG_LAPSED = "flag_lapsed"
"""The kind of a notice that a red flag is managed no longer; it comes on the day after its last."""

NOT_COMING = "not_coming"
"""The kind of a notice that somebody who was asked declined, or did not answer in time."""

RESPONSIBLE = frozenset({Role.VET, Role.FARRIER})
"""Who must act on a red flag, and so cannot be without its mail."""


_OFFICES: Mapping[str, frozenset[Role]] = {
    Move.ASK_EXAMINATION: frozenset({Role.VET}),
    Move.ASK_QUESTION: frozenset({Role.VET}),
    Move.SEND_REFERRAL: frozenset({Role.FARRIER}),
    Move.RAISE_FLAG: RESPONSIBLE,
    FLAG_LAPSED: frozenset({Role.VET}),
    RECHECK_LATE: frozenset(Role),
}


ONCE_A_DAY = timedelta(days=1)


class Topic(StrEnum):
    """What mail can be had without; the order is that of a link's own bits, so add at the end."""

    RED_FLAG = "red_flag"
    REFERRAL = "referral"
    QUESTION = "question"
    PLAN = "plan"
    CONSENT = "consent"
    RESET = "reset"
    RECORD = "record"


TOPIC_NAMES: Mapping[Topic, str] = {
    Topic.RED_FLAG: "Red flags and their answers",
    Topic.REFERRAL: "Referrals; cases opened, closed, held and reopened; what was erased",
    Topic.QUESTION: "Questions and answers",
    Topic.PLAN: "Plans and what the vet says to them",
    Topic.CONSENT: "The owner's consent",
    Topic.RESET: "Resets, corrections, countersigning and rechecks",
    Topic.RECORD: "Films, photos, readings, limits, observations and notes",
}

_TOPICS: Mapping[Topic, tuple[Move, ...]] = {
    Topic.RED_FLAG: (Move.RAISE_FLAG, Move.ANSWER_FLAG),
    Topic.REFERRAL: (
        Move.OPEN_CASE, Move.ASK_EXAMINATION, Move.TAKE_UP, Move.TURN_DOWN, Move.SEND_REFERRAL,
        Move.ACKNOWLEDGE, Move.INVITE, Move.TAKE_INVITE_BACK, Move.JOIN, Move.HAND_OVER,
        Move.CORRECT_OWNER, Move.CLOSE, Move.REOPEN, Move.ERASE, Move.PLACE_HOLD, Move.LIFT_HOLD,
    ),
    Topic.QUESTION: (Move.ASK_QUESTION, Move.ANSWER_QUESTION),
    Topic.PLAN: (
        Move.SUBMIT_PLAN, Move.AGREE_PLAN, Move.AMEND_PLAN, Move.ACCEPT_AMENDMENT,
        Move.SEND_BACK, Move.SIGN_PLAN, Move.JUDGE_AGAIN, Move.ACKNOWLEDGE_CAUTION,
    ),
    Topic.CONSENT: (Move.GIVE_CONSENT, Move.DECLINE_CONSENT),
    Topic.RESET: (Move.RECORD_RESET, Move.COUNTERSIGN, Move.ASK_CORRECTION, Move.SET_RECHECK),
}  # fmt: skip
_BY_MOVE = {move: topic for topic, moves in _TOPICS.items() for move in moves}


_OF_ITSELF = {
    FLAG_LAPSED: Topic.RED_FLAG,
    NOT_COMING: Topic.REFERRAL,
    RECHECK_LATE: Topic.RESET,
    RULE_CHANGED: Topic.PLAN,
}


@dataclass(frozen=True, slots=True)
class Wishes:
    """What mail a person wants: without which topics, in what rhythm, never in which hours.

    Hours are whole ones of the person's own ``zone``; the quiet ones may go over midnight.
    """

    zone: str
    without: frozenset[str] = field(default_factory=frozenset)
    daily: bool = False
    daily_hour: int = 7
    quiet_from: int | None = None
    quiet_until: int | None = None


def offices_told(kind: str) -> frozenset[Role]:
    """Return whose offices are told of this: the coordinators of whom it waits on."""
    return _OFFICES.get(kind, frozenset())


def topic_of(kind: str) -> Topic:
    """Return what a kind of entry is about; whatever is added to the record is the record's."""
    if kind in _OF_ITSELF:
        return _OF_ITSELF[kind]
    return _BY_MOVE.get(Move(kind), Topic.RECORD)


def is_urgent(kind: str) -> bool:
    """Say whether mail of this kind waits for nothing."""
    return kind in (Move.RAISE_FLAG, FLAG_LAPSED)


def is_wanted(wishes: Wishes, kind: str, roles: Collection[Role]) -> bool:
    """Say whether somebody with these roles on the case gets mail of this kind."""
    if kind == MAIL_LOST:
        return False
    topic = topic_of(kind)
    return topic not in wishes.without or must_have(topic, roles)


def must_have(topic: Topic, roles: Collection[Role]) -> bool:
    """Say whether these roles cannot be without mail on the topic."""
    return topic is Topic.RED_FLAG and not RESPONSIBLE.isdisjoint(roles)


def goes_at(wishes: Wishes, kind: str, made_at: datetime) -> datetime:
    """Return the moment from which mail of this kind may go."""
    if is_urgent(kind):
        return made_at
    moment = _next_daily(wishes, made_at) if wishes.daily else made_at
    return after_quiet(wishes, moment)


def asks_at(wishes: Wishes | None, last: datetime | None, now: datetime) -> datetime:
    """Return the moment from which an address may be written to that is asked onto a case.

    ``last`` is when it was written to about the same case; ``wishes`` are none where nobody here
    is known by it.
    """
    moment = max(now, last + ONCE_A_DAY) if last is not None else now
    return moment if wishes is None else after_quiet(wishes, moment)


def after_quiet(wishes: Wishes, moment: datetime) -> datetime:
    """Return the moment itself, or the end of the quiet hours it falls in."""
    if wishes.quiet_from is None or wishes.quiet_until is None:
        return moment
    local = moment.astimezone(ZoneInfo(wishes.zone))
    if not _is_quiet(local.hour, wishes.quiet_from, wishes.quiet_until):
        return moment
    return _next_at(local, wishes.quiet_until)


def _next_daily(wishes: Wishes, moment: datetime) -> datetime:
    return _next_at(moment.astimezone(ZoneInfo(wishes.zone)), wishes.daily_hour)


def _is_quiet(hour: int, start: int, end: int) -> bool:
    return start <= hour < end if start < end else hour >= start or hour < end


def _next_at(local: datetime, hour: int) -> datetime:
    """Return when the clock on the wall next shows this hour, later than ``local``.

    An hour that the clocks leave out is the one that follows; of one that comes twice, the
    first that is still ahead.
    """
    for days in (0, 1):
        for fold in (0, 1):
            day = local.date() + timedelta(days=days)
            at = datetime.combine(day, time(hour, fold=fold), local.tzinfo).astimezone(UTC)
            if at > local.astimezone(UTC):
                return at
    raise AssertionError("an hour of tomorrow is always ahead")
