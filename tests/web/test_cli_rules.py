"""`referral rules`: read the book, check what one writes, try it on the plans of an instance."""

import dataclasses
import re
import shutil

import pytest
from sqlalchemy import select

from referral.accounts.models import Person
from referral.app import create_app, wire
from referral.cli import main
from referral.plans.models import JudgementRow
from referral.rulebook.faults import RulebookFault
from referral.rulebook.loader import SHIPPED
from referral.settings import load_settings
from referral.storage.db import Database
from tests.databases import build
from tests.factories import PASSWORDS
from tests.features.resets.story import a_story
from tests.rulebook.texts import GOOD, write
from tests.web.browsing import Browser
from tests.web.yard import rows_in, words_of


@pytest.fixture
def book(tmp_path):
    """The shipped rule files, to be changed."""
    return shutil.copytree(SHIPPED, tmp_path / "book", ignore=shutil.ignore_patterns("*.py"))


@pytest.fixture
def database(tmp_path, monkeypatch):
    """An instance named by the environment, with one submitted plan on it."""
    folder = tmp_path / "instance"
    folder.mkdir()
    (folder / "config.toml").write_text('name = "A test yard"\n')
    monkeypatch.delenv("REFERRAL_DATABASE_URL", raising=False)
    monkeypatch.setenv("REFERRAL_INSTANCE", str(folder))
    settings = load_settings(folder)
    build(settings.database_url)
    opened = Database(settings.database_url)
    story = a_story(opened, folder)
    story.refer(with_film=True)
    story.submit()
    yield opened
    opened.dispose()


def changed(book, name, said, instead):
    path = book / name
    text = path.read_text(encoding="utf-8")
    assert said in text
    path.write_text(text.replace(said, instead), encoding="utf-8")


def test_every_rule_is_listed_and_one_is_shown_in_words(capsys):
    assert main(["rules", "list"]) == 0
    listed = capsys.readouterr().out.splitlines()
    assert len(listed) == len(list(SHIPPED.rglob("*.toml")))
    (line,) = [each for each in listed if each.startswith("R31 ")]
    wanted = "R31 note 2020-01-01 from memory Weight over the area of the foot (adult horse or"
    assert " ".join(line.split()).startswith(wanted)
    assert main(["rules", "show", "r07"]) == 0
    said = capsys.readouterr().out
    assert "breach: at most 10 mm" in said
    assert "For: any animal but foal, all feet." in said


def test_every_rule_can_be_shown(capsys):
    for path in SHIPPED.rglob("*.toml"):
        assert main(["rules", "show", path.stem]) == 0
        said = capsys.readouterr().out
        assert "nan" not in said.split()
        assert "None" not in said
    assert main(["rules", "show", "R4711"]) == 2


def test_a_file_with_older_limits_is_checked(tmp_path, capsys):
    limits = GOOD[GOOD.index("[[limits]]") : GOOD.index("[[examples]]")]
    older = GOOD.replace(limits, limits + limits.replace("2020", "2021").replace("= 15", "= 16"))
    assert main(["rules", "check", str(write(tmp_path, older))]) == 0
    assert capsys.readouterr().out == "All as they say: 1 rules, 4 examples.\n"


def test_faults_have_a_file_a_line_and_how_to_mend_them(book, capsys):
    assert main(["rules", "check", str(book)]) == 0
    changed(book, "trim/R07.toml", "at_most = 10", "at_most = 400")
    capsys.readouterr()
    assert main(["rules", "check", str(book)]) == 1
    said = capsys.readouterr().out
    assert "trim/R07.toml:" in said
    assert "mend the limits or the example" in said
    changed(book, "trim/R07.toml", 'unit = "mm"', 'unit = "deg"')
    assert main(["rules", "check", str(book / "trim" / "R07.toml")]) == 2
    assert "the unit 'deg' is wrong; write unit = \"mm\"" in capsys.readouterr().err


def test_an_organisations_own_rule_takes_no_id_that_is_shipped(tmp_path, capsys):
    own = write(tmp_path, GOOD.replace("R90", "R04"), "sole/R04.toml")
    assert main(["rules", "check", "--practice", str(own)]) == 2
    assert "take an id" in capsys.readouterr().err


