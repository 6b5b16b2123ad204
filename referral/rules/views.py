"""Rules: read them with their sources, and set them for a practice."""

from collections.abc import Callable
from functools import partial
from typing import Any

from flask import Blueprint, flash, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import do_once
from referral.errors import Invalid, OutOfDate
from referral.rules.asking import Asked, asked_change, asked_own, found_rule
from referral.rules.pages import book_page, rule_page
from referral.rules.scope import SOURCES
from referral.rules.service import keep_change
from referral.rules.showing import ShowForm, change_form, own_form
from referral.web.forms import FormState, state_of_form
from referral.web.login import current_actor, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("rules", __name__)

UNUSABLE = 422
MOVED_ON = 409
SET = (
    "It is set. A plan that the owner has not consented to is judged again by it; where one that "
    "waits to be fitted would be answered otherwise, its vet and farrier are told."
)
LONGEST_QUERY = 80


@blueprint.get("/rules")
@sign_in_required
def book() -> ResponseReturnValue:
    """List the rules by topic, as far as a text and what they need ask for them."""
    text = request.args.get("text", "")[:LONGEST_QUERY]
    source = request.args.get("needs", "")
    source = source if source in SOURCES else ""
    wired = wiring()
    with wired.database.reading() as session:
        today = wired.now().date()
        page = book_page(session, current_actor(), wired, today, (text, source))
    options = [(each, f"Those that need {each}") for each in SOURCES]
    form = FormState({"text": [text], "needs": [source]})
    return render_template("rules/book.html", page=page, form=form, sources=options)


@blueprint.get("/rules/<rule_id>")
@sign_in_required
def show(rule_id: str) -> ResponseReturnValue:
    """Show one rule: what it says, its limits and sources, whom it is for, what it needs."""
    wired = wiring()
    with wired.database.reading() as session:
        found = found_rule(session, current_actor(), wired, rule_id)
        page = rule_page(session, current_actor(), wired, found, wired.now().date())
    return render_template("rules/show.html", page=page)


@blueprint.get("/rules/<rule_id>/changes/new")
@sign_in_required
def new_change(rule_id: str) -> ResponseReturnValue:
    """Show the form with which a practice sets a rule otherwise."""
    return change_form(rule_id, FormState())


@blueprint.post("/rules/<rule_id>/changes")
@sign_in_required
def change(rule_id: str) -> ResponseReturnValue:
    """Keep a change of a rule; what was judged before stays as it was judged."""
    return _keep(
        lambda session: asked_change(session, current_actor(), wiring(), rule_id, wiring().now()),
        partial(change_form, rule_id),
    )


@blueprint.get("/own-rules/new")
@sign_in_required
def new_own() -> ResponseReturnValue:
    """Show the form of an own rule, with one to begin from, or the rule that is written anew."""
    return own_form(FormState())


@blueprint.post("/own-rules")
@sign_in_required
def own() -> ResponseReturnValue:
    """Keep an own rule of a practice's."""
    return _keep(
        lambda session: asked_own(session, current_actor(), wiring(), wiring().now()), own_form
    )


def _keep(ask: Callable[[Any], Asked], show: ShowForm) -> ResponseReturnValue:
    wired, actor = wiring(), current_actor()

    def act() -> str:
        asked = ask(session)
        practice, proposal = asked.practice, asked.proposal
        keep_change(session, practice.organisation_id, actor.person_id, proposal, wired.now())
        return url_for("rules.show", rule_id=proposal.override.rule)

    try:
        with wired.database.transaction() as session:
            answer = do_once(session, actor.person_id, wired.now(), act)
    except Invalid as error:
        return show(state_of_form(request.form, error), UNUSABLE)
    except OutOfDate as error:
        return show(state_of_form(request.form, Invalid(error.message)), MOVED_ON)
    flash(SET)
    return answer
