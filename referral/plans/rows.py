"""A plan beside its readings and limits, and beside what was fitted: rows to be printed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

from referral.core.measure.registry import MEASURES
from referral.core.rules.deviations import differences
from referral.core.rules.finding import CaseLimit
from referral.plans.content import plan_from_content
from referral.web.written import number

ROW_STAGES = ("after_fit", "as_fitted")
"""Stages whose limits stand beside a reading after fitting."""

READINGS_SHOWN = 24
"""At most so many rows a limb; the rest is in the stored prediction."""

UNITS = {"deg": "°", "mm": "mm", "percent": "%", "ratio": "", "weeks": "weeks"}


@dataclass(frozen=True, slots=True)
class Value:
    """A value with its standard uncertainty (k = 1); printed as ± U with U = 2u."""

    value: float
    u: float


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading now, its limit, as predicted and as fitted; ``note`` says why a cell is empty.

    ``convention`` is the definition it was taken by; None where that was not kept.
    """

    code: str
    name: str
    unit: str
    now: Value | None
    limit: str | None
    limit_from: str | None
    predicted: Value | None
    as_fitted: Value | None
    verdict: str | None
    note: str | None = None
    convention: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One line of the plan in words; the last three only beside what was fitted."""

    label: str
    planned: str
    as_fitted: str | None = None
    difference: str | None = None
    reason: str | None = None


PLAN_FIELDS: Mapping[str, tuple[str, str]] = {
    "toe_trim_mm": ("Off the toe", "mm"),
    "heel_trim_mm": ("Off the heels", "mm"),
    "heel_trim_medial_mm": ("Off the inside heel", "mm"),
    "heel_trim_lateral_mm": ("Off the outside heel", "mm"),
    "toe_dress_mm": ("Dressed off the toe", "mm"),
    "sole_pare_mm": ("Pared off the sole", "mm"),
    "shoe.category": ("Shoe", ""),
    "shoe.material": ("Material", ""),
    "shoe.size_label": ("Size label", ""),
    "shoe.web_mm": ("Web", "mm"),
    "shoe.thickness_mm": ("Thickness", "mm"),
    "shoe.width_mm": ("Width", "mm"),
    "shoe.length_mm": ("Length", "mm"),
    "shoe.breakover_setback_mm": ("Breakover set back", "mm"),
    "shoe.heel_extension_mm": ("Shoe behind the heel", "mm"),
    "shoe.medial_extension_mm": ("Inside extension", "mm"),
    "shoe.lateral_extension_mm": ("Outside extension", "mm"),
    "shoe.frog_plate": ("Frog plate", ""),
    "shoe.frog_plate_height_mm": ("Frog plate above the shoe", "mm"),
    "shoe.sole_clearance_mm": ("Clear of the sole", "mm"),
    "bevel_setback_mm": ("Bevelled, set back", "mm"),
    "wedge_deg": ("Wedge", "°"),
    "wedge_mm": ("Wedge height", "mm"),
    "wedge_length_mm": ("Wedge length", "mm"),
    "pad_mm": ("Pad", "mm"),
    "packing": ("Packing", ""),
    "attachment": ("Attached by", ""),
    "nails.count": ("Nails", ""),
    "nails.holes": ("Nail holes", ""),
    "nails.spacing_mm": ("Least space between nails", "mm"),
    "nails.last_behind_widest_mm": ("Last nail behind the widest part", "mm"),
    "clips": ("Clips", ""),
    "surface": ("Surface", ""),
    "interval_weeks": ("Interval", "weeks"),
    "reason": ("Reason", ""),
}
"""Plan fields in the order they are printed, with label and unit."""


class JudgedMeasure(Protocol):
    """The part of a finding that a row of readings shows."""

    measure: str | None
    stage: str
    verdict: str
    value: float | None
    limit: float | None
    margin: float | None
    limit_from: str
    folded_under: str | None


def reading_rows(
    predicted: Mapping[str, Any],
    fitted: Mapping[str, Any] | None,
    findings: Sequence[JudgedMeasure],
    limits: Sequence[CaseLimit],
    *,
    stages: Sequence[str] = ROW_STAGES,
) -> tuple[ReadingRow, ...]:
    """Return now, limit, predicted and as fitted side by side, judged readings first."""
    now = predicted["now"]["readings"]
    conventions = predicted.get("conventions", {})
    after = predicted["after_fit"]["readings"]
    done = fitted["after_fit"]["readings"] if fitted else {}
    findings = [each for each in findings if each.stage in stages and not each.folded_under]
    limits = [each for each in limits if each.stage in stages]
    judged = {each.measure for each in findings if each.measure}
    known = [code for code in MEASURES if code in now or code in after]
    ordered = sorted(known, key=lambda code: code not in judged)
    return tuple(
        replace(
            _reading_row(code, (now, after, done), findings, limits),
            convention=conventions.get(code),
        )
        for code in ordered[:READINGS_SHOWN]
    )


def _reading_row(
    code: str,
    columns: tuple[Mapping[str, Any], Mapping[str, Any], Mapping[str, Any]],
    findings: Sequence[JudgedMeasure],
    limits: Sequence[CaseLimit],
) -> ReadingRow:
    now, after, done = columns
    measure = MEASURES[code]
    mine = [each for each in findings if each.measure == code]
    verdict = mine[0].verdict if mine else None
    said, origin = _limit(code, mine, limits)
    absent = None if code in after else "no prediction"
    return ReadingRow(
        code=code,
        name=measure.name,
        unit=measure.unit,
        now=_value(now.get(code)),
        limit=said,
        limit_from=origin,
        predicted=_value(after.get(code)),
        as_fitted=_value(done.get(code)),
        verdict=verdict,
        note=absent,
    )


def _value(reading: Mapping[str, Any] | None) -> Value | None:
    return Value(reading["value"], reading["u"]) if reading else None


def _limit(
    code: str, findings: Sequence[JudgedMeasure], limits: Sequence[CaseLimit]
) -> tuple[str | None, str | None]:
    unit = UNITS.get(MEASURES[code].unit, "")
    parts: list[str] = []
    for limit in limits:
        if limit.measure != code:
            continue
        parts.extend(
            f"{sign} {number(bound)} {unit} ({limit.strength})".replace(" °", "°")
            for sign, bound in (("≥", limit.at_least), ("≤", limit.at_most))
            if bound is not None
        )
    answering = [(bound, each) for each in findings if (bound := _bound(each, unit))]
    if not parts:
        return (answering[0][0], answering[0][1].limit_from) if answering else (None, None)
    if answering and answering[0][1].limit_from != "case":
        # the answer beside it is that of another limit, so that one is named too
        both = [*(f"{part} this case" for part in parts), answering[0][0]]
        return f"{', '.join(both)} {answering[0][1].limit_from}", None
    return ", ".join(parts), "case"


def _bound(finding: JudgedMeasure, unit: str) -> str:
    if finding.limit is None or finding.value is None or not finding.margin:
        return ""
    sign = "≥" if (finding.value - finding.limit) * finding.margin > 0 else "≤"
    return f"{sign} {number(finding.limit)} {unit}".replace(" °", "°")


def plan_lines(
    planned: Mapping[str, Any], fitted: Mapping[str, Any] | None, reasons: Mapping[str, str]
) -> tuple[PlanLine, ...]:
    """Return the plan in words, beside what was fitted, with each difference and its reason."""
    differing = {}
    if fitted is not None:
        found = differences(plan_from_content(planned), plan_from_content(fitted))
        differing = {each.field: each for each in found}
    lines = []
    for field, (label, unit) in PLAN_FIELDS.items():
        before, after = _field(planned, field), _field(fitted or {}, field)
        if before in (None, 0, "") and after in (None, 0, ""):
            continue
        differs = differing.get(field)
        lines.append(
            PlanLine(
                label=label,
                planned=_said(before, unit),
                as_fitted=_said(after, unit) if fitted is not None else None,
                difference=_difference(before, after, unit) if differs else None,
                reason=reasons.get(field),
            )
        )
    return tuple(lines)


def _field(content: Mapping[str, Any], field: str) -> Any:  # noqa: ANN401 - a JSON value
    value: Any = content
    for step in field.split("."):
        value = (value or {}).get(step)
    return value


def _said(value: Any, unit: str) -> str:  # noqa: ANN401 - a JSON value
    if value is None or value == "":
        return "—"
    if isinstance(value, list):
        return ", ".join(_one_said(each) for each in value) or "none"
    if isinstance(value, str):
        return value.replace("_", " ")
    return f"{value:g} {unit}".strip().replace(" °", "°")


def _one_said(each: Any) -> str:  # noqa: ANN401 - a nail hole, or a clip
    if not isinstance(each, Mapping):
        return str(each)
    crack = each.get("crack_distance_mm")
    place = str(each["position"]).replace("_", " ")
    return place if crack is None else f"{place} ({crack:g} mm from the crack)"


def _difference(before: Any, after: Any, unit: str) -> str:  # noqa: ANN401 - JSON values
    if isinstance(before, int | float) and isinstance(after, int | float):
        return f"{number(after - before)} {unit}".strip().replace(" °", "°")
    return "changed"
