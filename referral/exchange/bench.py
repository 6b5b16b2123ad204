"""`referral bench`: how long the calculator takes here, medians and ratios of one run."""

from collections.abc import Callable, Mapping
from functools import partial

import click
import numpy as np

from referral.clock import today_in
from referral.core.geometry.scale import marker_scale
from referral.core.measure.film import Film, measure
from referral.core.measure.readings import Measured, Profile
from referral.core.predict.plan import PAGE_EXECUTION_U, Plan, Shoe
from referral.core.predict.prediction import predict
from referral.core.rules.facts import Facts
from referral.core.rules.finding import CaseLimit
from referral.core.rules.judging import Inputs, judge
from referral.core.rules.window import WindowFoot, solve_window
from referral.exchange.bench_pages import page_figures
from referral.exchange.bench_rules import many_figures
from referral.exchange.bench_sheets import sheet_figures
from referral.exchange.bench_upload import upload_figures
from referral.exchange.timing import median_ms
from referral.films.phantom import Exposure, Foot, draw_phantom
from referral.rulebook.loader import load_rulebook

FILM_PX = (3000, 2400)
NAMES = ("films", "rules", "window", "sheets", "pages")


@click.command()
@click.argument("parts", nargs=-1, type=click.Choice(NAMES))
def bench(parts: tuple[str, ...]) -> None:
    """Time the parts named, or all of them."""
    for part in parts or tuple(PARTS):
        click.echo(part)
        for says, value in PARTS[part]().items():
            click.echo(f"  {says:<58} {value}")


def _film() -> Film:
    phantom = draw_phantom(Foot(), Exposure())
    ends = np.asarray(phantom.marker_ends_px, float)
    return Film(
        view="lateromedial",
        landmarks_px={name: np.asarray(at, float) for name, at in phantom.landmarks_px.items()},
        landmarks_mm=None,
        scale=marker_scale(ends, phantom.marker_length_mm),
        size_px=(1400, 1100),
        condyles_superimposed=True,
    )


def _films() -> Mapping[str, str]:
    film = _film()
    spacing = 0.16 * 1400 / FILM_PX[0]
    large = Exposure(row_mm=spacing, column_mm=spacing, size_px=FILM_PX)
    data = draw_phantom(Foot(), large).dicom
    measure_ms = median_ms(lambda: measure(film))
    return {
        "measure one lateromedial film with uncertainty": f"{measure_ms:.2f} ms",
        **upload_figures(data),
    }


def _rules() -> Mapping[str, str]:
    film, rulebook, today = _film(), load_rulebook(), today_in("UTC")
    profile = Profile("LF", "adult_horse", today)
    shoe = Shoe("straight_bar", thickness_mm=8.0, breakover_setback_mm=20.0)
    plan = Plan(
        heel_trim_mm=3.0, shoe=shoe, interval_weeks=5.0, fit_on=today, execution_u=PAGE_EXECUTION_U
    )
    done = predict(film, Measured(), plan, profile)
    stages = {
        "now": done.now,
        "after_fit": done.after_fit,
        "at_due": done.at_due,
        "change": done.change,
    }
    inputs = Inputs(profile, stages, plan, None, Facts(red_flags=()), film)
    predict_ms = median_ms(lambda: predict(film, Measured(), plan, profile))
    judge_ms = median_ms(lambda: judge(inputs, rulebook, [], today, complete=True))
    return {
        "predict one plan, all readings with uncertainty": f"{predict_ms:.2f} ms",
        "judge one plan, full findings": f"{judge_ms:.2f} ms",
        "judge over predict": f"{judge_ms / predict_ms:.2f}",
        **many_figures(inputs, rulebook, today),
    }


def _window() -> Mapping[str, str]:
    film, rulebook, today = _film(), load_rulebook(), today_in("UTC")
    shoe = Shoe("straight_bar", thickness_mm=8.0, breakover_setback_mm=20.0, heel_extension_mm=8.0)
    plan = Plan(
        heel_trim_mm=3.0, shoe=shoe, interval_weeks=5.0, fit_on=today, execution_u=PAGE_EXECUTION_U
    )
    foot = WindowFoot(film, Measured(), plan, Profile("LF", "adult_horse", today))
    limits = [
        CaseLimit("palmar_angle_deg", "after_fit", "must", at_least=2.0, at_most=9.0),
        CaseLimit("palmar_angle_deg", "at_due", "must", at_least=0.5),
        CaseLimit("breakover_distance_mm", "at_due", "must", at_most=40.0),
    ]
    act = partial(solve_window, foot, rulebook, limits, today)
    window = act()
    plans = sum(region.count for region in window.regions)
    return {
        "window of 41 x 41 plans and 6 wedges, at fit and due": f"{median_ms(act):.0f} ms",
        "limits tested": f"{len(window.tested)}",
        "plans that meet them all": f"{plans}",
    }


PARTS: Mapping[str, Callable[[], Mapping[str, str]]] = {
    "films": _films,
    "rules": _rules,
    "window": _window,
    "sheets": sheet_figures,
    "pages": page_figures,
}
