"""The forms of rules as they stand, for the pages that open, try and keep them."""

from collections.abc import Callable
from uuid import UUID

from flask import make_response, render_template, request
from flask.typing import ResponseReturnValue

from referral.rules.asking import found_rule
from referral.rules.pages import change_page
from referral.rules.policy import setters_of
from referral.rules.schemas import EVIDENCES, SETTABLE, STANCES
from referral.rules.shelf import TOPICS
from referral.rules.template import OWN_RULE
from referral.web.forms import FormState
from referral.web.login import current_actor
from referral.web.wiring import wiring

ShowForm = Callable[[FormState, int], ResponseReturnValue]
"""Shows a form as it stands, under a status."""


def change_form(rule_id: str, state: FormState, status: int = 200) -> ResponseReturnValue:
    """Show the form of a change as it stands."""
    wired = wiring()
    with wired.database.reading() as session:
        found = found_rule(session, current_actor(), wired, rule_id)
        practices = setters_of(current_actor(), found.topic)
        chosen = _uuid(request.values.get("practice", ""))
        named = chosen if chosen in [each.organisation_id for each in practices] else None
        page = change_page(session, found, practices, wired.now().date(), named)
    html = render_template(
        "rules/change.html",
        page=page,
        form=state,
        stances=STANCES,
        severities=SETTABLE,
        evidences=EVIDENCES,
    )
    return make_response(html, status)


def _uuid(said: str) -> UUID | None:
    try:
        return UUID(said)
    except ValueError:
        return None


def own_form(state: FormState, status: int = 200) -> ResponseReturnValue:
    """Show the form of an own rule as it stands."""
    wired, actor = wiring(), current_actor()
    practices = setters_of(actor, "record")
    text, topic = OWN_RULE, "sole"
    before = request.args.get("rule", "")
    if before:
        with wired.database.reading() as session:
            found = found_rule(session, actor, wired, before)
            if found.own is not None:
                text, topic = found.own.text or "", found.own.topic or ""
    html = render_template(
        "rules/own.html",
        form=state,
        practices=practices,
        topics=TOPICS,
        text=text,
        topic=topic,
        today=wired.now().date(),
    )
    return make_response(html, status)
