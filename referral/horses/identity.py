"""Chip and UELN numbers: what is printed, checked against how the standards form them.

Chip: ISO 11784, 15 digits printed: three of country (ISO 3166-1 numeric) or maker
(900-998), then a 38-bit national number, so at most 274 877 906 943. There is no
check digit. UELN: 15 signs, three digits of country, three signs of database,
nine of the animal. The two are different things and are never copied.
"""

import re

import iso3166

LARGEST_NATIONAL_NUMBER = (1 << 38) - 1
CHIP_DIGITS = 15
MAKER_CODES = range(900, 999)
TEST_CODE = 999
_UELN = re.compile(r"\d{3}[0-9A-Z]{3}[0-9A-Z]{9}")
_SEPARATORS = re.compile(r"[\s.\-/]")


def clean(raw: str) -> str:
    """Return a number without the spaces, dots and dashes that people put in."""
    return _SEPARATORS.sub("", raw).upper()


def chip_fault(raw: str, *, demo: bool = False) -> str:
    """Return what is wrong with a chip number, in one sentence, or an empty string."""
    chip = clean(raw)
    if not (chip.isascii() and chip.isdigit()):
        return "A chip number has digits only; an older chip goes into the notes."
    if len(chip) != CHIP_DIGITS:
        return f"A chip number has 15 digits; this one has {len(chip)}."
    country, national = int(chip[:3]), int(chip[3:])
    if national > LARGEST_NATIONAL_NUMBER:
        return "The last 12 digits of a chip number are at most 274877906943."
    if country in MAKER_CODES:
        return ""
    if country == TEST_CODE:
        return "" if demo else "999 marks a test chip; a horse's own chip does not start with it."
    return _country_fault(chip[:3])


def _country_fault(code: str) -> str:
    if code in iso3166.countries_by_numeric:
        return ""
    return f"{code} is no country's number in ISO 3166 and no chip maker's."


def ueln_fault(raw: str) -> str:
    """Return what is wrong with a UELN, in one sentence, or an empty string."""
    ueln = clean(raw)
    if not _UELN.fullmatch(ueln):
        return (
            "A UELN has 15 signs: three digits of country, three of the database, nine of the "
            f"horse, filled with zeros from the left; this one has {len(ueln)}."
        )
    return _country_fault(ueln[:3])


def shown_chip(chip: str) -> str:
    """Return a chip number in groups of three, four, four and four."""
    return f"{chip[:3]} {chip[3:7]} {chip[7:11]} {chip[11:]}"
