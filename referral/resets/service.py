"""The verbs of a reset: record what was fitted, countersign it, set the recheck."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.service import Words, write_words
from referral.cases.timeline import NewEntry, append
from referral.core.rules.derived import has_bar, has_wedge
from referral.core.rules.deviations import Difference, differences
from referral.core.workflow import Move, Stage
from referral.errors import Invalid, OutOfDate, WrongState
from referral.plans.content import plan_from_content
from referral.plans.judging import Judged, judge_subject
from referral.plans.queries import PlanView, Wanted, plan_of, subject_of
from referral.plans.service import keep_judgement
from referral.resets.models import Countersign, Deviation, Reset, ResetLimb
from referral.resets.queries import latest_reset
from referral.resets.rechecks import SetRecheck, keep_recheck
from referral.rulebook.loader import Rulebook
from referral.storage.canonical import rounded
from referral.storage.ids import new_id

NO_REASON = "Say why this differs from the plan."


@dataclass(frozen=True, slots=True)
class RecordReset:
    """What was done on the day, limb by limb in the plan's keys, with reasons for differences.

    ``reasons`` is keyed ``LF.heel_trim_mm``.
    """

    plan_n: int
    limbs: Mapping[str, Mapping[str, Any]]
    reasons: Mapping[str, str]
    fitted_on: date
    interval_weeks: float
    found: str | None
    comfort: str | None
    advice: str | None
    based_on: int | None


@dataclass(frozen=True, slots=True)
class CheckedReset:
    """A reset that could be recorded: its plan, its differences, its judging, its due date."""

    command: RecordReset
    plan: PlanView
    differences: Mapping[str, tuple[Difference, ...]]
    judged: Judged
    due_on: date


def limb_differences(
    view: PlanView, limbs: Mapping[str, Mapping[str, Any]]
) -> Mapping[str, tuple[Difference, ...]]:
    """Return what differs from the plan, limb by limb."""
    return {
        limb: differences(plan_from_content(view.limbs[limb]), plan_from_content(content))
        for limb, content in limbs.items()
    }


def check_reset(
    session: Session, access: CaseAccess, command: RecordReset, rulebook: Rulebook, now: datetime
) -> CheckedReset:
    """Judge what was fitted, with nothing stored.

    Raises
    ------
    OutOfDate
        If the plan is not the one in force.
    WrongState
        If the plan was never agreed.
    Invalid
        If a limb is missing, a date impossible, or a difference has no reason.
    """
    if command.plan_n != access.state.plan_n:
        raise OutOfDate("Another plan is in force now; open its form.")
    view = plan_of(session, access.case_id, command.plan_n)
    if view.agreed is None:
        raise WrongState("The vet has not agreed to this plan.")
    _check_day(access, view, command, now)
    missing = sorted(set(view.limbs) - set(command.limbs))
    if missing:
        names = ", ".join(missing)
        raise Invalid(f"Record what was done to {names} too.", {"limbs": [f"{names} is missing."]})
    found = limb_differences(view, command.limbs)
    _ask_reasons(found, command.reasons)
    wanted = Wanted(
        plans=view.limbs,
        fitted={limb: rounded(dict(content)) for limb, content in command.limbs.items()},
        recheck_owner=view.plan.recheck_owner,
        recheck_on=view.plan.recheck_on,
        plan_signed_on=view.agreed.reviewed_at.date(),
        reasons=command.reasons,
    )
    judged = judge_subject(subject_of(session, access, wanted), rulebook, now.date())
    due_on = command.fitted_on + timedelta(days=round(command.interval_weeks * 7))
    return CheckedReset(command, view, found, judged, due_on)


def _check_day(access: CaseAccess, view: PlanView, command: RecordReset, now: datetime) -> None:
    zone = ZoneInfo(access.zone)
    if command.fitted_on > now.astimezone(zone).date():
        raise Invalid("The day is in the future.", {"fitted_on": ["This day is still to come."]})
    if command.fitted_on < view.plan.submitted_at.astimezone(zone).date():
        sentence = "This day is before the plan was written; record emergency work instead."
        raise Invalid(sentence, {"fitted_on": [sentence]})


def _ask_reasons(found: Mapping[str, tuple[Difference, ...]], reasons: Mapping[str, str]) -> None:
    faults = {
        f"reason_{limb}.{each.field}": [NO_REASON]
        for limb, differences_here in found.items()
        for each in differences_here
        if each.beyond and not reasons.get(f"{limb}.{each.field}")
    }
    if faults:
        raise Invalid("Each difference from the plan needs its reason.", faults)


def record_reset(
    session: Session, access: CaseAccess, checked: CheckedReset, now: datetime
) -> Reset:
    """Record a reset as fitted; the vet's countersign is asked for and the due date set."""
    command, state = checked.command, access.state
    correcting = state.stage is Stage.CORRECTING
    number = state.reset_n if correcting else state.reset_n + 1
    before = latest_reset(session, access.case_id, number) if correcting else None
    reset = Reset(
        id=new_id(now),
        case_id=access.case_id,
        n=number,
        plan_id=checked.plan.plan.id,
        corrects_id=before.id if before else None,
        fitted_on=command.fitted_on,
        due_on=checked.due_on,
        found=command.found,
        comfort=command.comfort,
        advice=command.advice,
        farrier_id=access.actor_id,
        recorded_at=now,
    )
    session.add(reset)
    session.flush()
    _keep_parts(session, reset, checked, now)
    keep_judgement(session, checked.plan.plan.id, reset.id, checked.judged, now)
    facts = {
        "n": number,
        "plan_n": command.plan_n,
        "due_on": checked.due_on.isoformat(),
        "worst": checked.judged.worst,
        "basis_sha256": checked.judged.basis_sha256,
        "corrects": str(before.id) if before else None,
        "devices": [limb for limb, content in command.limbs.items() if _in_device(content)],
    }
    texts = {"found": command.found, "comfort": command.comfort, "advice": command.advice}
    new = NewEntry(Move.RECORD_RESET, command.fitted_on, facts, texts, reset.id, command.based_on)
    append(session, access, new, now)
    return reset


