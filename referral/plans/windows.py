"""The window of plans that would meet every limit, limb by limb, as the plan's page shows it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from markupsafe import Markup

from referral.cases.words import limit_says
from referral.core.errors import CoreError
from referral.core.measure.readings import Profile
from referral.core.predict.growth import OwnRates
from referral.core.predict.move import mean_heel_trim_mm
from referral.core.predict.plan import Plan
from referral.core.rules.finding import CaseLimit
from referral.core.rules.grid import Ask
from referral.core.rules.region import Region
from referral.core.rules.rule import Rulebook
from referral.core.rules.window import Nearest, Window, WindowFoot, solve_window
from referral.errors import Invalid
from referral.plans.content import plan_from_content
from referral.plans.subject import Subject
from referral.plans.window_svg import Mark, region_svg
from referral.rulebook.overrides import effective_book
from referral.web.written import number

CASE = "case:"
ENDS = {"least": "less", "most": "more"}
AXES = {"heel_trim_mm": "off the heels", "toe_trim_mm": "off the toe"}
SAME_MM = 0.005
MOST_TURNS = 3
"""How often a proposed plan is followed by one that is farther inside."""


@dataclass(frozen=True, slots=True)
class WedgeShown:
    """What one wedge allows: its drawing, its ranges in words, what bounds it."""

    wedge: str
    svg: Markup
    heels: str
    toe: str
    bounds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NearestShown:
    """The compliant plan nearest to the one in the form: what to change, and the fields."""

    says: tuple[str, ...]
    fields: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class LimbWindow:
    """One limb's window: in words and drawings, and ``window`` and ``settled`` as solved."""

    limb: str
    window: Window
    settled: Nearest | None
    sentence: str
    wedges: tuple[WedgeShown, ...]
    nearest: NearestShown | None
    conflict: tuple[str, ...]
    other_conflicts: bool
    unchecked: tuple[str, ...]
    tested: tuple[str, ...]


def limb_windows(subject: Subject, rulebook: Rulebook, on: date) -> tuple[LimbWindow, ...]:
    """Return each limb's window.

    Raises
    ------
    Invalid
        If a plan is one that no foot could follow; says which field and why.
    """
    book = effective_book(rulebook, subject.overrides, on)
    return tuple(_limb_window(subject, limb, book, on) for limb in sorted(subject.plans))


def _limb_window(subject: Subject, limb: str, rulebook: Rulebook, on: date) -> LimbWindow:
    foot = window_foot(subject, limb, on)
    plan = foot.plan
    limits = limits_on(subject, limb)
    try:
        window = solve_window(foot, rulebook, limits, on)
        nearest = _settled(foot, rulebook, limits, on, window.nearest)
    except CoreError as error:
        raise Invalid(error.message, {f"{limb}.{error.at or 'plan'}": [error.message]}) from error
    names = LimitNames(rulebook, limits)
    return LimbWindow(
        limb=limb,
        window=window,
        settled=nearest,
        sentence=_sentence(window, names),
        wedges=tuple(
            _wedge(limb, region, plan, nearest, names)
            for region in window.regions
            if region.count or region.close_outline_mm
        ),
        nearest=_nearest(limb, plan, nearest),
        conflict=tuple(names.of(each) for each in window.conflict),
        other_conflicts=window.other_conflicts,
        unchecked=tuple(
            f"{names.of(each.rule)}: {each.reason.sentence}" for each in window.unchecked
        ),
        tested=tuple(names.of(each) for each in window.tested),
    )


def window_foot(subject: Subject, limb: str, on: date) -> WindowFoot:
    """Return one limb's foot and plan as a window asks about them."""
    basis = subject.bases[limb]
    return WindowFoot(
        basis.film.as_core() if basis.film else None,
        basis.stated,
        plan_from_content(subject.plans[limb]),
        Profile(limb, subject.animal, on, subject.conditions.get(limb, frozenset())),
        subject.facts,
        subject.own.get(limb, OwnRates()),
    )


def limits_on(subject: Subject, limb: str) -> list[CaseLimit]:
    """Return the vet's limits that hold on a limb."""
    return [each for each in subject.limits if each.limb in (None, limb)]


def words_of_limit(limit: CaseLimit) -> str:
    """Return a limit in words: Palmar angle at least 3° after fitting."""
    return limit_says(
        {
            "measure": limit.measure,
            "at_least": limit.at_least,
            "at_most": limit.at_most,
            "unit": limit.unit,
            "stage": limit.stage,
        }
    )


