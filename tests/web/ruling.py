"""Steps of a practice that sets rules, through the pages and on the case."""

import html

from sqlalchemy import select

from referral.plans.models import FindingRow, JudgementRow
from referral.rules.template import OWN_RULE
from tests.web.signing import at, browser_of
from tests.web.yard import TODAY, hidden_in, words_of

STALE = "Judged on other ground"
R22 = "/rules/R22"
LOOSER = {
    "stance": "limits",
    "limit_1_at_most": "6",
    "limit_1_severity": "caution",
    "limit_2_at_most": "9",
    "limit_2_severity": "caution",
    "limit_3_at_most": "12",
    "limit_3_severity": "breach",
    "inside": "5,5",
    "outside": "13",
    "since": TODAY,
    "reason": "Our horses stand on soft ground",
    "evidence": "common practice",
    "source": "Our own record of four years",
}
STRICTER = {
    **LOOSER,
    "limit_1_at_most": "4",
    "limit_2_at_most": "4.5",
    "limit_3_at_most": "10",
    "inside": "3.5",
}


def fields_in(page, action):
    """Return the hidden fields of the form that leads there, as a browser reads them."""
    return {name: html.unescape(value) for name, value in hidden_in(page, action).items()}


def tried(yard, form, where="/rules/R22", who="vet"):
    opened = yard.browser(who).get(f"{where}/changes/new")
    return yard.browser(who).post(
        f"{where}/trials", {**fields_in(opened, f"{where}/trials"), **form}
    )


def kept(yard, form, where="/rules/R22", who="vet"):
    trial = tried(yard, form, where, who)
    assert trial.status_code == 200, words_of(trial)
    answer = yard.browser(who).post(f"{where}/changes", fields_in(trial, f"{where}/changes"))
    assert answer.status_code == 303, words_of(answer)
    return answer.location


def own(yard, text=OWN_RULE, who="vet", **changed):
    opened = yard.browser(who).get("/own-rules/new")
    assert opened.status_code == 200, words_of(opened)
    fields = fields_in(opened, "/own-rules/trials")
    form = {
        "topic": "sole",
        "rule_text": text,
        "since": TODAY,
        "reason": "We saw it fail",
        **changed,
    }
    trial = yard.browser(who).post("/own-rules/trials", {**fields, **form})
    if trial.status_code != 200:
        return trial
    return yard.browser(who).post("/own-rules", fields_in(trial, "/own-rules"))


def findings(yard, rule):
    """Return what the latest judgement says by this rule."""
    with yard.database.reading() as session:
        latest = session.scalars(
            select(JudgementRow).order_by(JudgementRow.judged_at.desc()).limit(1)
        ).one()
        wanted = (FindingRow.judgement_id == latest.id, FindingRow.rule == rule)
        return session.scalars(select(FindingRow).where(*wanted)).all()


def judged_again(yard, clock):
    clock.move(minutes=1)
    yard.done("vet", "/plans/1", "/plans/1/judgements", {})


def set_rule(app, story, clock, form=STRICTER):
    """Set rule R22 for the practice, on the story's day, as its vet."""
    at(story, clock)
    vet = browser_of(app, story, "vet")
    form = {**form, "since": story.today.isoformat()}
    opened = vet.get("/rules/R22/changes/new")
    trial = vet.post("/rules/R22/trials", {**fields_in(opened, "/rules/R22/trials"), **form})
    kept_ = vet.post("/rules/R22/changes", fields_in(trial, "/rules/R22/changes"))
    assert kept_.status_code == 303
    story.move(minutes=1)