def _in_device(content: Mapping[str, Any]) -> bool:
    plan = plan_from_content(content)
    return has_wedge(plan) or has_bar(plan)


def _keep_parts(session: Session, reset: Reset, checked: CheckedReset, now: datetime) -> None:
    for limb, content in checked.command.limbs.items():
        session.add(
            ResetLimb(id=new_id(now), reset_id=reset.id, limb=limb, content=rounded(dict(content)))
        )
        for each in checked.differences[limb]:
            reason = checked.command.reasons.get(f"{limb}.{each.field}")
            if reason:
                session.add(
                    Deviation(
                        id=new_id(now),
                        reset_id=reset.id,
                        limb=limb,
                        field=each.field,
                        planned=each.planned,
                        fitted=each.fitted,
                        reason=reason,
                    )
                )
    session.flush()


@dataclass(frozen=True, slots=True)
class CountersignReset:
    """The vet's countersign, and the next look: when, whose, which films."""

    n: int
    words: str | None
    recheck_on: date
    recheck_role: str
    recheck_owner_id: UUID
    films_wanted: str | None
    happened_on: date
    based_on: int | None


def countersign(
    session: Session, access: CaseAccess, command: CountersignReset, now: datetime
) -> None:
    """Countersign what was fitted and set who owns the recheck, and when.

    Raises
    ------
    NotFound
        If this case has no such reset.
    OutOfDate
        If a later reset has been recorded.
    """
    reset = _reset_in_force(session, access, command.n)
    session.add(
        Countersign(
            id=new_id(now),
            reset_id=reset.id,
            decision="countersigned",
            words=command.words,
            vet_id=access.actor_id,
            signed_at=now,
        )
    )
    recheck = SetRecheck(
        due_on=command.recheck_on,
        owner_role=command.recheck_role,
        owner_id=command.recheck_owner_id,
        films_wanted=command.films_wanted,
        words=None,
        happened_on=command.happened_on,
    )
    keep_recheck(session, access, recheck, now)
    facts = {
        "reset_n": command.n,
        "recheck_on": command.recheck_on.isoformat(),
        "recheck_owner": command.recheck_role,
    }
    texts = {"words": command.words, "films_wanted": command.films_wanted}
    new = NewEntry(Move.COUNTERSIGN, command.happened_on, facts, texts, reset.id, command.based_on)
    append(session, access, new, now)


def ask_correction(
    session: Session, access: CaseAccess, n: int, command: Words, now: datetime
) -> None:
    """Ask the farrier to put the record right.

    Raises
    ------
    Invalid
        If nothing is said.
    """
    if not command.words:
        raise Invalid("Say what is to be put right.", {"words": ["Say what is to be put right."]})
    reset = _reset_in_force(session, access, n)
    session.add(
        Countersign(
            id=new_id(now),
            reset_id=reset.id,
            decision="correction_asked",
            words=command.words,
            vet_id=access.actor_id,
            signed_at=now,
        )
    )
    facts = {"reset_n": n}
    write_words(
        session,
        access,
        Move.ASK_CORRECTION,
        Words(command.words, command.happened_on, command.based_on, reset.id, facts),
        now,
    )


def _reset_in_force(session: Session, access: CaseAccess, n: int) -> Reset:
    if n != access.state.reset_n:
        raise OutOfDate(f"Reset {n} is not the latest; reset {access.state.reset_n} is.")
    return latest_reset(session, access.case_id, n)
