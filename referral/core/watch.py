"""What a case asks for at every visit until somebody has seen to it.

The opposite foot of one that bears no weight is looked at for laminitis of the support limb;
a wedge or a bar that stays on has its reason renewed, or is stepped down; a puncture has its
tetanus vaccination asked for. All of it is worked out from the timeline's entries (common
practice, no source). Nothing here reads a clock.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from referral.core.diary import Dated
from referral.core.ground import OPPOSITE
from referral.core.workflow import Move

RESETS_IN_DEVICE = 3
"""After how many resets in a wedge or a bar its reason is asked for."""

NOT_BEARING: Mapping[str, float] = {"aaep": 5.0, "uk": 10.0}
"""The grade on a scale of lameness that says that the limb bears no weight."""

VISITS = frozenset({Move.RECORD_RESET, Move.RECORD_EMERGENCY, Move.ADD_FILM, Move.GRADE_LAMENESS})
"""Moves that somebody makes with the horse before them."""


class What(StrEnum):
    """What can be asked for; the value is what a page says."""

    SUPPORT_LIMB = "Look at the opposite foot for support-limb laminitis"
    DEVICE = "Renew the reason for the wedge or bar, or step it down"
    TETANUS = "A puncture: say how the tetanus vaccination stands"


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing that is asked for, of which limb; None where it is of no one limb."""

    what: What
    limb: str | None


def asks_of(entries: Sequence[Dated]) -> tuple[Ask, ...]:
    """Return what a case asks for now, of all its entries in order.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.workflow import Happening
    >>> lame = Happening("red_flag_raised", "owner", {
    ...     "flag": "a", "sign": "not_bearing_weight", "limb": "LF"})
    >>> [(ask.what.name, ask.limb) for ask in asks_of([Dated(lame, date(2026, 11, 2))])]
    [('SUPPORT_LIMB', 'RF')]
    """
    support = [Ask(What.SUPPORT_LIMB, limb) for limb in _support_limbs(entries)]
    devices = [Ask(What.DEVICE, limb) for limb in _limbs_in_devices(entries)]
    tetanus = [Ask(What.TETANUS, None)] if _asks_tetanus(entries) else []
    return (*support, *devices, *tetanus)


def _support_limbs(entries: Sequence[Dated]) -> list[str | None]:
    found = []
    for limb, since in _not_bearing(entries).items():
        opposite = OPPOSITE.get(limb)
        visits = [
            place
            for place, each in enumerate(entries)
            if place >= since and (place == since or each.happening.kind in VISITS)
        ]
        last = entries[max(visits, key=lambda place: entries[place].on)].on
        checked = any(
            each.happening.kind == Move.CHECK_SUPPORT_LIMB
            and each.on >= last
            and (opposite is None or each.happening.facts.get("limb") == opposite)
            for each in entries
        )
        if not checked:
            found.append(opposite)
    return found


_LAMENESS = frozenset({Move.RAISE_FLAG, Move.ANSWER_FLAG, Move.GRADE_LAMENESS})
_DEVICES = frozenset({Move.RECORD_RESET, Move.STEP_DOWN, Move.RENEW_DEVICE})
_TETANUS = frozenset({"sign", "tetanus", "medication"})


def _of(kinds: frozenset[Move], entries: Sequence[Dated]) -> Iterator[tuple[int, Dated]]:
    """Yield the entries of these kinds, each with its place among all."""
    return (each for each in enumerate(entries) if each[1].happening.kind in kinds)


def _not_bearing(entries: Sequence[Dated]) -> dict[str, int]:
    """Return each limb that bears no weight, and the place of the entry that first says so."""
    flags: dict[str, tuple[str, int]] = {}
    graded: dict[str, int] = {}
    for place, each in _of(_LAMENESS, entries):
        facts = each.happening.facts
        match each.happening.kind:
            case Move.RAISE_FLAG if facts.get("sign") == "not_bearing_weight":
                flags[str(facts["flag"])] = (str(facts.get("limb") or ""), place)
            case Move.ANSWER_FLAG if facts.get("answer") == "resolved":
                flags.pop(str(facts["flag"]), None)
            case Move.GRADE_LAMENESS:
                _grade(graded, facts, place)
            case _:
                pass
    return graded | dict(flags.values())


def _grade(graded: dict[str, int], facts: Mapping[str, object], place: int) -> None:
    limb, worst = str(facts["limb"]), NOT_BEARING.get(str(facts["scale"]))
    if worst is not None and float(str(facts["grade"])) >= worst:
        graded.setdefault(limb, place)
    else:
        graded.pop(limb, None)


def _limbs_in_devices(entries: Sequence[Dated]) -> list[str]:
    resets: dict[int, tuple[int, Sequence[str]]] = {}
    reasoned: dict[str, int] = {}
    for place, each in _of(_DEVICES, entries):
        facts = each.happening.facts
        if each.happening.kind == Move.RECORD_RESET:
            devices = facts.get("devices")
            worn = [str(limb) for limb in devices] if isinstance(devices, list) else []
            resets[int(str(facts["n"]))] = (place, worn)
        else:
            reasoned[str(facts["limb"])] = place
    last = [resets[n] for n in sorted(resets)][-RESETS_IN_DEVICE:]
    if len(last) < RESETS_IN_DEVICE:
        return []
    return [
        limb
        for limb in OPPOSITE
        if all(limb in worn and place > reasoned.get(limb, -1) for place, worn in last)
    ]


def _asks_tetanus(entries: Sequence[Dated]) -> bool:
    asked = False
    for each in entries:
        facts = each.happening.facts
        if _TETANUS.isdisjoint(facts):
            continue
        if facts.get("sign") == "penetrating_object":
            asked = True
        if facts.get("tetanus") not in (None, "not_known") or facts.get("medication") == "tetanus":
            asked = False
    return asked
