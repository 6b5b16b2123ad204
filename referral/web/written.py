"""How things are written for people: days, moments, numbers, limbs."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
MINUS = "\N{MINUS SIGN}"
THIN = "\N{NARROW NO-BREAK SPACE}"
SIGNS = {"deg": "°", "percent": THIN + "%", "%": THIN + "%", "ratio": "", "1": "", "": ""}
DECIMALS = {"ratio": 2, "1": 2, "percent": 0, "%": 0, "count": 0, "": 1}
LIMBS = {"LF": "left fore", "RF": "right fore", "LH": "left hind", "RH": "right hind"}
SIDES = {"left": "near", "right": "off"}
NOTHING = "\N{EN DASH}"


def day(value: date | datetime | None) -> str:
    """Return a day nobody can misread: 26 Nov 2026."""
    if value is None:
        return NOTHING
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def moment(value: datetime | None, zone: str) -> str:
    """Return a moment as the clock at the yard shows it: 26 Nov 2026, 14:05.

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        If there is no zone of that name.
    """
    if value is None:
        return NOTHING
    there = value.astimezone(ZoneInfo(zone))
    return f"{day(there)}, {there:%H:%M}"


def number(value: float | None, decimals: int = 1) -> str:
    """Return a number with a true minus sign and a fixed count of decimals."""
    if value is None:
        return NOTHING
    text = f"{value:.{decimals}f}"
    if not text.strip("-0."):
        text = text.removeprefix("-")
    return text.replace("-", MINUS)


def quantity(value: float | None, unit: str = "", decimals: int | None = None) -> str:
    """Return a number with its unit: 4.5°, 12.0 mm, 62 %, 1.32."""
    if value is None:
        return NOTHING
    places = DECIMALS.get(unit, 1) if decimals is None else decimals
    sign = SIGNS.get(unit, THIN + unit)
    return f"{number(value, places)}{sign}"


def places_of(unit: str) -> int:
    """Return to how many decimals a value that has a ± is written, and its ± with it."""
    return 2 if unit == "ratio" else 1


def with_u(value: float, u: float, unit: str) -> str:
    """Return a value with its expanded uncertainty U = 2u: 50.6 ± 3.2 %."""
    places = places_of(unit)
    return f"{number(value, places)} ± {quantity(2 * u, unit, places)}"


def unit_sign(unit: str) -> str:
    """Return how a unit is written by itself: °, mm, %; nothing for a ratio."""
    return SIGNS.get(unit, unit).strip()


def limb(code: str | None, style: str = "left") -> str:
    """Return a limb's name: left fore, or near fore where the reader prefers it."""
    name = LIMBS.get(code or "", code or NOTHING)
    if style != "near":
        return name
    side, _, rest = name.partition(" ")
    return f"{SIDES.get(side, side)} {rest}".strip()


def words(code: str | None) -> str:
    """Return a code as words: straight_bar becomes straight bar."""
    return NOTHING if code is None else str(code).replace("_", " ")
