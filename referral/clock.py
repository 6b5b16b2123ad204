"""The only reader of the clock."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

MORNING = time(7)
"""When people are told of what comes of itself on a day, by the clock of the yard."""


def utc_now() -> datetime:
    """Return the present moment, aware, in UTC."""
    return datetime.now(tz=UTC)


def today_in(zone: str) -> date:
    """Return today's date at a yard in the given IANA zone.

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        If there is no zone of that name.
    """
    return day_at(utc_now(), zone)


def day_at(moment: datetime, zone: str) -> date:
    """Return the date that a moment has at a yard in the given IANA zone.

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        If there is no zone of that name.
    """
    return moment.astimezone(ZoneInfo(zone)).date()


def morning_of(day: date, zone: str) -> datetime:
    """Return the moment at which a day's morning comes to a yard in the given IANA zone.

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        If there is no zone of that name.
    """
    return datetime.combine(day, MORNING, tzinfo=ZoneInfo(zone))
