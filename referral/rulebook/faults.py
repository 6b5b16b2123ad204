"""What is wrong with rule files: every fault, with file, line and how to mend it."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from referral.core.errors import BadRule


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in one file; ``line`` counts from 1 where it can be had."""

    file: str
    line: int | None
    wrong: str
    mend: str

    def __str__(self) -> str:
        """Return ``file:line: what is wrong; how to mend it``."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{place}: {self.wrong}; {self.mend}"


class RulebookFault(BadRule):
    """Rule files that cannot be used; ``faults`` lists all that is wrong, not only the first."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class FaultList:
    """Collects the faults of one file, and finds their lines in its text."""

    file: str
    text: str
    found: list[Fault] = field(default_factory=list)

    def add(self, wrong: str, mend: str, *, key: str = "", at: tuple[str, int] = ("", 0)) -> None:
        """Note a fault at a key, in the n-th table of a name (``("limits", 0)``) if given.

        Examples
        --------
        >>> faults = FaultList("R01.toml", "id = 1")
        >>> faults.add("id must be text", "put it in quotes", key="id")
        >>> print(faults.found[0])
        R01.toml:1: id must be text; put it in quotes
        """
        self.add_line(line_of(self.text, key, at), wrong, mend)

    def add_line(self, line: int | None, wrong: str, mend: str) -> None:
        """Note a fault whose line is known.

        Examples
        --------
        >>> faults = FaultList("R01.toml", "")
        >>> faults.add_line(3, "this is not TOML", "mend the line")
        >>> faults.found[0].line
        3
        """
        self.found.append(Fault(self.file, line, wrong, mend))


def line_of(text: str, key: str, at: tuple[str, int] = ("", 0)) -> int | None:
    r"""Return the line, from 1, of a key in the n-th table of a name, or of the table itself.

    Returns
    -------
    int or None
        ``None`` if the text has no such table; the table's own line if it has no such key.

    Examples
    --------
    >>> line_of("id = 1\n[[limits]]\nunit = 2\n", "unit", ("limits", 0))
    3
    """
    lines = text.splitlines()
    table, index = at
    start = 0
    if table:
        headers = [n for n, line in enumerate(lines) if re.match(rf"\s*\[+{table}\]+", line)]
        if index >= len(headers):
            return None
        start = headers[index]
    end = next(
        (n for n in range(start + 1, len(lines)) if re.match(r"\s*\[", lines[n])), len(lines)
    )
    named = re.compile(rf"(?:^|[{{,])\s*\"?{re.escape(key)}\"?\s*=")  # inline tables too
    for n in range(start, end):
        if key and named.search(lines[n]):
            return n + 1
    return start + 1 if table else None
