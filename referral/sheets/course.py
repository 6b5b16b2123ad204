"""The course over the visits as a sheet prints it: charts, columns, limits in words."""

import base64
from typing import Any

from referral.core.measure.registry import MEASURES
from referral.plans.rows import UNITS
from referral.sheets.snapshot import SeriesShown, Snapshot
from referral.sheets.wording import with_u
from referral.web.charts import VisitPoint, line_chart
from referral.web.fonts import SVG_PICTURE
from referral.web.written import day, quantity

MOST_CHARTS = 6


def course_values(snapshot: Snapshot) -> dict[str, Any]:
    """Return what the course is printed with: charts, and the columns of its tables."""
    found = {code for visit in snapshot.visits for code, _value in visit.readings}
    codes = [code for code in MEASURES if code in found]
    return {
        "charts": [_chart(snapshot, at) for at in range(len(snapshot.series[:MOST_CHARTS]))],
        "visit_codes": codes,
        "names": {code: MEASURES[code].name for code in codes},
        "signs": {code: UNITS.get(MEASURES[code].unit, "") for code in codes},
    }


def _chart(snapshot: Snapshot, at: int) -> tuple[str, str, str]:
    """Return a chart's caption, the picture, and what it says to somebody who cannot see it."""
    series = snapshot.series[at]
    svg = line_chart(
        str(at),
        series.name,
        series.unit,
        [VisitPoint(on, value.value, value.u) for on, value in series.points],
        at_least=series.at_least,
        at_most=series.at_most,
        resets={each.n: each.fitted_on for each in snapshot.visits if each.limb == series.limb},
    )
    values = "; ".join(f"{day(on)}: {with_u(value, series.unit)}" for on, value in series.points)
    says = f"{series.name} of {series.limb} over the visits: {values}"
    return f"{series.limb}, {series.name}, {series.source}", svg_data(str(svg).encode()), says


def bounds_say(series: SeriesShown) -> str:
    """Return the limits of a series in words."""
    said = (("at least", series.at_least), ("at most", series.at_most))
    return " and ".join(
        f"{words} {quantity(bound, series.unit)}" for words, bound in said if bound is not None
    )


def svg_data(svg: bytes) -> str:
    """Return a drawing as an address that holds it."""
    return SVG_PICTURE + base64.b64encode(svg).decode()
