"""A worksheet to readings, a prediction and a judgement; nothing is stored."""

from dataclasses import dataclass, replace

from referral.core.errors import CoreError
from referral.core.measure.film import measure
from referral.core.measure.readings import Measured
from referral.core.measure.stated import merge
from referral.core.predict.plan import Plan
from referral.core.predict.prediction import Prediction, predict
from referral.core.rules.finding import Judgement
from referral.core.rules.inputs import Inputs
from referral.core.rules.interval import judges_due_date, longest_interval_weeks
from referral.core.rules.judging import judge
from referral.core.rules.window import Window, WindowFoot, solve_window
from referral.exchange.faults import unusable
from referral.exchange.worksheet import Worksheet
from referral.rulebook.loader import Rulebook

NOTHING_LATE = (
    "No limit is set on the foot at the due date: the longest interval is that of the rule on "
    "weeks between resets alone."
)
FOOT_WANTED = "a film with landmarks, or readings, is wanted"


@dataclass(frozen=True, slots=True)
class Foretold:
    """A prediction, and how long the plan holds."""

    prediction: Prediction
    longest_interval_weeks: int | None
    assumptions: tuple[str, ...]


def measured(sheet: Worksheet) -> Measured:
    """Return the readings of the worksheet's film with those that were stated.

    Raises
    ------
    Invalid
        If there is nothing to measure, or the landmarks cannot be used.
    """
    _need_foot(sheet)
    return _now(sheet)


def foretold(sheet: Worksheet, rulebook: Rulebook) -> Foretold:
    """Return what the worksheet's plan is expected to do.

    Raises
    ------
    Invalid
        If there is no plan or no foot, or no foot could follow the plan.
    """
    _need_foot(sheet)
    plan = sheet.plan
    if plan is None:
        raise unusable({"plan": ['it is missing; an object such as {"heel_trim_mm": 5} is wanted']})
    prediction = _predicted(sheet, plan, "plan")
    is_asked = judges_due_date(rulebook, sheet.limits)

    def foresee(weeks: int) -> Inputs:
        planned = replace(plan, interval_weeks=float(weeks))
        late = _predicted(sheet, planned, "plan").at_due if is_asked else Measured()
        return Inputs(sheet.profile, {"at_due": late}, planned, film=sheet.film)

    weeks = longest_interval_weeks(foresee, rulebook, sheet.limits, sheet.profile.on)
    more = () if is_asked else (NOTHING_LATE,)
    return Foretold(prediction, weeks, (*prediction.assumptions, *more))


def judged(sheet: Worksheet, rulebook: Rulebook) -> Judgement:
    """Return every rule's and limit's answer on the worksheet.

    Raises
    ------
    Invalid
        If the landmarks cannot be used, or no foot could follow the plan.
    """
    stages = {"now": _now(sheet)}
    if sheet.plan is not None:
        prediction = _predicted(sheet, sheet.plan, "plan")
        stages["after_fit"] = prediction.after_fit
        stages["at_due"] = prediction.at_due
        stages["change"] = prediction.change
    if sheet.as_fitted is not None:
        stages["as_fitted"] = _predicted(sheet, sheet.as_fitted, "as_fitted").after_fit
    inputs = Inputs(
        profile=sheet.profile,
        stages=stages,
        plan=sheet.plan,
        as_fitted=sheet.as_fitted,
        facts=sheet.facts,
        film=sheet.film,
    )
    return judge(inputs, rulebook, sheet.limits, sheet.profile.on)


def windowed(sheet: Worksheet, rulebook: Rulebook) -> Window:
    """Return which trims and wedges would meet every limit; without a plan, of doing nothing else.

    Raises
    ------
    Invalid
        If there is no foot, the landmarks cannot be used, no foot could follow the plan, or the
        window asks for too much.
    """
    _need_foot(sheet)
    plan = sheet.plan or Plan()
    foot = WindowFoot(sheet.film, sheet.stated, plan, sheet.profile, sheet.facts)
    try:
        return solve_window(foot, rulebook, sheet.limits, sheet.profile.on, sheet.window)
    except CoreError as error:
        raise _located(error, "plan") from error


def _need_foot(sheet: Worksheet) -> None:
    if sheet.film is None and not sheet.stated.readings:
        raise unusable({"film": [f"it is missing; {FOOT_WANTED}"]})


def _now(sheet: Worksheet) -> Measured:
    try:
        film = Measured() if sheet.film is None else measure(sheet.film)
    except CoreError as error:
        raise _located(error, "film") from error
    return merge(film, sheet.stated)


def _predicted(sheet: Worksheet, plan: Plan, root: str) -> Prediction:
    try:
        return predict(sheet.film, sheet.stated, plan, sheet.profile)
    except CoreError as error:
        raise _located(error, root) from error


def _located(error: CoreError, root: str) -> Exception:
    """Return the refusal with its path; the core calls any plan's path ``plan``."""
    start, _, rest = (error.at or root).partition(".")
    at = f"{root}.{rest}" if start == "plan" and rest else error.at or root
    return unusable({at: [error.message]})
