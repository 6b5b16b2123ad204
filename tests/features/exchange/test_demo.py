"""The demo's story, told through the services into a fresh instance, and looked at afterwards."""

import json
import shutil
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy import select

from referral.accounts.queries import person_by_email
from referral.assessments.models import AssessmentPhoto
from referral.cases.models import Case, Entry
from referral.cases.queries import case_for
from referral.cases.timeline import chain_faults
from referral.core.workflow import Stage
from referral.exchange.demo import demo
from referral.films.models import Film
from referral.films.queries import reading_sets
from referral.plans.queries import plan_of
from referral.settings import load_settings
from referral.sheets.office import authority_folder
from referral.sheets.verify import verify_pdf
from referral.shoes.models import StockShoe
from referral.storage.db import Database

HERE = Path(__file__).resolve().parents[3] / "instance_demo"


@pytest.fixture(scope="module")
def instance(tmp_path_factory):
    """An instance with the demo's own settings and story, built once."""
    folder = tmp_path_factory.mktemp("demo")
    shutil.copy(HERE / "config.toml", folder)
    shutil.copytree(HERE / "story", folder / "story")
    result = CliRunner().invoke(demo, ["build", "--instance", str(folder)], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return folder, result.output


@pytest.fixture(scope="module")
def told(instance):
    folder, _said = instance
    settings = load_settings(folder)
    database = Database(settings.database_url)
    with database.reading() as session:
        yield settings, session
    database.dispose()


def test_it_says_who_to_sign_in_as_and_what_to_look_at(instance):
    folder, said = instance
    people = tomllib.loads((folder / "story" / "people.toml").read_text())
    assert people["password"] in said
    assert all(person["email"] in said for person in people["person"])
    assert "verify instance_demo/var/sheets/case-1-1-agreed-plan.pdf" in said


def test_at_least_six_sheets_are_left_each_signed_twice_and_valid(instance):
    folder, _said = instance
    settings = load_settings(folder)
    root = (authority_folder(settings) / "root.pem").read_bytes()
    sheets = sorted((folder / "var" / "sheets").glob("*.pdf"))
    assert len(sheets) >= 6
    for path in sheets:
        verdict = verify_pdf(path.read_bytes(), root).to_dict()
        assert verdict["intact"], path.name
        assert len(verdict["signatures"]) == 2
        assert all(each["trusted"] for each in verdict["signatures"])
        assert {each["role"] for each in verdict["signatures"]} == {"vet", "farrier"}


def test_one_horse_went_through_three_resets_and_its_palmar_angle_rose(told):
    _settings, session = told
    case = session.scalars(select(Case).order_by(Case.number)).all()
    states = {}
    for each in case:
        access = case_for(session, each.opened_by, each.number)
        states[each.number] = access.state
    three = next(number for number, state in states.items() if state.reset_n == 3)
    assert states[three].stage is Stage.MONITORING
    opened = next(each for each in case if each.number == three)
    angles = [
        measured.readings["palmar_angle_deg"].value
        for reading_set, measured in reversed(reading_sets(session, opened.id))
        if "palmar_angle_deg" in measured.readings and reading_set.film_id is not None
    ]
    assert len(angles) == 3
    assert angles == sorted(angles)
    assert angles[-1] - angles[0] > 2.0


def test_the_laminitis_plan_broke_a_limit_was_sent_back_and_agreed_on_the_second_try(told):
    _settings, session = told
    case = session.scalars(select(Case)).all()
    sent_back = [
        each
        for each in case
        if session.scalars(
            select(Entry.id).where(Entry.case_id == each.id, Entry.kind == "plan_sent_back")
        ).first()
    ]
    assert len(sent_back) == 1
    first, second = (plan_of(session, sent_back[0].id, n) for n in (1, 2))
    assert first.judgement.worst == "breach"
    assert any(each.verdict == "OUTSIDE" and each.limit_from == "case" for each in first.findings)
    assert [each.decision for each in first.reviews] == ["sent_back"]
    assert second.agreed is not None
    assert not [
        each for each in second.findings if each.verdict == "OUTSIDE" and each.limit_from == "case"
    ]


def test_the_forge_has_shoes_and_the_foot_its_photos(told):
    _settings, session = told
    assert len(set(session.scalars(select(StockShoe.category)))) >= 5
    soles = session.scalars(select(Film).where(Film.view == "sole_photo")).all()
    assert [each.trim for each in sorted(soles, key=lambda film: film.taken_on)] == [
        "before",
        "after",
    ]
    assert session.scalars(select(AssessmentPhoto.about)).all() == ["distortion"]


def test_every_chain_of_the_demo_is_whole(told):
    _settings, session = told
    for case_id in session.scalars(select(Case.id)):
        assert list(chain_faults(session, case_id)) == []


def test_nobody_outside_the_cases_is_on_them(told):
    _settings, session = told
    stranger = person_by_email(session, "stranger@demo.example")
    mark = json.loads(Path(_settings.instance_dir / "var" / "demo.json").read_text())
    for number in mark["cases"]:
        with pytest.raises(Exception, match="no such case"):
            case_for(session, stranger.id, number)


def test_building_it_again_changes_nothing(instance):
    folder, _said = instance
    mark = folder / "var" / "demo.json"
    before = mark.stat().st_mtime_ns
    result = CliRunner().invoke(demo, ["build", "--instance", str(folder)])
    assert result.exit_code == 0
    assert mark.stat().st_mtime_ns == before
