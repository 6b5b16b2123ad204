"""The stock as a list in CSV: read with every fault named by its line, and written safely."""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from werkzeug.datastructures import MultiDict

from referral.errors import Invalid, TooLarge
from referral.shoes.choices import CATEGORIES, MATERIALS
from referral.shoes.outline import outline_of
from referral.shoes.schemas import StockForm
from referral.shoes.service import StockLine
from referral.web.forms import load_form, parse_decimal

COLUMNS = (
    "category",
    "material",
    "size_label",
    "length_mm",
    "width_mm",
    "web_mm",
    "thickness_mm",
    "count",
    "note",
)
MAY_BE_LEFT_OUT = frozenset({"size_label", "note"})
LARGEST_BYTES = 256 * 1024
MOST_ROWS = 2000
SEPARATORS = (",", ";", "\t")
FORMULA_STARTS = frozenset("=+-@\t\r\n")
QUOTE = "'"
NOT_TEXT = {
    b"PK\x03\x04": "a spreadsheet or an archive",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet",
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
}
SIXTEEN_BITS = (b"\xff\xfe", b"\xfe\xff")
SAVE_AS = "Save the list as “CSV UTF-8” in your spreadsheet, then send that file."
TOO_LARGE = f"The list is larger than {LARGEST_BYTES // 1024} kB; send it in parts."
NOTHING = "There are no shoes in this list: under the first line, put one line for each kind."
MORE_CELLS = (
    "more cells than the first line names; put text or a number with a comma in double quotes, "
    "or use semicolons between the cells"
)
SPOILT = "Nothing was taken in; mend these lines and send the list again."


@dataclass(frozen=True, slots=True)
class _Row:
    """A line of the list as it stands there."""

    line: int
    cells: Sequence[str]


def read_stock(data: bytes) -> list[StockLine]:
    """Return the shoes of a list, or nothing at all of it.

    Raises
    ------
    TooLarge
        If the file is larger than a list of shoes ever is.
    Invalid
        If it is no CSV, or if anything in it cannot be used; every such line is named.
    """
    rows = _rows(_text(data))
    columns = _columns(next(rows, None))
    lines: list[StockLine] = []
    faults: list[str] = []
    for row in rows:
        if len(lines) + len(faults) >= MOST_ROWS:
            raise Invalid(f"The list is longer than {MOST_ROWS} lines; send it in parts.")
        try:
            lines.append(_line(row, columns))
        except Invalid as error:
            faults.append(f"Line {row.line}: {error.message}")
    if faults:
        raise Invalid(SPOILT, {"": faults})
    if not lines:
        raise Invalid(NOTHING)
    return lines


def write_stock(lines: Iterable[StockLine], *, comma: bool = False) -> bytes:
    """Return the list as CSV in UTF-8; ``comma`` for spreadsheets that have decimal commas."""
    kept = io.StringIO(newline="")
    writer = csv.writer(kept, delimiter=";" if comma else ",")
    writer.writerow(COLUMNS)
    for line in lines:
        writer.writerow([_cell(getattr(line, name), comma=comma) for name in COLUMNS])
    return kept.getvalue().encode("utf-8-sig")


def guarded(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula; numbers stay numbers."""
    if text[:1] not in FORMULA_STARTS and text.lstrip()[:1] not in FORMULA_STARTS:
        return text
    try:
        parse_decimal(text)
    except ValueError:
        return QUOTE + text
    return text


def unguarded(text: str) -> str:
    """Return a text as it was before it was guarded."""
    bare = text.removeprefix(QUOTE)
    return bare if guarded(bare) == text else text


def _cell(value: Any, *, comma: bool) -> str:  # noqa: ANN401 - what a shoe says
    if isinstance(value, float):
        number = f"{value:g}"
        return number.replace(".", ",") if comma else number
    return "" if value is None else guarded(str(value))


def _text(data: bytes) -> str:
    if len(data) > LARGEST_BYTES:
        raise TooLarge(TOO_LARGE)
    kind = next((kind for start, kind in NOT_TEXT.items() if data.startswith(start)), None)
    if kind is not None:
        raise Invalid(f"This is {kind}, not CSV. {SAVE_AS}")
    if data.startswith(SIXTEEN_BITS) or b"\0" in data:
        raise Invalid(f"This is not text in UTF-8. {SAVE_AS}")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise Invalid(f"Line {line} holds signs that are not UTF-8. {SAVE_AS}") from error


def _rows(text: str) -> Iterator[_Row]:
    first = text.lstrip("\r\n").partition("\n")[0]
    separator = max(SEPARATORS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    before = 0
    while True:
        try:
            cells = next(reader, None)
        except csv.Error as error:
            raise Invalid(
                f"Line {before + 1} cannot be read: look for a double quote that is not closed."
            ) from error
        if cells is None:
            return
        row, before = _Row(before + 1, [each.strip() for each in cells]), reader.line_num
        if any(row.cells):
            yield row


def _columns(head: _Row | None) -> list[str]:
    """Return the columns that the first line names."""
    if head is None:
        raise Invalid(NOTHING)
    named = [re.sub(r"[^a-z]+", "_", each.casefold()).strip("_") for each in head.cells]
    while named and not named[-1]:
        named.pop()
    strange = [cell for cell, name in zip(head.cells, named, strict=False) if name not in COLUMNS]
    missing = [name for name in COLUMNS if name not in named and name not in MAY_BE_LEFT_OUT]
    said = [f"Line {head.line} names a column “{each[:40]}” that is not known." for each in strange]
    said += [f"Line {head.line} lacks the column {each}." for each in missing]
    said += [f"Line {head.line} names {each} twice." for each in COLUMNS if named.count(each) > 1]
    if said:
        known = ", ".join(COLUMNS)
        raise Invalid(f"The first line must name the columns: {known}.", {"": said})
    return named


def _line(row: _Row, columns: Sequence[str]) -> StockLine:
    if any(row.cells[len(columns) :]):
        raise Invalid(MORE_CELLS)
    said = {name: unguarded(cell) for name, cell in zip(columns, row.cells, strict=False)}
    said["category"] = _code(said.get("category", ""), CATEGORIES)
    said["material"] = _code(said.get("material", ""), MATERIALS)
    try:
        return _made(load_form(StockForm(exclude=["forge"]), MultiDict(said)))
    except Invalid as error:
        faults = [f"{name}: {' '.join(each)}" for name, each in error.faults.items()]
        raise Invalid(" ".join(faults)) from error


def _made(given: Mapping[str, Any]) -> StockLine:
    line = StockLine(**given)
    outline_of(line.shape)
    return line


def _code(said: str, options: tuple[tuple[str, str], ...]) -> str:
    """Return the code of a word that is said as the code or as people read it."""
    plain = said.casefold().replace(" ", "_")
    for code, label in options:
        if plain in (code, label.casefold().replace(" ", "_")):
            return code
    return said
