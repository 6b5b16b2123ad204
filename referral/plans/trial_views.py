"""What a change of a practice's rules would do to the plans there are, before it is kept."""

from collections.abc import Callable
from functools import partial
from typing import Any

from flask import Blueprint, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import new_key
from referral.errors import Invalid
from referral.plans.trials import trial_of
from referral.rules.asking import Asked, asked_change, asked_own
from referral.rules.showing import ShowForm, change_form, own_form
from referral.web.forms import ALONGSIDE, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("trials", __name__)

UNUSABLE = 422


@blueprint.post("/rules/<rule_id>/trials")
@sign_in_required
def change(rule_id: str) -> ResponseReturnValue:
    """Show what a change of a rule would do; nothing is kept."""
    return _tried(
        lambda session: asked_change(session, current_actor(), wiring(), rule_id, wiring().now()),
        partial(change_form, rule_id),
        url_for("rules.change", rule_id=rule_id),
    )


@blueprint.post("/own-rules/trials")
@sign_in_required
def own() -> ResponseReturnValue:
    """Show what an own rule would do; nothing is kept."""
    return _tried(
        lambda session: asked_own(session, current_actor(), wiring(), wiring().now()),
        own_form,
        url_for("rules.own"),
    )


def _tried(ask: Callable[[Any], Asked], show: ShowForm, keep: str) -> ResponseReturnValue:
    wired, actor = wiring(), current_actor()
    try:
        with wired.database.reading() as session:
            asked = ask(session)
            trial = trial_of(session, actor.person_id, asked, wired.rulebook)
    except Invalid as error:
        return show(state_of_form(request.form, error), UNUSABLE)
    typed = [(name, value) for name, value in request.form.items() if name not in ALONGSIDE]
    return render_template(
        "rules/trial.html", asked=asked, trial=trial, typed=typed, keep=keep, key=new_key()
    )
