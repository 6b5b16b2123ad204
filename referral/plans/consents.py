"""The owner's consent to an agreed plan, however it was given."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.timeline import NewEntry, append
from referral.core.workflow import Move, Role
from referral.errors import Invalid, NotFound, OutOfDate
from referral.plans.models import Consent
from referral.plans.queries import is_stale
from referral.plans.service import current_plan
from referral.rulebook.loader import Rulebook
from referral.storage.ids import new_id

ON_THIS_PAGE = "on this page"
"""How the owner answers who is signed in; anybody else writes down an answer given otherwise."""


@dataclass(frozen=True, slots=True)
class RecordConsent:
    """The owner's answer, however it was given, and what was said with it."""

    n: int
    decision: str
    given_by: str
    authority: str
    how: str
    given_on: date
    cost: str | None
    resets_expected: str | None
    risks: str | None
    outlook: str | None
    based_on: int | None
    words: str | None = None


def record_consent(
    session: Session, access: CaseAccess, command: RecordConsent, rulebook: Rulebook, now: datetime
) -> None:
    """Record consent or refusal to the agreed plan.

    Raises
    ------
    OutOfDate
        If the plan is not the one in force, or was changed since it was agreed.
    NotFound
        If there is no such plan.
    Invalid
        If somebody else than the owner says that it was given on the page.
    """
    if command.how == ON_THIS_PAGE and Role.OWNER not in access.roles:
        raise Invalid(
            "Say how the owner told you.",
            {"how": ["Only the owner, signed in, answers on this page."]},
        )
    view = current_plan(session, access, command.n)
    if view.agreed is None:
        raise NotFound("This plan has not been agreed.")
    if command.decision == "given" and is_stale(session, access, view, rulebook, now.date()):
        raise OutOfDate(
            "Limits, readings or rules changed since the vet agreed; ask the vet again."
        )
    row = Consent(
        id=new_id(now),
        plan_id=view.plan.id,
        decision=command.decision,
        given_by=command.given_by,
        authority=command.authority,
        how=command.how,
        given_on=command.given_on,
        cost=command.cost,
        resets_expected=command.resets_expected,
        risks=command.risks,
        outlook=command.outlook,
        recorded_by=access.actor_id,
        recorded_at=now,
    )
    session.add(row)
    move = Move.GIVE_CONSENT if command.decision == "given" else Move.DECLINE_CONSENT
    facts = {"plan_n": command.n, "how": command.how, "authority": command.authority}
    told = ("given_by", "words", "cost", "resets_expected", "risks", "outlook")
    texts = {name: getattr(command, name) for name in told}
    new = NewEntry(move, command.given_on, facts, texts, row.id, command.based_on)
    append(session, access, new, now)
