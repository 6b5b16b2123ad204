"""The plan that stands in a form: every limb's content, when, and who looks next."""

from collections.abc import Iterable, Mapping
from typing import Any

from flask import request

from referral.cases.queries import entries_since
from referral.cases.visit import Visit, based_on
from referral.core.workflow import Move
from referral.errors import Invalid
from referral.plans.pages import lines_apart, walls_of
from referral.plans.queries import plan_of, planned_limbs
from referral.plans.rows import PlanLine
from referral.plans.schemas import BETWEEN, LimbForm, PlanForm, limbs_from_json, load_limbs
from referral.plans.service import SubmitPlan
from referral.web.forms import SUMMARY, load_form


def command_of(visit: Visit, also: Iterable[str] = ()) -> SubmitPlan:
    """Return the plan that was sent as a form, beside the fields ``also``.

    Raises
    ------
    Invalid
        With a sentence for each field at fault, of all limbs.
    """
    limbs = planned_limbs(visit.session, visit.access.case_id)
    faults: dict[str, list[str]] = {}
    given: dict[str, Any] = {}
    content: Mapping[str, Mapping[str, Any]] = {}
    try:
        given = load_form(PlanForm(), request.form, also=[*_limb_fields(limbs), *also])
    except Invalid as error:
        faults.update(error.faults)
    try:
        walls = walls_of(visit.session, visit.access.case_id, limbs)
        content = load_limbs(request.form, limbs, given.get("fit_on"), walls)
    except Invalid as error:
        faults.update(error.faults)
    if faults:
        raise Invalid(SUMMARY, faults)
    return _command(visit, given, content)


def command_from(visit: Visit, given: Mapping[str, Any]) -> SubmitPlan:
    """Return the plan that was sent as JSON: what `PlanForm` knows, and ``limbs`` by limb.

    Raises
    ------
    Invalid
        With a sentence for each path at fault, ``limbs.LF.toe_trim_mm``.
    """
    limbs = planned_limbs(visit.session, visit.access.case_id)
    walls = walls_of(visit.session, visit.access.case_id, limbs)
    content = limbs_from_json(given["limbs"], limbs, given["fit_on"], walls)
    return _command(visit, given, content)


def apart_from_newest(visit: Visit) -> tuple[tuple[str, PlanLine], ...] | None:
    """Return where the plan that was sent differs from the one that was stored meanwhile.

    None if none was, or if what was sent cannot be read as a plan.
    """
    seen, case_id = based_on(), visit.access.case_id
    since = entries_since(visit.session, case_id, seen) if seen is not None else ()
    if not any(each.kind in (Move.SUBMIT_PLAN, Move.AMEND_PLAN) for each in since):
        return None
    try:
        sent = command_of(visit)
    except Invalid:
        return None
    newest = plan_of(visit.session, case_id, visit.access.state.plan_n)
    return lines_apart(newest.limbs, sent.limbs)


def _command(
    visit: Visit, given: Mapping[str, Any], content: Mapping[str, Mapping[str, Any]]
) -> SubmitPlan:
    return SubmitPlan(
        limbs=content,
        words=given["words"],
        recheck_owner=given["recheck_owner"],
        recheck_on=given["recheck_on"],
        happened_on=visit.today,
        based_on=based_on(),
    )


def _limb_fields(limbs: tuple[str, ...]) -> list[str]:
    return [f"{limb}{BETWEEN}{name}" for limb in limbs for name in LimbForm().fields]
