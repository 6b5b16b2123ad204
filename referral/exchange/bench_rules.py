"""How long ten thousand plans take in one call, beside a decision graph asked one by one.

The peer is an engine of decision tables written in Rust. It gets the same rules on the same
numbers, its guard bands worked out beforehand, and nothing else to do. What it answers must be
what is answered here, or no figure is given.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from importlib import import_module
from importlib.util import find_spec
from typing import Any

import numpy as np

from referral.core.measure.readings import Measured
from referral.core.predict.many import Variants, predict_many
from referral.core.predict.plan import Plan
from referral.core.predict.prediction import outlook_of
from referral.core.predict.wedge import wedge_height_mm
from referral.core.rules.columns import Columns, ManyJudgement, Row, judge_columns
from referral.core.rules.finding import CaseLimit
from referral.core.rules.guard import Bound, guard_band
from referral.core.rules.inputs import Inputs
from referral.core.rules.many import ManyQuantities
from referral.core.rules.rule import Rulebook, severity_rank
from referral.exchange.timing import median_ms

PLANS = 10_000
PEER_PLANS = 500
"""Of so many the peer is timed: it takes each by itself, so that ten times as many take ten times
as long."""
SEED = 20261125
PEER = "zen"
MISSING = "not measured: .venv/bin/pip install --require-hashes -r .setup/requirements-bench.txt"
LIMITS = (
    CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=2.0, at_most=9.0),
    CaseLimit("palmar_angle_deg", "at_due", "must", at_least=0.5),
    CaseLimit("breakover_distance_mm", "at_due", "should", at_most=40.0),
)


def many_figures(foot: Inputs, rulebook: Rulebook, on: date) -> Mapping[str, str]:
    """Return the figures of ten thousand plans in one call, and of the peer if it is there."""
    columns = _columns(foot)
    judged = judge_columns(foot, rulebook, LIMITS, on, columns)
    ours_ms = median_ms(lambda: judge_columns(foot, rulebook, LIMITS, on, columns))
    figures = {
        f"judge {PLANS} plans in one call, {len(judged.rows)} rules": f"{ours_ms:.1f} ms",
    }
    named = f"{PLANS} plans one by one in zen-engine's decision graph"
    if find_spec(PEER) is None:
        return {**figures, named: MISSING}
    peer_ms = _peer_ms(judged) * PLANS / PEER_PLANS
    return {
        **figures,
        named: f"{peer_ms:.0f} ms",
        "zen-engine over one call": f"{peer_ms / ours_ms:.0f}",
    }


def _columns(foot: Inputs) -> Columns:
    """Return what ten thousand trims and wedges make of the foot, and what they are."""
    rng = np.random.default_rng(SEED)
    toe, heel, wedge = (rng.uniform(0.0, most, PLANS) for most in (10.0, 10.0, 5.0))
    outlook = outlook_of(foot.film, Measured(), foot.plan or Plan(), foot.profile)
    asked = [
        (stage, code)
        for stage in ("after_fit", "at_due", "change")
        for code in foot.stages[stage].readings
    ]
    found = predict_many(outlook, foot.profile, Variants(toe, heel, wedge), asked)
    read = {
        key: ManyQuantities(each.values, each.u, each.known) for key, each in found.readings.items()
    }
    height = wedge_height_mm(found.bearing_length_mm, wedge)
    said = {"toe_trim_mm": toe, "heel_trim_mm": heel, "wedge_deg": wedge, "wedge_mm": height}
    every = np.ones(PLANS, bool)
    return read | {
        ("after_fit", name): ManyQuantities(values, 0.0, every) for name, values in said.items()
    }


@dataclass(frozen=True, slots=True)
class _Asked:
    """A row of ours as the peer is asked it: the name of its number in the graph."""

    name: str
    row: Row
    quantities: ManyQuantities


def _peer_ms(judged: ManyJudgement) -> float:
    """Return how long the peer takes for some of the plans, once it has agreed with ours."""
    asked = [
        _Asked(f"n{place}", row, row.quantities)
        for place, row in enumerate(judged.rows)
        if row.quantities is not None
    ]
    # the bench's own requirement, which may not be there
    decision = import_module(PEER).ZenEngine().create_decision(json.dumps(_graph(asked)))
    contexts = [_context(asked, plan) for plan in range(PEER_PLANS)]
    for plan, context in enumerate(contexts):
        answer = decision.evaluate(context)["result"]
        for each in asked:
            ours = int(each.row.answers.verdicts[plan])
            if answer[each.name] != ours:
                raise RuntimeError(
                    f"zen-engine answers {each.row.rule} with {answer[each.name]}, not {ours}."
                )
    return median_ms(lambda: [decision.evaluate(each) for each in contexts], at_most=3)


def _context(asked: list[_Asked], plan: int) -> dict[str, Any]:
    return {
        each.name: float(each.quantities.values[plan]) if each.quantities.known[plan] else None
        for each in asked
    }


def _graph(asked: list[_Asked]) -> Mapping[str, Any]:
    """Return the rules as one decision graph: a table each, side by side."""
    ends = [
        {"id": "in", "type": "inputNode", "name": "in", "position": {"x": 0, "y": 0}},
        {"id": "out", "type": "outputNode", "name": "out", "position": {"x": 2, "y": 0}},
    ]
    tables = [
        {
            "id": each.name,
            "type": "decisionTableNode",
            "name": each.name,
            "position": {"x": 1, "y": place},
            "content": _table(each),
        }
        for place, each in enumerate(asked)
    ]
    edges = [
        {"id": f"{source}-{target}", "sourceId": source, "targetId": target, "type": "edge"}
        for each in asked
        for source, target in (("in", each.name), (each.name, "out"))
    ]
    return {"nodes": [*ends, *tables], "edges": edges}


def _table(asked: _Asked) -> Mapping[str, Any]:
    """Return one rule: what is broken first, the most severe tier first, then what is close."""
    u = float(np.max(asked.quantities.u))
    bounds = sorted(asked.row.bounds, key=lambda bound: -severity_rank(bound.severity))
    rows = [("null", 3, "0")]
    rows += [(_beyond(bound, u), 1, _margin(bound, asked.name)) for bound in bounds]
    if u > 0.0:
        rows += [(_beyond(bound, -u), 2, _margin(bound, asked.name)) for bound in bounds]
    nearest = ", ".join(_margin(bound, asked.name) for bound in bounds)
    rows.append(("", 0, f"min([{nearest}])"))
    return {
        "hitPolicy": "first",
        "inputs": [{"id": "i", "name": "value", "field": asked.name}],
        "outputs": [
            {"id": "o", "name": "verdict", "field": asked.name},
            {"id": "m", "name": "margin", "field": f"{asked.name}_margin"},
        ],
        "rules": [
            {"_id": f"{asked.name}-{place}", "i": when, "o": str(code), "m": margin}
            for place, (when, code, margin) in enumerate(rows)
        ],
    }


def _beyond(bound: Bound, u: float) -> str:
    """Return the cell for a value that lies beyond a bound by the guard band, or within it."""
    band = guard_band(abs(u)) * (1.0 if u >= 0.0 else -1.0)
    closed = "=" if u < 0.0 or (u == 0.0 and bound.strict) else ""
    if bound.side == "low":
        return f"<{closed} {bound.limit - band!r}"
    return f">{closed} {bound.limit + band!r}"


def _margin(bound: Bound, name: str) -> str:
    if bound.side == "low":
        return f"{name} - ({bound.limit!r})"
    return f"({bound.limit!r}) - {name}"
