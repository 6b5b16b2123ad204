"""Moves on a case: open it, set problem and limits, refer, ask and answer, observe, flag, close."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any
from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue
from marshmallow import Schema

from referral.cases.asking import take_up, turn_down
from referral.cases.forms import (
    FORMS,
    TEMPLATES,
    contradictions_now,
    contradictions_on,
    form_page,
    search_before,
)
from referral.cases.queries import measured_limbs
from referral.cases.remarks import (
    AddObservation,
    AnswerFlag,
    RaiseFlag,
    add_observation,
    answer_flag,
    close_case,
    raise_flag,
    reopen_case,
)
from referral.cases.schemas import (
    CloseForm,
    FlagAnswerForm,
    FlagForm,
    LimitForm,
    ObservationForm,
    ProblemForm,
    ReferralForm,
    WithdrawForm,
    WordsForm,
)
from referral.cases.service import (
    SendReferral,
    SetLimit,
    SetProblem,
    Words,
    acknowledge,
    answer_question,
    ask_question,
    send_referral,
    set_limit,
    set_problem,
)
from referral.cases.visit import (
    Visit,
    based_on,
    changing_case,
    do_once,
    happened_on,
    keep_or_show,
    new_key,
    reading_case,
)
from referral.core.measure.registry import MEASURES
from referral.errors import Invalid
from referral.web.forms import FormState, load_form
from referral.web.login import sign_in_required

blueprint = Blueprint("cases", __name__)

SEE_OTHER = 303
KINDS = ", ".join(f"'{kind}'" for kind in TEMPLATES)

Act = Callable[[Visit, Any], str]


@blueprint.get(f"/cases/<int:number>/<any({KINDS}):what>/new")
@sign_in_required
def new(number: int, what: str) -> ResponseReturnValue:
    """Show the form of a move."""
    return _show(number, what, None, FormState())


@blueprint.get("/cases/<int:number>/limits/<uuid:limit_id>/withdrawals/new")
@sign_in_required
def new_withdrawal(number: int, limit_id: UUID) -> ResponseReturnValue:
    """Show the form that takes a limit back."""
    return _show(number, "withdrawals", limit_id, FormState())


@blueprint.get("/cases/<int:number>/red-flags/<uuid:flag_id>/answers/new")
@sign_in_required
def new_flag_answer(number: int, flag_id: UUID) -> ResponseReturnValue:
    """Show the form with which the vet answers a red flag."""
    return _show(number, "flag-answers", flag_id, FormState())


def _show(
    number: int, what: str, about: UUID | None, state: FormState, status: int = 200
) -> ResponseReturnValue:
    with reading_case(number) as visit:
        page = form_page(visit, what, about)
    html = render_template(page.template, page=page, form=state, key=new_key())
    return make_response(html, status)


@dataclass(frozen=True, slots=True)
class Sent:
    """A form that came in: which one, of what, and what is said when it is done."""

    number: int
    what: str
    said: str
    about: UUID | None = None


def _do(sent: Sent, schema: Schema, act: Act) -> ResponseReturnValue:
    """Read the form, make the move once, say so; or show the form again with what is wrong."""

    def move(visit: Visit) -> str:
        visit.access.check_role(FORMS[sent.what][1])
        return act(visit, load_form(schema, request.form))

    return keep_or_show(
        sent.number, move, sent.said, partial(_show, sent.number, sent.what, sent.about)
    )


def _home(visit: Visit, anchor: str = "") -> str:
    return url_for("desk.case", number=visit.number, _anchor=anchor or None)


@blueprint.post("/cases/<int:number>/problems")
@sign_in_required
def problem(number: int) -> ResponseReturnValue:
    """Record the vet's diagnosis on a limb."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        given["happened_on"] = happened_on(visit.today)
        set_problem(visit.session, visit.access, SetProblem(**given), visit.now)
        return _home(visit, "problems")

    return _do(Sent(number, "problems", "The problem is recorded."), ProblemForm(), act)


@blueprint.post("/cases/<int:number>/limits")
@sign_in_required
def limit(number: int) -> ResponseReturnValue:
    """Set a limit, or replace one."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        measure = MEASURES.get(given["measure"])
        if measure is None:
            raise Invalid("Choose a reading.", {"measure": ["There is no such reading."]})
        command = SetLimit(**given, unit=measure.unit, happened_on=visit.today)
        set_limit(visit.session, visit.access, command, visit.now)
        return _home(visit, "limits")

    answer = make_response(_do(Sent(number, "limits", "The limit is set."), LimitForm(), act))
    if answer.status_code == SEE_OTHER and _says_contradictions(number):
        answer.location = url_for("desk.case", number=number)
    return answer


def _says_contradictions(number: int) -> bool:
    """Say at once, at the head of the next page, which limits no plan can meet together."""
    with reading_case(number) as visit:
        found = contradictions_on(visit, measured_limbs(visit.session, visit.access.case_id))
    for each in found:
        which = "these limits together" if len(each.limits) > 1 else "this limit"
        flash(f"{each.limb}: no plan can meet {which}: {'; '.join(each.limits)}.", "caution")
    return bool(found)


@blueprint.post("/cases/<int:number>/limits/<uuid:limit_id>/withdrawals")
@sign_in_required
def withdraw(number: int, limit_id: UUID) -> ResponseReturnValue:
    """Take a limit back; it stays in the timeline."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        command = _withdrawal(visit, limit_id, given["reason"])
        set_limit(visit.session, visit.access, command, visit.now)
        return _home(visit, "limits")

    return _do(
        Sent(number, "withdrawals", "The limit is withdrawn.", limit_id), WithdrawForm(), act
    )


