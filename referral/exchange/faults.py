"""What is wrong with a worksheet: one line each, with its path."""

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

from referral.errors import Invalid

WHOLE = "_schema"
"""Where marshmallow keeps what is wrong with an object as a whole."""

LONGEST_SHOWN = 60
LONGEST_LIST = 30
CLOSE = 0.72
"""How alike a word must be to be offered: a slip of a letter or two, not another word."""
UNUSABLE = "The worksheet cannot be used."


def unusable(faults: Mapping[str, list[str]]) -> Invalid:
    """Return the refusal of a worksheet; its message has one line for each fault."""
    lines = [
        f"{path}: {sentence}" if path else sentence
        for path, sentences in faults.items()
        for sentence in sentences
    ]
    return Invalid("\n".join(lines) or UNUSABLE, dict(faults))


def flat(messages: Mapping[Any, Any], path: str = "") -> dict[str, list[str]]:
    """Return marshmallow's nested messages by dotted path."""
    found: dict[str, list[str]] = {}
    for key, inner in messages.items():
        at = path if key == WHOLE else joined(path, key)
        if isinstance(inner, Mapping):
            for where, sentences in flat(inner, at).items():
                found.setdefault(where, []).extend(sentences)
        else:
            found.setdefault(at, []).extend(str(each) for each in inner)
    return found


def joined(path: str, key: object) -> str:
    """Return the path of a key, itself shown so that it stays on one line."""
    return f"{path}.{plain(str(key))}" if path else plain(str(key))


def plain(text: str) -> str:
    """Return a text that is safe to print in one line, cut when it is long."""
    cut = text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"
    return "".join(each if each.isprintable() else ascii(each)[1:-1] for each in cut)


def shown(value: object) -> str:
    """Return what was given, as it stands in a sentence."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{plain(value)}"'
    if isinstance(value, list):
        return "a list"
    if isinstance(value, Mapping):
        return "an object"
    return f"{value:g}" if isinstance(value, float) else plain(str(value))


def one_of(words: Iterable[str]) -> str:
    """Return what may stand in a place: the words, as many as can be read."""
    every = list(words)
    if len(every) > LONGEST_LIST:
        return f"one of the {len(every)} known ones, such as {', '.join(every[:3])}, is wanted"
    return f"{every[0]} is wanted" if len(every) == 1 else f"one of {', '.join(every)} is wanted"


def instead_of(word: object, known: Iterable[str]) -> str:
    """Return the advice on a word that is not known: the nearest one, else all of them."""
    every = list(known)
    near = get_close_matches(str(word), every, n=1, cutoff=CLOSE)
    return f"did you mean {near[0]}?" if near else one_of(every)
