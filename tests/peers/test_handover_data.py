"""What poppler takes out of each kind of sheet beside the rows of the database, read anew.

The words that a row becomes are written here again, so that a wrong one is not repeated.
"""

import json
import subprocess
from dataclasses import dataclass

import pytest
from sqlalchemy import select, update

from referral.accounts.models import Organisation, Person
from referral.cases.models import Case, CaseMember, Closure, Limit, Problem, Referral
from referral.cases.remarks import close_case
from referral.cases.service import Words
from referral.films.models import Film, ReadingRow, ReadingSet, ScaleSetting
from referral.horses.models import Horse
from referral.plans.models import (
    Consent,
    FindingRow,
    JudgementRow,
    PlanLimb,
    PlanRow,
    Review,
    Waiver,
)
from referral.resets.models import Countersign, Deviation, Recheck, Reset, ResetLimb
from referral.sheets.models import Sheet
from referral.sheets.snapshot import SheetKind
from tests.features.resets.story import Story, a_story
from tests.features.sheets.test_letters import drafted, signed

CHIP, UELN = "981020001234567", "826001123456780"
WHY = "Horn at the inside heel was soft; stopped at sound horn."
LIMBS = {"LF": "Left fore"}
OF_A_FINDING = (
    "rule", "title", "stage", "verdict", "severity", "says", "limit_from", "evidence", "source",
)  # fmt: skip


@dataclass(frozen=True)
class Record:
    """A case that went round once, and the content of each of its sheets off the signed file."""

    story: Story
    sheets: dict[str, dict]

    def rows(self, table, **where):
        """Return the rows of a table as the database has them."""
        asked = select(table.__table__).filter_by(**where)
        with self.story.database.reading() as session:
            return [dict(row) for row in session.execute(asked).mappings()]

    def row(self, table, **where):
        (found,) = self.rows(table, **where)
        return found

    def name(self, person_id):
        return self.row(Person, id=person_id)["name"]


def case_with_every_sheet(story: Story) -> None:
    with story.database.transaction() as session:
        session.execute(update(Horse).values(chip=CHIP, ueln=UELN))
    story.refer(with_film=True)
    signed(story, drafted(story, SheetKind.REFERRAL, "Ring me from the yard."))
    story.submit()
    story.agree(1)
    story.move(days=1)
    # two millimetres is what is tolerated: one difference is beyond it, the other is not
    fitted = story.fitted(1, {"LF.heel_trim_mm": WHY}, heel_trim_mm=3.0, toe_trim_mm=3.0)
    story.sign_first("farrier", story.propose_reset(fitted))
    story.countersign(1)
    signed(story, drafted(story, SheetKind.OWNER_COPY, "We bring the toe back."))
    with story.database.transaction() as session:
        vet = story.access(session, "vet")
        close_case(session, vet, "improved", Words("Short spans.", story.today), story.now)
    signed(story, drafted(story, SheetKind.CLOSING, "Ring me in May."))


def taken_out(story: Story, kind: SheetKind, folder) -> dict:
    sheet, out = folder / f"{kind}.pdf", folder / f"{kind}.json"
    sheet.write_bytes(story.office.blobs.get(story.latest(kind.value).pdf_sha256))
    subprocess.run(["pdfdetach", "-save", "1", "-o", out, sheet], check=True)
    return json.loads(out.read_bytes())


@pytest.fixture(scope="module")
def record(databases, tmp_path_factory):
    database, folder = databases.fresh(), tmp_path_factory.mktemp("record")
    story = a_story(database, folder)
    case_with_every_sheet(story)
    yield Record(story, {kind.value: taken_out(story, kind, folder) for kind in SheetKind})
    database.dispose()


def on(day) -> str:
    return f"{day.day} {day:%b %Y}"


def near(reading) -> dict:
    """Return a reading as the attached text rounds it, to nine digits."""
    return {name: pytest.approx(reading[name], rel=1e-8) for name in ("value", "u")}


def facts(sheet, title) -> dict:
    (part,) = [each for each in sheet["told"] if each["title"] == title]
    return dict(part["facts"])


