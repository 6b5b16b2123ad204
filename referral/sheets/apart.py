"""A sheet printed by a child of the worker, under limits of time and memory."""

from collections.abc import Mapping

from referral.sheets.printing import print_sheet
from referral.sheets.snapshot import Snapshot
from referral.storage.decode.apart import in_a_child
from referral.web.pdf import house_fonts

LOST = (
    "This sheet could not be printed: it asked for more time or memory than a sheet may have. "
    "Shorten what it says, or ask the operator to look into it."
)


def print_apart(snapshot: Snapshot, pictures: Mapping[str, bytes]) -> bytes:
    """Return what ``print_sheet`` does; a page that never ends holds nobody up.

    Raises
    ------
    Invalid
        As ``print_sheet``, or if the child ends without an answer.
    """
    house_fonts()  # loaded by the parent once, so that every child has them
    _said, pdf = in_a_child(lambda: ({}, print_sheet(snapshot, pictures)), LOST)
    return pdf
