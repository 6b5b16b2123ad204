"""The one sentence on a judged plan, wherever it is printed: on its page and in lists of plans."""

import re
from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from referral.core.rules.finding import Finding
from referral.core.rules.quiet import BOTH, Acknowledged, quieted
from referral.core.rules.summary import summary_of
from referral.plans.cautions import acknowledged_on, as_finding
from referral.plans.judging import summary_by_limb
from referral.plans.models import FindingRow

ONE_OF_SEVERAL = re.compile(r"[LR][FH]: ")
BETWEEN_LIMBS = re.compile(r"(?<!\.) (?=[LR][FH]: )")


def well_said(stored: str) -> str:
    """Return a stored sentence on several limbs with a stop after each; old ones lack them."""
    if not ONE_OF_SEVERAL.match(stored):
        return stored
    return BETWEEN_LIMBS.sub(". ", stored).removesuffix(".") + "."


def summary_told(
    findings: Mapping[str, Iterable[FindingRow | Finding]], known: Sequence[Acknowledged]
) -> str:
    """Return the sentence on each limb's findings; what both sides acknowledged is said apart."""
    said = {}
    for limb, rows in findings.items():
        found = [as_finding(row) for row in rows]
        quiet = [each for each in found if quieted(limb, each, known)]
        said[limb] = summary_of(found, quiet)
    return summary_by_limb(said)


def summaries_told(
    session: Session, case_id: UUID, judged: Mapping[UUID, str]
) -> Mapping[UUID, str]:
    """Return the sentences on many judgements of a case, given as they were judged.

    They are counted again only where both sides have acknowledged something on the case.
    """
    known = acknowledged_on(session, case_id)
    if not {each.role for each in known} >= BOTH:
        return {judgement: well_said(each) for judgement, each in judged.items()}
    found: dict[UUID, dict[str, list[FindingRow]]] = {}
    for row in session.scalars(
        select(FindingRow)
        .where(FindingRow.judgement_id.in_(judged))
        .order_by(FindingRow.limb, FindingRow.position)
    ):
        found.setdefault(row.judgement_id, {}).setdefault(row.limb, []).append(row)
    return {judgement: summary_told(limbs, known) for judgement, limbs in found.items()}
