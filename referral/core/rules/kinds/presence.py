"""Rules that something is there: a usable scale, a recheck with an owner and a date."""

from referral.core.measure.readings import Reading
from referral.core.rules.finding import Finding
from referral.core.rules.inputs import Inputs, Setting
from referral.core.rules.kinds.outcome import outcome
from referral.core.rules.quantities import scale_doubt
from referral.core.rules.reasons import Reason
from referral.core.rules.rule import Limit, Rule


def judge_film_scale(rule: Rule, limits: tuple[Limit, ...], setting: Setting) -> list[Finding]:
    """Return whether the lengths can be judged against limits in millimetres.

    Without a film the lengths stated by hand answer: the worst of their scales.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> limit = Limit(date(2026, 1, 1), "note", "published", "-")
    >>> rule = Rule("X03", "Scale", "Use a rod.", "presence", "now", (limit,), of="film_scale")
    >>> day = date(2026, 2, 1)
    >>> bare = Setting(Inputs(Profile("LF", "adult_horse", day), {}), day)
    >>> judge_film_scale(rule, (limit,), bare)[0].reason
    'no_lengths'
    """
    states = _length_states(setting.inputs)
    if not states:
        return [outcome(rule, limits[0], "NOT_APPLICABLE", Reason.NO_LENGTHS)]
    film = setting.inputs.film
    if film is not None and film.scale.conflict:
        return [outcome(rule, limits[0], "OUTSIDE", Reason.SCALE_CONFLICT)]
    doubts = [scale_doubt(state, basis, conflict=False) for state, basis in states]
    doubt = next((doubt for doubt in doubts if doubt is not None), None)
    if doubt is None:
        return [outcome(rule, limits[0], "WITHIN", Reason.PRESENT)]
    return [outcome(rule, limits[0], "CANNOT_TELL", doubt)]


def judge_recheck(rule: Rule, limits: tuple[Limit, ...], setting: Setting) -> list[Finding] | None:
    """Return whether the recheck has both an owner and a date.

    Nothing said about a recheck is CANNOT_TELL, half of it said is OUTSIDE.

    Examples
    --------
    >>> from datetime import date
    >>> from referral.core.measure.readings import Profile
    >>> from referral.core.rules.facts import Facts
    >>> limit = Limit(date(2026, 1, 1), "caution", "common practice", "-")
    >>> rule = Rule("X02", "Recheck", "Name an owner.", "presence", "now", (limit,), of="recheck")
    >>> day = date(2026, 2, 1)
    >>> foot = Inputs(Profile("LF", "adult_horse", day), {}, facts=Facts(recheck_owner="vet"))
    >>> judge_recheck(rule, (limit,), Setting(foot, day))[0].verdict
    'OUTSIDE'
    """
    facts = setting.inputs.facts
    if facts is None and not setting.complete:
        return None
    owner = facts.recheck_owner if facts else None
    on = facts.recheck_on if facts else None
    if owner is None and on is None:
        return [outcome(rule, limits[0], "CANNOT_TELL", Reason.MISSING_FACT)]
    missing = [name for name, said in (("no owner", owner), ("no date", on)) if not said]
    if missing:
        return [outcome(rule, limits[0], "OUTSIDE", Reason.INCOMPLETE, ", ".join(missing))]
    return [outcome(rule, limits[0], "WITHIN", Reason.PRESENT, f"{owner}, {on}")]


def _length_states(inputs: Inputs) -> list[tuple[str, str]]:
    if inputs.film is not None:
        return [(inputs.film.scale_state, "film")]
    now = inputs.stages.get("now")
    readings = now.readings.values() if now else ()
    lengths = sorted((reading for reading in readings if reading.unit == "mm"), key=_code)
    return [(reading.scale_state, reading.basis) for reading in lengths]


def _code(reading: Reading) -> str:
    return reading.code
