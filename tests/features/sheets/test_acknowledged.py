"""A caution that both sides acknowledged goes onto the next sheets with their reasons."""

import json
from pathlib import Path
from uuid import UUID

from sqlalchemy import select

from referral.core.rules.quiet import may_go_quiet
from referral.plans.cautions import AcknowledgeCautions, acknowledge_cautions, as_finding
from referral.plans.queries import plan_of
from referral.sheets.models import SheetProposal
from tests.features.resets.story import Story, a_story

REASONS = {"vet": "It is as short as it gets", "farrier": "The shoe cannot go back"}


def acknowledge(story: Story, who: str, n: int) -> None:
    story.move(minutes=1)
    with story.database.transaction() as session:
        access = story.access(session, who)
        view = plan_of(session, access.case_id, n)
        chosen = frozenset(each.id for each in view.findings if may_go_quiet(as_finding(each)))
        assert chosen
        command = AcknowledgeCautions(n, chosen, REASONS[who], story.today, access.revision)
        acknowledge_cautions(session, access, command, story.now)


def findings_on(story: Story, proposal_id: UUID) -> list[dict]:
    with story.database.reading() as session:
        row = session.scalars(select(SheetProposal).where(SheetProposal.id == proposal_id)).one()
        content = json.loads(story.office.blobs.get(row.snapshot_sha256))
    return content["limbs"][0]["findings"]


def test_the_agreed_and_the_fitted_sheet_say_who_acknowledged_what_and_why(
    database, tmp_path: Path
):
    story = a_story(database, tmp_path)
    story.refer()
    story.submit()
    for who in REASONS:
        acknowledge(story, who, 1)
    proposal = story.propose_agreement(story.agreement(1))
    vet, farrier = story.cast.vet.name, story.cast.farrier.name
    said = [
        {"by": farrier, "role": "farrier", "reason": REASONS["farrier"]},
        {"by": vet, "role": "vet", "reason": REASONS["vet"]},
    ]
    told = {each["rule"] for each in findings_on(story, proposal[0]) if each["acknowledged"]}
    assert told
    for each in findings_on(story, proposal[0]):
        is_caution = each["severity"] in ("note", "caution")
        is_told = is_caution and each["verdict"] in ("OUTSIDE", "TOO_CLOSE")
        assert each["acknowledged"] == (said if is_told else []), each
    story.sign_first("vet", proposal)
    story.sign_plan()
    story.consent(1)
    story.move(days=1)
    fitted = findings_on(story, story.propose_reset(story.fitted(1))[0])
    assert {each["rule"] for each in fitted if each["acknowledged"] == said} >= told