def test_the_same_book_changes_nothing(database, book, capsys):
    assert main(["rules", "backtest", str(book)]) == 0
    said = capsys.readouterr().out
    assert said == "1 plans judged by both books: 0 findings change on 0 plans.\n"


def test_a_changed_book_is_tried_on_the_plans_there_are_and_nothing_is_kept(database, book, capsys):
    before = rows_in(database)
    # R22 allows 6 weeks with a caution and 10 with a breach; the plan is for 5 weeks
    changed(book, "interval/R22.toml", "at_most = 6", "at_most = 4")
    assert main(["rules", "backtest", str(book)]) == 1
    said = capsys.readouterr().out.splitlines()
    assert said == [
        "1 plans judged by both books: 1 findings change on 1 plans.",
        "  1 x within -> outside (caution)",
        "  case 1, plan 1, LF: R22 Weeks to the next reset, after fit: within -> outside (caution)",
    ]
    assert rows_in(database) == before


def test_an_organisations_own_folder_is_tried_beside_the_shipped_one(database, tmp_path, capsys):
    own = write(tmp_path / "own", GOOD.replace("R90", "HLV01"), "sole/HLV01.toml")
    assert main(["rules", "backtest", "--practice", str(own)]) == 1
    said = capsys.readouterr().out
    assert "HLV01 Sole depth, after fit: not asked ->" in said


def test_a_limit_of_today_is_tried_on_a_plan_of_the_past(database, book, capsys):
    with database.transaction() as session:
        judged = session.query(JudgementRow).one()
        judged.judged_at = judged.judged_at.replace(year=2025)
    changed(book, "interval/R22.toml", "at_most = 6", "at_most = 4")
    assert main(["rules", "backtest", str(book)]) == 1
    assert "1 x within -> outside (caution)" in capsys.readouterr().out


def named_folder(text, name):
    """Name a folder of rules for the instance of the environment, and return its settings."""
    folder = load_settings().instance_dir
    (folder / "config.toml").write_text('name = "A test yard"\nrules_dir = "rules"\n')
    write(folder / "rules", text, name)
    return load_settings()


OWN = GOOD.replace("R90", "YARD01")


def test_a_folder_that_the_instance_names_judges_and_is_read_on_its_pages(database):
    settings = named_folder(OWN, "sole/YARD01.toml")
    wired = dataclasses.replace(wire(settings), passwords=PASSWORDS)
    assert "YARD01" in {rule.id for rule in wired.rulebook.rules}
    with database.reading() as session:
        email = session.scalars(select(Person.email).limit(1)).one()
    browser = Browser(create_app(settings, wired))
    browser.sign_in(email)
    page = words_of(browser.get("/rules/YARD01"))
    assert "Set by: This instance’s own rule." in page
    assert "YARD01" in browser.get("/rules").text
    wired.database.dispose()


@pytest.mark.parametrize(
    ("text", "name", "said"),
    [
        (OWN.replace("value = 12", "value = 16"), "sole/YARD01.toml", "the rule answers WITHIN"),
        (OWN.replace('unit = "mm"', 'unit = "deg"'), "sole/YARD01.toml", "the unit 'deg' is wrong"),
        (GOOD.replace("R90", "R04"), "sole/R04.toml", "take an id that was never used"),
        (OWN, "YARD01.toml", "the file is not in a topic folder"),
    ],
)
def test_an_instance_does_not_start_on_rules_that_are_not_in_order(
    database, capsys, text, name, said
):
    with pytest.raises(RulebookFault, match=re.escape(said)):
        wire(named_folder(text, name))
    assert main(["serve", "--port", "8765"]) == 2
    fault = capsys.readouterr().err
    assert said in fault
    assert name in fault
    assert "Traceback" not in fault


def test_what_an_instance_has_already_changes_nothing_and_without_it_something(
    database, book, capsys
):
    own = named_folder(OWN, "sole/YARD01.toml").rules_dir
    assert main(["rules", "backtest", "--practice", str(own)]) == 0
    assert "0 findings change" in capsys.readouterr().out
    assert main(["rules", "backtest", str(book)]) == 1
    assert "YARD01 Sole depth, after fit: " in capsys.readouterr().out
