"""Limits of the vet's that contradict each other on a foot, as they are said before sending."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Contradiction:
    """The fewest limits that no plan meets together on one limb, each in words.

    ``others`` says that there is another conflict beside this one.
    """

    limb: str
    limits: tuple[str, ...]
    others: bool
