"""The window of plans that would meet every limit, for the plan that stands in the form."""

from flask import Blueprint, make_response, render_template
from flask.typing import ResponseReturnValue

from referral.cases.visit import reading_case
from referral.core.workflow import Move
from referral.errors import Invalid, NotAllowed
from referral.plans.asking import command_of
from referral.plans.queries import Wanted, subject_of
from referral.plans.windows import limb_windows
from referral.web.login import sign_in_required

blueprint = Blueprint("windows", __name__)

UNUSABLE = 422


@blueprint.post("/cases/<int:number>/plan-windows")
@sign_in_required
def show(number: int) -> ResponseReturnValue:
    """Show which trims and wedges would meet every limit, with nothing stored."""
    with reading_case(number) as visit:
        if not visit.access.may_ever(Move.SUBMIT_PLAN, Move.AMEND_PLAN):
            raise NotAllowed("Plans are written by the farrier, and changed by the vet.")
        try:
            command = command_of(visit)
            wanted = Wanted(command.limbs, None, command.recheck_owner, command.recheck_on)
            subject = subject_of(visit.session, visit.access, wanted)
            windows = limb_windows(subject, visit.wired.rulebook, visit.now.date())
        except Invalid as error:
            html = render_template("plans/_preview_fault.html", error=error)
            return make_response(html, UNUSABLE)
    return render_template("plans/_windows.html", windows=windows)
