"""The shoe of a plan: its outline on a page and at true size on paper, its fit, the nearest one."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, make_response, render_template, request
from flask.typing import ResponseReturnValue

from referral.cases.visit import Visit, reading_case
from referral.errors import Invalid, NotFound
from referral.films.queries import limb_basis
from referral.plans.queries import PlanView, plan_of
from referral.plans.shoe_photo import foot_marks, laid_shoe
from referral.plans.shoes import disagreement, like_the_plan, planned_foot, planned_shape
from referral.shoes.drawing import small_svg
from referral.shoes.outline import ShoeShape
from referral.shoes.pages import (
    ShoeLine,
    facts_said,
    fit_said,
    ranked_lines,
    shape_lines,
    shoe_name,
)
from referral.shoes.policy import keeps_stock
from referral.shoes.printing import NAMES, outline_pdf
from referral.shoes.queries import stock_for
from referral.web.login import current_actor, sign_in_required
from referral.web.written import day
from referral.web.written import limb as limb_name

blueprint = Blueprint("plan_shoes", __name__)

NEAREST_SHOWN = 5
LIMB = "any(LF, RF, LH, RH)"


@blueprint.get(f"/cases/<int:number>/plans/<int:n>/shoe-<{LIMB}:limb>")
@sign_in_required
def show(number: int, n: int, limb: str) -> ResponseReturnValue:
    """Show the outline of a plan's shoe, what it carries and how it lies on the foot."""
    with reading_case(number) as visit:
        view = _plan(visit, n, limb)
        try:
            page = _page(visit, view, limb)
        except Invalid as error:
            said = [each for faults in error.faults.values() for each in faults]
            page = {"why_not": " ".join([error.message, *said])}
    return render_template("plans/shoe.html", number=number, n=n, limb=limb, papers=NAMES, **page)


@blueprint.get(f"/cases/<int:number>/plans/<int:n>/outline-<{LIMB}:limb>.pdf")
@sign_in_required
def outline(number: int, n: int, limb: str) -> ResponseReturnValue:
    """Give the outline of a plan's shoe at true size."""
    with reading_case(number) as visit:
        content = _plan(visit, n, limb).limbs[limb]
        foot, taken_on = foot_marks(visit.session, visit.access.case_id, limb, content)
    shape = planned_shape(content)
    lines = shape_lines(shape)
    if taken_on:
        lines.append(f"crosses: the foot as placed on its sole photo of {day(taken_on)}")
    title = f"Case {number}, plan {n}, {limb_name(limb)}: {_name(content)}"
    paper = request.args.get("paper", "a4")
    data = outline_pdf(shape, title, lines, paper, limb=limb, foot=foot)
    answer: Response = make_response(data)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'inline; filename="outline-{limb}.pdf"'
    return answer


def _plan(visit: Visit, n: int, limb: str) -> PlanView:
    view = plan_of(visit.session, visit.access.case_id, n)
    if limb not in view.limbs:
        raise NotFound("This plan says nothing of that limb.")
    return view


def _name(content: Mapping[str, Any]) -> str:
    shoe = content["shoe"]
    return shoe_name(shoe["category"], shoe.get("size_label"))


def _page(visit: Visit, view: PlanView, limb: str) -> Mapping[str, Any]:
    content = view.limbs[limb]
    shape = planned_shape(content)
    basis = limb_basis(visit.session, visit.access.case_id, limb)
    foot = planned_foot(content, view.judgement.predictions[limb], basis.guides)
    return {
        "name": _name(content),
        "measures": shape_lines(shape),
        "facts": facts_said(shape),
        "drawing": small_svg(shape, limb=limb),
        "foot": foot,
        "fit": fit_said(shape, foot) if foot else [],
        "disagreement": disagreement(shape, foot) if foot else "",
        "laid": laid_shoe(visit.session, visit.access.case_id, limb, shape, content),
        "keeps_stock": keeps_stock(current_actor()),
        "nearest": _nearest(visit, shape),
    }


def _nearest(visit: Visit, shape: ShoeShape) -> list[ShoeLine]:
    """Return the farrier's own stock of this category, nearest to the plan first."""
    if not keeps_stock(current_actor()):
        return []
    rows = stock_for(visit.session, current_actor())
    alike = [row for row in rows if row.category == shape.category]
    return ranked_lines(alike, like_the_plan(shape))[:NEAREST_SHOWN]
