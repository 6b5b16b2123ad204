"""What the horse pages show, frozen and ready to print."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from referral.horses.choices import ANIMALS
from referral.horses.identity import shown_chip
from referral.horses.models import Horse
from referral.horses.queries import OwnerAsTyped, Typing


@dataclass(frozen=True, slots=True)
class HorseLine:
    """A horse as the list shows it."""

    horse_id: UUID
    name: str
    animal: str
    chip: str | None
    yard: str | None


@dataclass(frozen=True, slots=True)
class TypedLine:
    """An owner who was typed and then mended: who it was, by whom and when it was mended."""

    name: str
    email: str
    mended_by: str
    mended_at: datetime


@dataclass(frozen=True, slots=True)
class HorsePage:
    """One horse: its name, what is known of it as pairs of label and words, its typed owners.

    ``typed`` are those who stood as its owner before somebody mended that, the first one first.
    """

    horse_id: UUID
    name: str
    facts: tuple[tuple[str, str | None], ...]
    typed: tuple[TypedLine, ...]


def horse_line(horse: Horse) -> HorseLine:
    """Return a horse as the list shows it."""
    return HorseLine(
        horse_id=horse.id,
        name=horse.name,
        animal=animal_says(horse.animal),
        chip=shown_chip(horse.chip) if horse.chip else None,
        yard=horse.yard,
    )


def horse_page(horse: Horse, owner: str | None, typed: Sequence[Typing]) -> HorsePage:
    """Return what a horse's own page shows."""
    facts = (
        ("Kind", animal_says(horse.animal)),
        ("Owner", owner),
        *_asked(horse, typed[-1].owner),
        ("Yard", horse.yard),
        ("Chip", shown_chip(horse.chip) if horse.chip else None),
        ("UELN", horse.ueln),
        ("Born", str(horse.born_year) if horse.born_year else None),
        ("Sex", horse.sex.capitalize() if horse.sex else None),
        ("Breed or type", horse.breed),
        ("Colour", horse.colour),
        ("Weight", f"{horse.weight_kg:g} kg" if horse.weight_kg else None),
    )
    mended = tuple(
        TypedLine(each.owner.name or "", each.owner.email or "", later.by, later.at)
        for each, later in pairwise(typed)
    )
    return HorsePage(horse.id, horse.name, facts, mended)


def _asked(horse: Horse, typed: OwnerAsTyped) -> tuple[tuple[str, str], ...]:
    if horse.owner_id is not None or not typed.email:
        return ()
    return (("Owner\N{RIGHT SINGLE QUOTATION MARK}s email, not accepted yet", typed.email),)


def animal_says(code: str) -> str:
    """Return a kind of animal in words."""
    return dict(ANIMALS).get(code, code.replace("_", " "))