def _settled(
    foot: WindowFoot,
    rulebook: Rulebook,
    limits: Sequence[CaseLimit],
    on: date,
    nearest: Nearest | None,
) -> Nearest | None:
    """Return the nearest plan that is inside by its own uncertainty too, or None.

    A window takes its uncertainty at the farrier's plan; at the one it proposes it may be a
    little larger, and the guard band with it. Then the window round that one is asked.
    """
    for _ in range(MOST_TURNS):
        if nearest is None or nearest.distance <= 0:
            return nearest
        there = replace(foot, plan=nearest.plan)
        heel, toe = mean_heel_trim_mm(nearest.plan), nearest.plan.toe_trim_mm
        alone = Ask((heel, heel), (toe, toe), wedge_deg=(nearest.plan.wedge_deg,))
        if solve_window(there, rulebook, limits, on, alone).plan_inside:
            return nearest
        farther = solve_window(there, rulebook, limits, on).nearest
        nearest = farther and replace(farther, distance=nearest.distance + farther.distance)
    return None


class LimitNames:
    """What the rules and the limits of the case are called."""

    def __init__(self, rulebook: Rulebook, limits: Sequence[CaseLimit]) -> None:
        self.rules = {rule.id: rule.title for rule in rulebook.rules}
        self.limits = [words_of_limit(each) for each in limits]

    def of(self, rule: str) -> str:
        """Return what a rule's id, or ``case:`` and the place of a limit, is called."""
        if rule.startswith(CASE):
            return f"the vet's limit, {self.limits[int(rule.removeprefix(CASE))]}"
        return f"{rule} {self.rules.get(rule, '')}".strip()


def _sentence(window: Window, names: LimitNames) -> str:
    if window.feasible is None:
        musts = "; ".join(names.of(each.rule) for each in window.unchecked if each.is_must)
        return (
            f"What must be met cannot all be checked ({musts}); shown is what the rest allows."
            if musts
            else window.why or ""
        )
    if not window.feasible:
        return "No trim with any wedge from 0 to 5° meets every limit, the rest of the plan held."
    if window.plan_inside:
        return "This plan meets every limit; the fields show how far it could move."
    return "There are plans that meet every limit; this one does not."


def _wedge(
    limb: str, region: Region, plan: Plan, nearest: Nearest | None, names: LimitNames
) -> WedgeShown:
    height = f" ({number(region.wedge_mm)} mm)" if region.wedge_mm else ""
    name = f"Wedge {region.wedge_deg:g}°{height}"
    marks = []
    if abs(plan.wedge_deg - region.wedge_deg) < SAME_MM:
        marks.append(Mark("this plan", mean_heel_trim_mm(plan), plan.toe_trim_mm))
    if nearest is not None and abs(nearest.plan.wedge_deg - region.wedge_deg) < SAME_MM:
        there = nearest.plan
        if nearest.distance > 0:
            marks.append(Mark("nearest", mean_heel_trim_mm(there), there.toe_trim_mm, ring=True))
    return WedgeShown(
        wedge=name,
        svg=region_svg(f"{limb}-{region.wedge_deg:g}", name, region, marks),
        heels=_range(region.heel_trim_mm),
        toe=_range(region.toe_trim_mm),
        bounds=tuple(
            f"{ENDS[each.end].capitalize()} {AXES[each.axis]}: "
            + "; ".join(
                [
                    *(names.of(rule) for rule in each.limits),
                    *(["the hoof has no more horn"] if each.horn else []),
                    *(["the end of what was tried"] if each.range_end else []),
                ]
            )
            for each in region.binding
        ),
    )


def _range(found: tuple[float, float] | None) -> str:
    if found is None:
        return "none"
    return f"{number(found[0], 2)} to {number(found[1], 2)} mm"


def _nearest(limb: str, plan: Plan, nearest: Nearest | None) -> NearestShown | None:
    if nearest is None or nearest.distance <= 0:
        return None
    there = nearest.plan
    moves = (
        ("toe_trim_mm", "Off the toe", plan.toe_trim_mm, there.toe_trim_mm, "mm"),
        ("heel_trim_mm", "Off the heels", mean_heel_trim_mm(plan), mean_heel_trim_mm(there), "mm"),
        ("wedge_deg", "Wedge", plan.wedge_deg, there.wedge_deg, "°"),
    )
    changed = [each for each in moves if abs(each[3] - each[2]) > SAME_MM]
    fields = {f"{limb}-{name}": f"{to:g}" for name, _label, _from, to, _unit in changed}
    if any(name == "heel_trim_mm" for name, *_rest in changed):
        fields |= {f"{limb}-heel_trim_medial_mm": "", f"{limb}-heel_trim_lateral_mm": ""}
    if there.wedge_mm is not None and any(name == "wedge_deg" for name, *_rest in changed):
        fields[f"{limb}-wedge_mm"] = f"{there.wedge_mm:.1f}"
    fields[f"{limb}-trim_along"] = "square"
    says = tuple(f"{label} {to:g} {unit}, not {now:g}" for _n, label, now, to, unit in changed)
    return NearestShown(says, fields)
