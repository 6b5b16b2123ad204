"""What the horse pages show, frozen and ready to print."""

from dataclasses import dataclass
from uuid import UUID

from referral.horses.choices import ANIMALS
from referral.horses.identity import shown_chip
from referral.horses.models import Horse


@dataclass(frozen=True, slots=True)
class HorseLine:
    """A horse as the list shows it."""

    horse_id: UUID
    name: str
    animal: str
    chip: str | None
    yard: str | None


@dataclass(frozen=True, slots=True)
class HorsePage:
    """One horse: its name, and what is known of it as pairs of label and words."""

    horse_id: UUID
    name: str
    facts: tuple[tuple[str, str | None], ...]


def horse_line(horse: Horse) -> HorseLine:
    """Return a horse as the list shows it."""
    return HorseLine(
        horse_id=horse.id,
        name=horse.name,
        animal=animal_says(horse.animal),
        chip=shown_chip(horse.chip) if horse.chip else None,
        yard=horse.yard,
    )


def horse_page(horse: Horse, owner: str | None) -> HorsePage:
    """Return what a horse's own page shows."""
    facts = (
        ("Kind", animal_says(horse.animal)),
        ("Owner", owner),
        *_asked(horse),
        ("Yard", horse.yard),
        ("Chip", shown_chip(horse.chip) if horse.chip else None),
        ("UELN", horse.ueln),
        ("Born", str(horse.born_year) if horse.born_year else None),
        ("Sex", horse.sex.capitalize() if horse.sex else None),
        ("Breed or type", horse.breed),
        ("Colour", horse.colour),
        ("Weight", f"{horse.weight_kg:g} kg" if horse.weight_kg else None),
    )
    return HorsePage(horse.id, horse.name, facts)


def _asked(horse: Horse) -> tuple[tuple[str, str], ...]:
    if horse.owner_id is not None or not horse.owner_email:
        return ()
    return (("Owner\N{RIGHT SINGLE QUOTATION MARK}s email, not accepted yet", horse.owner_email),)


def animal_says(code: str) -> str:
    """Return a kind of animal in words."""
    return dict(ANIMALS).get(code, code.replace("_", " "))