def _withdrawal(visit: Visit, limit_id: UUID, reason: str) -> SetLimit:
    line = form_page(visit, "withdrawals", limit_id).limit
    return SetLimit(
        measure=line.measure,
        stage=line.stage,
        at_least=None,
        at_most=None,
        unit=line.unit,
        strength=line.strength,
        limb=line.limb,
        reason=reason,
        review_on=None,
        happened_on=visit.today,
        replaces_id=limit_id,
        withdrawn=True,
    )


@blueprint.post("/cases/<int:number>/referrals")
@sign_in_required
def referral(number: int) -> ResponseReturnValue:
    """Send the referral to the farrier."""
    before = search_before(number, request.form.getlist("limbs"))

    def act(visit: Visit, given: dict[str, Any]) -> str:
        given["limbs"] = tuple(given["limbs"])
        command = SendReferral(
            **given,
            contradictions=contradictions_now(visit, given["limbs"], before),
            happened_on=visit.today,
            based_on=based_on() or visit.access.revision,
        )
        send_referral(visit.session, visit.access, command, visit.now)
        return _home(visit)

    return _do(Sent(number, "referrals", "The referral is sent."), ReferralForm(), act)


def _words(visit: Visit, given: dict[str, Any]) -> Words:
    return Words(given["words"], visit.today, based_on())


@blueprint.post("/cases/<int:number>/acknowledgements")
@sign_in_required
def acknowledgement(number: int) -> ResponseReturnValue:
    """Acknowledge the referral; a button, so there is nothing typed to keep."""

    def act(visit: Visit) -> str:
        given = load_form(WordsForm(), request.form)
        acknowledge(visit.session, visit.access, _words(visit, given), visit.now)
        return _home(visit)

    with changing_case(number) as visit:
        answer = do_once(visit, lambda: act(visit))
    flash("The referral is acknowledged; the plan is yours to write.")
    return answer


@blueprint.post("/cases/<int:number>/questions")
@sign_in_required
def question(number: int) -> ResponseReturnValue:
    """Send the case back with a question."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        ask_question(visit.session, visit.access, _words(visit, given), visit.now)
        return _home(visit)

    return _do(Sent(number, "questions", "The question is with the vet."), WordsForm(), act)


@blueprint.post("/cases/<int:number>/answers")
@sign_in_required
def answer(number: int) -> ResponseReturnValue:
    """Answer the farrier's question."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        answer_question(visit.session, visit.access, _words(visit, given), visit.now)
        return _home(visit)

    return _do(Sent(number, "answers", "The answer is with the farrier."), WordsForm(), act)


@blueprint.post("/cases/<int:number>/observations")
@sign_in_required
def observation(number: int) -> ResponseReturnValue:
    """Record what somebody saw."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        given["happened_on"] = happened_on(visit.today)
        add_observation(visit.session, visit.access, AddObservation(**given), visit.now)
        return _home(visit, "timeline")

    return _do(Sent(number, "observations", "The observation is recorded."), ObservationForm(), act)


@blueprint.post("/cases/<int:number>/red-flags")
@sign_in_required
def flag(number: int) -> ResponseReturnValue:
    """Raise a red flag."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        command = RaiseFlag(**given, happened_on=visit.today)
        raise_flag(visit.session, visit.access, command, visit.now)
        return _home(visit, "red-flags")

    said = "The red flag is raised. Ring the vet now; planned work waits for the answer."
    return _do(Sent(number, "red-flags", said), FlagForm(), act)


@blueprint.post("/cases/<int:number>/red-flags/<uuid:flag_id>/answers")
@sign_in_required
def flag_answer(number: int, flag_id: UUID) -> ResponseReturnValue:
    """Answer a red flag."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        command = AnswerFlag(flag_id, **given, happened_on=visit.today)
        answer_flag(visit.session, visit.access, command, visit.now)
        return _home(visit, "red-flags")

    said = "The red flag is answered."
    return _do(Sent(number, "flag-answers", said, flag_id), FlagAnswerForm(), act)


@blueprint.post("/cases/<int:number>/take-ups")
@sign_in_required
def taking_up(number: int) -> ResponseReturnValue:
    """Take up the examination that is asked for."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        take_up(visit.session, visit.access, _words(visit, given), visit.now)
        return _home(visit)

    said = "The case is yours: record the problem, add a film, set limits, then send the referral."
    return _do(Sent(number, "take-ups", said), WordsForm(), act)


@blueprint.post("/cases/<int:number>/answers-with-reason")
@sign_in_required
def turning_down(number: int) -> ResponseReturnValue:
    """Answer the request for an examination with a reason, and close it."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        turn_down(visit.session, visit.access, _words(visit, given), visit.now)
        return _home(visit)

    said = "Your answer is with whoever asked."
    return _do(Sent(number, "answers-with-reason", said), WordsForm(), act)


@blueprint.post("/cases/<int:number>/closures")
@sign_in_required
def closure(number: int) -> ResponseReturnValue:
    """Close the case."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        outcome = given.pop("outcome")
        close_case(visit.session, visit.access, outcome, _words(visit, given), visit.now)
        return _home(visit)

    return _do(Sent(number, "closures", "The case is closed."), CloseForm(), act)


@blueprint.post("/cases/<int:number>/reopenings")
@sign_in_required
def reopening(number: int) -> ResponseReturnValue:
    """Open a closed case again."""

    def act(visit: Visit, given: dict[str, Any]) -> str:
        reopen_case(visit.session, visit.access, _words(visit, given), visit.now)
        return _home(visit)

    return _do(Sent(number, "reopenings", "The case is open again."), WordsForm(), act)
