"""The typeface of printed pages, and whether it can print a text at all."""

import base64
import unicodedata
from functools import lru_cache
from html.parser import HTMLParser
from pathlib import Path

import referral
from referral.errors import Invalid

FONT_FOLDER = "vendor/noto-sans@2.004"
FACES = (
    ("Noto Sans", "NotoSans-Regular.ttf", "400"),
    ("Noto Sans", "NotoSans-Bold.ttf", "700"),
    ("Noto Sans Math", "NotoSansMath-Subset.ttf", "400 700"),
)
"""Family, file and weights. The second family fills in the mathematical signs and arrows."""

SVG_PICTURE = "data:image/svg+xml;base64,"
_UNPRINTED = frozenset({"style", "script", "head", "title", "template"})
HIDDEN_MARKS = frozenset((*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)))
"""Variation selectors: they only say how the sign before them looks."""
MOST_NAMED = 5
AROUND = 30
"""How many characters are quoted on either side of one that cannot be printed."""
_LAYOUT = frozenset("\n\r\t")
_REFUSED_KINDS = frozenset({"Cc", "Cf", "Co", "Cs", "Cn"})


def house_folder(name: str) -> Path:
    """Return the folder ``templates`` or ``static``, in a checkout or in an installed wheel."""
    package = Path(referral.__file__).parent
    installed = package / f"_{name}"
    return installed if installed.is_dir() else package.parent / name


def font_bytes(file_name: str) -> bytes:
    """Return one bundled font file."""
    return (house_folder("static") / FONT_FOLDER / file_name).read_bytes()


@lru_cache(maxsize=1)
def font_face_css() -> str:
    """Return the @font-face rules with the fonts inside them as data."""
    return "\n".join(
        f'@font-face{{font-family:"{family}";font-weight:{weight};'
        f"src:url(data:font/ttf;base64,{base64.b64encode(font_bytes(file_name)).decode()})"
        f' format("truetype")}}'
        for family, file_name, weights in FACES
        for weight in weights.split()
    )


@lru_cache(maxsize=1)
def covered_codes() -> frozenset[int]:
    """Return every code point that prints both in the regular and in the bold weight."""
    from fontTools.ttLib import TTFont  # noqa: PLC0415 - heavy, loaded on first use

    tables = []
    for _, file_name, _ in FACES:
        with TTFont(house_folder("static") / FONT_FOLDER / file_name, lazy=True) as font:
            tables.append(frozenset(font.getBestCmap()))
    regular, bold, symbols = tables
    return (regular & bold) | symbols


def unprintable_characters(text: str) -> tuple[str, ...]:
    """Return the characters that would print as a box, or not at all, in order of appearance.

    Control, direction-changing, invisible, private and unassigned characters count too: with
    them a text can read otherwise than it prints.
    """
    codes = covered_codes()
    return tuple(
        character
        for character in dict.fromkeys(text)
        if character not in _LAYOUT
        and (ord(character) not in codes or unicodedata.category(character) in _REFUSED_KINDS)
    )


WITHOUT_A_TRACE = dict.fromkeys(
    map(ord, "\N{SOFT HYPHEN}\N{ZERO WIDTH SPACE}\N{WORD JOINER}\ufeff")
)
"""Signs that other programs put between words when text is copied, and that mean nothing there."""


def composed(text: str) -> str:
    """Return a text with each letter and its accents as one sign where there is one (NFC).

    What comes along when text is copied and says nothing is left out.
    """
    return unicodedata.normalize("NFC", text.translate(WITHOUT_A_TRACE))


def printing_faults(text: str) -> list[str]:
    """Return a sentence on what of a text cannot be printed: which sign, where, what to do."""
    missing = unprintable_characters(text)
    if not missing:
        return []
    first, *others = missing
    before = " ".join(text[: text.index(first)].split())[-AROUND:].strip()
    place = f"after “{before}”" if before else "at the beginning"
    if _is_hidden(first):
        what, mend = f"A sign that does not show ({_code(first)})", "delete it"
    else:
        what, mend = _quoted(first), "write it in words"
    sentence = f"{what} {place} cannot be printed on a sheet: {mend}."
    if not others:
        return [sentence]
    named = ", ".join(_quoted(each) for each in others[:MOST_NAMED])
    more = f" and {len(others) - MOST_NAMED} more" if len(others) > MOST_NAMED else ""
    return [f"{sentence} The same goes for {named}{more}."]


class _PrintedText(HTMLParser):
    """Collects what a page prints, also inside SVG pictures given as data."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.parts: list[str] = []
        self._hidden: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _UNPRINTED:
            self._hidden.append(tag)
        source = dict(attrs).get("src") or ""
        if source.startswith(SVG_PICTURE):
            drawing = base64.b64decode(source.removeprefix(SVG_PICTURE)).decode()
            self.parts.append(printed_text(drawing))

    def handle_endtag(self, tag: str) -> None:
        if self._hidden and self._hidden[-1] == tag:
            self._hidden.pop()

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.parts.append(data)


def printed_text(html: str) -> str:
    """Return the text that a page of HTML prints, without its style and metadata."""
    parser = _PrintedText()
    parser.feed(html)
    parser.close()
    return "".join(parser.parts)


def require_printable(html: str) -> None:
    """Check that every character a page prints is in the bundled fonts.

    Raises
    ------
    Invalid
        Naming each character that is not, with its code point.
    """
    text = printed_text(html)
    missing = unprintable_characters(text)
    if not missing:
        return
    named = ", ".join(_named(character) for character in missing)
    raise Invalid(
        f"The sheet cannot be printed with {named}: the bundled fonts do not have it. "
        f"It stands in “{_around(text, missing[0])}”. Write that in other letters and try again.",
        {"text": [f"cannot print {_named(character)}" for character in missing]},
    )


def _around(text: str, character: str) -> str:
    """Return the words in which a character stands, so that who typed them finds them."""
    line = next(each for each in text.split("\n") if character in each)
    at = line.index(character)
    return line[max(0, at - AROUND) : at + AROUND].strip()


def _named(character: str) -> str:
    code = _code(character)
    return code if _is_hidden(character) else f"{character} ({code})"


def _quoted(character: str) -> str:
    code = _code(character)
    return code if _is_hidden(character) else f"“{character}” ({code})"


def _code(character: str) -> str:
    return f"U+{ord(character):04X}"


def _is_hidden(character: str) -> bool:
    return unicodedata.category(character) in _REFUSED_KINDS or ord(character) in HIDDEN_MARKS
