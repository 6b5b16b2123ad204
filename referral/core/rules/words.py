"""Find words of a list in free text."""

import re
from collections.abc import Iterable


def found_words(text: str, words: Iterable[str]) -> tuple[str, ...]:
    """Return the words with which a word of the text begins, in the list's order.

    Examples
    --------
    >>> found_words("The wedge tilts the bone.", ("tilt", "turn the bone"))
    ('tilt',)
    """
    folded = text.casefold()
    return tuple(word for word in words if re.search(rf"\b{re.escape(word.casefold())}", folded))
