"""A plan as JSON (the worksheet's keys) to a plan of the core, and what is stored of it."""

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any

from referral.core.predict.plan import PAGE_EXECUTION_U, Clip, ExecutionU, Nails, Plan, Shoe

_NESTED = frozenset({"shoe", "nails", "clips", "execution_u", "fit_on"})
_PLAIN = frozenset(each.name for each in fields(Plan)) - _NESTED


def plan_from_content(content: Mapping[str, Any]) -> Plan:
    """Return the plan that checked JSON describes; keys left out keep their defaults."""
    plain = {key: value for key, value in content.items() if key in _PLAIN and value is not None}
    fit_on = content.get("fit_on")
    return Plan(
        **plain,
        shoe=Shoe(**_said(content["shoe"])) if content.get("shoe") else None,
        nails=_nails(content["nails"]) if content.get("nails") else None,
        clips=tuple(Clip(**each) for each in content.get("clips") or ()),
        fit_on=date.fromisoformat(fit_on) if isinstance(fit_on, str) else fit_on,
        execution_u=execution_u_from(content.get("execution_u")),
    )


def _nails(part: Mapping[str, Any]) -> Nails:
    return Nails(**{**_said(part), "holes": tuple(part.get("holes") or ())})


def _said(part: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in part.items() if value is not None}


def execution_u_from(given: Any) -> ExecutionU:  # noqa: ANN401 - a JSON number or object
    """Return how surely a plan is carried out: nothing said means exactly."""
    return ExecutionU(**given) if isinstance(given, Mapping) else ExecutionU()


PAGE_EXECUTION = {
    each.name: getattr(PAGE_EXECUTION_U, each.name) for each in fields(PAGE_EXECUTION_U)
}
"""What pages store with a plan: agreed tolerances as standard uncertainties."""
