"""The calculator's commands: one worksheet in, one answer in JSON out."""

from typing import Any

import click

from referral.clock import utc_now
from referral.exchange.answers import (
    as_text,
    foretold_answer,
    judged_answer,
    measured_answer,
    window_answer,
)
from referral.exchange.calculator import foretold, judged, measured, windowed
from referral.exchange.reading import parse_object
from referral.exchange.schemas import load_worksheet
from referral.exchange.worksheet import Worksheet
from referral.rulebook.loader import load_rulebook
from referral.storage.given import KIBIBYTE, read_given

LARGEST_WORKSHEET = 256 * KIBIBYTE
ANSWERED, SOMETHING_WORSE = 0, 1
GOOD_ENOUGH = frozenset({"note", "within", "nothing_applied"})
"""What ``worst`` may be for a judgement that nobody has to act on."""

worksheet_argument = click.argument("file")


@click.command()
@worksheet_argument
def measure(file: str) -> int:
    """Read the foot in a worksheet: angles, lengths, how sure they are.

    FILE is a JSON worksheet; - reads standard input. Exit status 0: answered; 2: unusable.
    """
    return _say(measured_answer(measured(_sheet(file))))


@click.command()
@worksheet_argument
def predict(file: str) -> int:
    """Say what the plan in a worksheet makes of the foot.

    FILE is a JSON worksheet; - reads standard input. Exit status 0: answered; 2: unusable.
    """
    return _say(foretold_answer(foretold(_sheet(file), load_rulebook())))


@click.command()
@worksheet_argument
def judge(file: str) -> int:
    """Hold the foot and the plan in a worksheet against the rules and the vet's limits.

    FILE is a JSON worksheet; - reads standard input. Exit status 0: nothing worse than a
    note; 1: something is; 2: unusable. It flags; it never diagnoses or approves.
    """
    judgement = judged(_sheet(file), load_rulebook())
    _say(judged_answer(judgement))
    return ANSWERED if judgement.worst in GOOD_ENOUGH else SOMETHING_WORSE


@click.command()
@worksheet_argument
def window(file: str) -> int:
    """Say which trims and wedges would meet every limit, with the rest of the plan held.

    FILE is a JSON worksheet; - reads standard input. Exit status 0: answered; 2: unusable.
    """
    return _say(window_answer(windowed(_sheet(file), load_rulebook())))


def _sheet(name: str) -> Worksheet:
    given = parse_object(read_given(name, LARGEST_WORKSHEET))
    return load_worksheet(given, utc_now().date())


def _say(answer: dict[str, Any]) -> int:
    click.echo(as_text(answer))
    return ANSWERED
