"""Sentences and numbers of findings: enough decimals to see the side a value lies on."""

from referral.core.rules.guard import COVERAGE, TOLERANCE, Bound
from referral.core.rules.quantities import Quantity
from referral.core.rules.reasons import Reason

MOST_DECIMALS = 9
UNIT_SIGNS = {"deg": "°", "mm": " mm", "percent": " %", "ratio": "", "weeks": " weeks"}
COUNTED = frozenset({"nails", "visits"})
"""Units of what is counted: a whole number is written whole."""

BOUND_WORDS = {
    ("low", False): "at least",
    ("low", True): "more than",
    ("high", False): "at most",
    ("high", True): "less than",
}


def with_unit(number: str, unit: str | None) -> str:
    """Return a number's text with its unit sign.

    Examples
    --------
    >>> with_unit("3.0", "deg"), with_unit("12", "mm")
    ('3.0°', '12 mm')
    """
    return number + UNIT_SIGNS.get(unit or "", f" {unit}" if unit else "")


def shown_in(value: float, other: float, unit: str | None) -> str:
    """Return a value of a unit beside another; what is counted has no decimals where it is whole.

    Examples
    --------
    >>> shown_in(6.0, 8.0, "nails"), shown_in(6.0, 8.0, "mm")
    ('6', '6.0')
    """
    if unit in COUNTED and value == round(value):
        return f"{value:.0f}"
    return shown(value, other)


def shown(value: float, *others: float) -> str:
    """Return the value with as many decimals as keep it apart from every other number.

    Examples
    --------
    >>> shown(12.0, 15.0), shown(50.04, 50.0), shown(14.9996, 15.0), shown(15.0, 15.0)
    ('12.0', '50.04', '14.9996', '15.0')
    """
    apart = [other for other in others if abs(value - other) > TOLERANCE]
    for decimals in range(1, MOST_DECIMALS):
        text = f"{value:.{decimals}f}"
        if all((float(text) - other) * (value - other) > 0 for other in apart):
            return text
    return f"{value:.{MOST_DECIMALS}f}"


def bound_words(bound: Bound) -> str:
    """Return a bound in words.

    Examples
    --------
    >>> bound_words(Bound("low", 15.0, "caution", unit="mm"))
    'at least 15 mm'
    """
    words = BOUND_WORDS[bound.side, bound.strict]
    return f"{words} {with_unit(f'{bound.limit:.12g}', bound.unit)}"


def percent(probability: float) -> str:
    """Return a probability as a percentage in words a reader can use.

    Examples
    --------
    >>> percent(0.0765), percent(0.001), percent(0.999)
    ('8 %', 'under 1 %', 'over 99 %')
    """
    whole = 100.0 * probability
    if whole < 1.0:
        return "under 1 %"
    return "over 99 %" if whole > 99.0 else f"{whole:.0f} %"  # noqa: PLR2004 - per cent


def limit_sentence(title: str, verdict: str, quantity: Quantity, bound: Bound, p: float) -> str:
    """Return what a judged limit says, without the advice.

    Parameters
    ----------
    title : str
        What was looked at.
    verdict : str
        ``WITHIN``, ``OUTSIDE`` or ``TOO_CLOSE``.
    quantity : Quantity
        The judged value; its value and u are numbers.
    bound : Bound
        The bound that answers.
    p : float
        Probability that the true value is outside, 0 to 1.

    Examples
    --------
    >>> limit_sentence("Sole", "OUTSIDE", Quantity(12.0, 0.0, "mm"), Bound("low", 15, "note"), 1.0)
    'Sole: 12.0 mm, outside the limit (at least 15).'
    """
    value, u = quantity.value or 0.0, quantity.u or 0.0
    text = with_unit(shown_in(value, bound.limit, quantity.unit), quantity.unit)
    words = bound_words(bound)
    if verdict == "TOO_CLOSE":
        band = with_unit(shown(COVERAGE * u, 0.0), quantity.unit)
        return (
            f"{title}: {text} ± {band} is too close to the limit ({words}) to call; "
            f"the chance of being outside is {percent(p)}."
        )
    place = "inside" if verdict == "WITHIN" else "outside"
    return f"{title}: {text}, {place} the limit ({words})."


def cannot_tell_sentence(title: str, reason: Reason, detail: str = "") -> str:
    """Return what a finding says that cannot be made.

    Examples
    --------
    >>> cannot_tell_sentence("Sole", Reason.MISSING_READING, "needs sole_under_tip")
    'Sole: cannot be checked, the reading is missing (needs sole_under_tip).'
    """
    more = f" ({detail})" if detail else ""
    return f"{title}: cannot be checked, {reason.sentence}{more}."


def with_advice(sentence: str, advice: str | None, evidence: str | None) -> str:
    """Return the sentence followed by the advice, and a mark if the limit is from memory.

    Examples
    --------
    >>> with_advice("Sole: thin.", "Leave more.", "from memory")
    'Sole: thin. Leave more. The limit is from memory.'
    """
    memory = "The limit is from memory." if evidence == "from memory" else None
    return " ".join(part for part in (sentence, advice, memory) if part)
