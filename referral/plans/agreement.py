"""Which findings a vet must answer before agreeing to a plan."""

from typing import Protocol

BINDING = frozenset({"breach", "red_flag"})


class Judgeable(Protocol):
    """A finding, stored or fresh."""

    verdict: str
    severity: str


def must_be_answered(finding: Judgeable) -> str:
    """Return ``waived``, ``seen`` or an empty string: what agreeing to a finding asks for.

    A broken limit at breach level, or one that cannot be told, wants a waiver
    with a reason; one that is too close to call wants a tick.
    """
    if finding.severity not in BINDING:
        return ""
    if finding.verdict in ("OUTSIDE", "CANNOT_TELL"):
        return "waived"
    return "seen" if finding.verdict == "TOO_CLOSE" else ""