@pytest.mark.parametrize("kind", [kind.value for kind in SheetKind])
def test_every_kind_names_case_horse_and_people_as_their_rows_do(record, kind):
    sheet, case, horse = record.sheets[kind], record.row(Case), record.row(Horse)
    row = record.row(Sheet, kind=kind)
    assert (sheet["sheet_id"], sheet["kind"]) == (str(row["id"]), kind)
    assert sheet["made_at"] == row["made_at"].isoformat()
    assert sheet["case_number"] == str(case["number"])
    assert sheet["horse"]["name"] == horse["name"]
    assert sheet["horse"]["chip"].replace(" ", "") == horse["chip"] == CHIP
    assert sheet["horse"]["ueln"].replace(" ", "") == horse["ueln"] == UELN
    for said in ("sex", "colour", "breed", "born_year"):
        assert str(horse[said]) in sheet["horse"]["description"]
    assert sheet["owner"]["person_id"] == str(horse["owner_id"])
    assert sheet["owner"]["name"] == record.name(horse["owner_id"])
    expected, rings = [], []
    for member in record.rows(CaseMember):
        person = record.row(Person, id=member["person_id"])
        if member["role"] in ("vet", "farrier"):
            firm = record.row(Organisation, id=member["organisation_id"])
            expected.append(
                {
                    "person_id": str(person["id"]),
                    "name": person["name"],
                    "role": member["role"],
                    "organisation": firm["name"],
                    "registration": person["registration_number"],
                }
            )
            rings.append(f"{person['name']} ({member['role']}): {person['phone']}")
    assert sheet["people"] == expected
    assert sheet["emergency_contacts"] == rings


@pytest.mark.parametrize("kind", ["referral", "agreed_plan", "as_fitted"])
def test_film_problem_and_readings_are_those_of_their_rows(record, kind):
    (limb,) = record.sheets[kind]["limbs"]
    film, problem = record.row(Film), record.row(Problem)
    scale = max(record.rows(ScaleSetting), key=lambda row: row["set_at"])
    shown = limb["film"]
    for name in ("view", "shod", "trim", "picture_sha256"):
        assert shown[name] == film[name]
    assert shown["taken_on"] == film["taken_on"].isoformat()
    assert shown["size_px"] == [film["width_px"], film["height_px"]]
    assert shown["scale_state"] == scale["state"] == "marker"
    said = f"{problem['condition'].replace('_', ' ')} ({problem['certainty']})"
    assert (limb["limb"], limb["problem"]) == (problem["limb"], said)
    of_set = record.row(ReadingSet)["id"]
    measured = {each["code"]: each for each in record.rows(ReadingRow, reading_set_id=of_set)}
    compared = [each for each in limb["readings"] if each["code"] in measured]
    assert len(compared) >= 10
    for each in compared:
        row = measured[each["code"]]
        assert each["now"] == near(row), each["code"]
        assert each["unit"] == row["unit"]


def judged(record, reset_id):
    return record.row(JudgementRow, reset_id=reset_id)


@pytest.mark.parametrize("kind", ["agreed_plan", "as_fitted"])
def test_what_is_predicted_found_and_waived_is_what_was_judged(record, kind):
    sheet = record.sheets[kind]
    (limb,) = sheet["limbs"]
    planned = judged(record, None)
    own = planned if kind == "agreed_plan" else judged(record, record.row(Reset)["id"])
    after = planned["predictions"]["LF"]["after_fit"]["readings"]
    done = own["predictions"]["LF"]["after_fit"]["readings"]
    assert len(limb["readings"]) >= 10
    for each in limb["readings"]:
        code = each["code"]
        assert each["predicted"] == (near(after[code]) if code in after else None), code
        fitted = near(done[code]) if kind == "as_fitted" and code in done else None
        assert each["as_fitted"] == fitted, code
    rows = record.rows(FindingRow, judgement_id=own["id"], folded_under=None)
    rows.sort(key=lambda row: row["position"])
    assert len(rows) >= 10
    printed = [{name: each[name] for name in OF_A_FINDING} for each in limb["findings"]]
    assert printed == [{name: row[name] for name in OF_A_FINDING} for row in rows]
    assert sheet["rulebook"] == planned["rulebook_sha256"]
    waived = [
        {"rule": found["rule"], "title": found["title"], "reason": each["reason"]}
        for each in record.rows(Waiver, kind="waived")
        for found in record.rows(FindingRow, id=each["finding_id"])
    ]
    named = [{name: each[name] for name in ("rule", "title", "reason")} for each in limb["waivers"]]
    assert sorted(named, key=str) == sorted(waived, key=str)


def in_trade_words(content) -> dict[str, str]:
    """Return the lines of a plan that are not nothing, as a farrier would write them down."""
    shoe = content["shoe"]
    lines = {
        "Off the toe": f"{content['toe_trim_mm']:g} mm",
        "Off the heels": f"{content['heel_trim_mm']:g} mm",
        "Shoe": shoe["category"].replace("_", " "),
        "Material": shoe["material"],
        "Thickness": f"{shoe['thickness_mm']:g} mm",
        "Width": f"{shoe['width_mm']:g} mm",
        "Length": f"{shoe['length_mm']:g} mm",
        "Breakover set back": f"{shoe['breakover_setback_mm']:g} mm",
        "Shoe behind the heel": f"{shoe['heel_extension_mm']:g} mm",
        "Wedge": f"{content['wedge_deg']:g}°",
        "Wedge height": f"{content['wedge_mm']:g} mm",
        "Attached by": content["attachment"],
        "Nails": str(content["nails"]["count"]),
        "Interval": f"{content['interval_weeks']:g} weeks",
    }
    return {label: words for label, words in lines.items() if words != "0 mm"}


def test_the_plan_is_what_was_submitted_and_agreed(record):
    sheet = record.sheets["agreed_plan"]
    (limb,), content = sheet["limbs"], record.row(PlanLimb)["content"]
    assert {each["label"]: each["planned"] for each in limb["plan_lines"]} == in_trade_words(
        content
    )
    for name in ("toe_trim_mm", "heel_trim_mm", "wedge_deg"):
        assert limb["drawn"][name] == content[name]
    for name in ("category", "thickness_mm", "width_mm", "length_mm", "breakover_setback_mm"):
        assert limb["drawn"][name] == content["shoe"][name]
    plan, review = record.row(PlanRow), record.row(Review, decision="agreed")
    vet = record.name(review["reviewer_id"])
    (agreed,) = sheet["agreements"]
    assert (agreed["by"], agreed["what"]) == (vet, f"Plan {plan['n']}")
    assert sheet["next_steps"] == [
        {"what": "Recheck", "on": plan["recheck_on"].isoformat(), "owner": vet}
    ]
    assert sheet["consent"] is None  # it was given afterwards


def test_what_was_fitted_is_what_was_recorded_with_each_difference_and_its_reason(record):
    sheet, reset = record.sheets["as_fitted"], record.row(Reset)
    (limb,), content = sheet["limbs"], record.row(ResetLimb)["content"]
    done = {each["label"]: each["as_fitted"] for each in limb["plan_lines"]}
    assert done == in_trade_words(content)
    assert limb["drawn"]["heel_trim_mm"] == content["heel_trim_mm"] == 3.0
    differing = {each["label"]: each for each in limb["plan_lines"] if each["difference"]}
    deviation = record.row(Deviation)
    assert (deviation["field"], deviation["reason"]) == ("heel_trim_mm", WHY)
    assert {label: (each["difference"], each["reason"]) for label, each in differing.items()} == {
        "Off the toe": ("−1.0 mm", None),
        "Off the heels": ("3.0 mm", deviation["reason"]),
    }
    assert dict(sheet["notes"]) == {
        "Fitted on": on(reset["fitted_on"]),
        "Found under the old shoe": reset["found"],
        "Comfort on leaving": reset["comfort"],
        "Advice to the owner": reset["advice"],
    }
    review, consent = record.row(Review, decision="agreed"), record.row(Consent)
    assert [each["at"] for each in sheet["agreements"]] == [review["reviewed_at"].isoformat()]
    assert sheet["consent"]["by"] == consent["given_by"]
    assert sheet["consent"]["authority"] == consent["authority"]
    assert sheet["consent"]["on"] == consent["given_on"].isoformat()
    assert sheet["consent"]["recorded_by"] == record.name(consent["recorded_by"])
    steps = {each["what"]: (each["on"], each["owner"]) for each in sheet["next_steps"]}
    due = reset["due_on"].isoformat()
    assert steps["Next reset"] == (due, record.name(reset["farrier_id"]))


def test_the_referral_asks_what_was_asked_within_the_limits_that_were_set(record):
    sheet, row = record.sheets["referral"], record.row(Referral)
    asked = facts(sheet, "What is asked")
    assert asked == {
        "Referral": f"Number {row['n']}, sent {on(row['sent_at'])}",
        "Limbs": ", ".join(LIMBS[limb] for limb in row["limbs"]),
        "Urgency": row["urgency"].capitalize(),
        "Goals": row["goals"],
        "From the vet": "Ring me from the yard.",
    }
    problem = record.row(Problem)
    said = facts(sheet, "The vet’s diagnosis")[LIMBS[problem["limb"]]]
    assert said == f"{problem['condition']}, {problem['certainty']}"
    limit = record.row(Limit)
    assert limit["measure"] == "palmar_angle_deg"
    assert sheet["limits"] == [
        {
            "limb": limit["limb"],
            "name": "Palmar angle",
            "says": f"at least {limit['at_least']:g}°",
            "stage": limit["stage"].replace("after_fit", "after fitting"),
            "strength": limit["strength"],
            "reason": limit["reason"],
        }
    ]


def test_the_owners_copy_says_what_the_consent_the_reset_and_the_recheck_say(record):
    sheet, reset = record.sheets["owner_copy"], record.row(Reset)
    consent, recheck = record.row(Consent), record.row(Recheck)
    assert facts(sheet, "Cost, risks and outlook") == {
        "Cost": consent["cost"],
        "How many visits": consent["resets_expected"],
        "What can go wrong": consent["risks"],
        "Outlook": consent["outlook"],
        "You agreed": f"{consent['given_by']}, {on(consent['given_on'])}",
    }
    hoped = facts(sheet, "What the vet hopes for")
    assert hoped == {"In the vet’s words": record.row(Referral)["goals"]}
    (done,) = [each for each in sheet["told"] if each["title"].startswith("What was done on")]
    content = record.row(ResetLimb)["content"]
    assert done["title"] == f"What was done on {on(reset['fitted_on'])}: left fore"
    trim = f"{content['toe_trim_mm']:g} mm of horn at the toe and {content['heel_trim_mm']:g} mm"
    assert trim in done["says"][0]
    assert f"{content['wedge_deg']:g}°" in " ".join(done["says"])
    assert f"{content['interval_weeks']:g} weeks" in done["says"][-1]
    assert sheet["aftercare"][0] == f"From the farrier: {reset['advice']}"
    steps = {each["what"]: (each["on"], each["owner"]) for each in sheet["next_steps"]}
    assert steps == {
        "The farrier comes again": (reset["due_on"].isoformat(), record.name(reset["farrier_id"])),
        "The foot is looked at again": (
            recheck["due_on"].isoformat(),
            record.name(recheck["owner_id"]),
        ),
    }


def test_the_closing_report_tells_each_reset_and_the_outcome_as_they_were_recorded(record):
    sheet, reset, closure = record.sheets["closing"], record.row(Reset), record.row(Closure)
    outcome = facts(sheet, "Outcome")
    assert outcome["Outcome"] == closure["outcome"].capitalize()
    assert outcome["Closed"] == f"{on(closure['closed_at'])}, {record.name(closure['closed_by'])}"
    assert outcome["What was learned"] == closure["words"]
    assert outcome["From the vet"] == "Ring me in May."
    course = facts(sheet, "The course")
    assert course["Opened"] == on(record.row(Case)["opened_at"])
    assert course["Plans"] == str(len(record.rows(PlanRow)))
    assert course["Films"] == str(len(record.rows(Film)))
    (visit,) = sheet["visits"]
    assert visit["n"] == reset["n"]
    assert visit["fitted_on"] == reset["fitted_on"].isoformat()
    assert visit["plan_n"] == record.row(PlanRow, id=reset["plan_id"])["n"]
    assert visit["differences"] == len(record.rows(Deviation, reset_id=reset["id"])) == 1
    assert visit["answer"] == record.row(Countersign)["decision"]
    after = judged(record, reset["id"])["predictions"]["LF"]["after_fit"]["readings"]
    assert len(visit["readings"]) == 5
    for code, value in visit["readings"]:
        assert value == near(after[code]), code
