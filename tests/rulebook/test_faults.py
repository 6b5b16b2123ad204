"""Rule files and folders that are wrong are refused, with all that is wrong in them."""

import pytest

from referral.rulebook.faults import line_of
from referral.rulebook.loader import load_rulebook, read_rule_files
from tests.rulebook.texts import GOOD, RECHECK, faults_of, write


def test_the_good_files_load(tmp_path):
    write(write(tmp_path, GOOD), RECHECK, "record/R91.toml")
    assert [rule.id for rule in load_rulebook(tmp_path).rules] == ["R90", "R91"]


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        (
            "facts = { red_flags = [] }",
            "facts = { red_flags = [] }\nplan = { shoe = 3 }",
            "record/R91.toml:25: 'shoe' is wrong; write a table",
        ),
        (
            "facts = { red_flags = [] }",
            'plan = { heel_trim_mm = "5" }',
            "record/R91.toml:24: 'heel_trim_mm' is wrong; write a number",
        ),
        (
            "facts = { red_flags = [] }",
            'readings = { now = { palmar_angle_deg = { value = "x" } } }',
            "record/R91.toml:24: 'value' is wrong; write a finite number",
        ),
        (
            "facts = { red_flags = [] }",
            "readings = { now = 3 }",
            "record/R91.toml:24: 'now' is wrong; write a table",
        ),
        (
            "facts = { red_flags = [] }",
            "readings = { now = { palmar_angle_deg = 3 } }",
            "record/R91.toml:24: 'palmar_angle_deg' is wrong; write a table",
        ),
        (
            'of = "recheck"',
            'measure = "palmar_angle_deg"\nof = "recheck"',
            (
                "record/R91.toml:5: a rule of kind presence has no measure; say what it is about "
                "in 'of'"
            ),
        ),
        (
            'of = "recheck"',
            'of = "farrier"',
            (
                "record/R91.toml:5: 'of' is not something presence knows; use one of: film_scale, "
                "film_before_trim, recent_film, recheck"
            ),
        ),
        (
            'severity = "caution"',
            'severity = "caution"\nunit = "mm"',
            "record/R91.toml:11: this kind of rule has no unit; leave it out",
        ),
        (
            'severity = "caution"',
            'severity = "caution"\nat_least = 3',
            "record/R91.toml:11: this kind of rule has no 'at_least'; leave it out",
        ),
    ],
)
def test_a_malformed_rule_of_another_kind(tmp_path, old, new, fault):
    faults = faults_of(write(tmp_path, RECHECK.replace(old, new, 1), "record/R91.toml"))
    assert fault in faults


def bands(*each):
    lines = ",\n".join(each)
    start, rest = GOOD.split("[[limits]]", 1)
    examples = rest[rest.index("[[examples]]") :]
    return (
        f'{start}[[limits]]\nsince = 2020-01-01\nunit = "mm"\nevidence = "textbook"\n'
        f'source = "A book"\nbands = [\n{lines}\n]\n\n{examples}'
    )


def test_bands_that_tile_are_taken_as_tiers(tmp_path):
    text = bands(
        '{ severity = "breach", less_than = 10 }',
        '{ severity = "caution", at_least = 10, less_than = 15 }',
        '{ severity = "within", at_least = 15 }',
    )
    (rule,) = load_rulebook(write(tmp_path, text)).rules
    assert [(each.at_least, each.severity) for each in rule.limits] == [
        (10.0, "breach"),
        (15.0, "caution"),
    ]


@pytest.mark.parametrize(
    ("each", "fault"),
    [
        (
            ('{ severity = "within", at_most = 10 }', '{ severity = "note", at_least = 11 }'),
            "there is a gap between 10 and 11; let each band begin where the one before ends",
        ),
        (('{ severity = "within" }',), "there are fewer than two bands; add the other"),
        (("3", "4"), "a band is not a table; write {severity = …}"),
        (
            ('{ severity = "within", up_to = 10 }', '{ severity = "note", at_least = 10 }'),
            "unknown key 'up_to'; use one of: severity, at_least, at_most, more_than, less_than",
        ),
        (
            ('{ severity = "fine", at_most = 10 }', '{ severity = "note", more_than = 10 }'),
            "'fine' is not a known severity; use one of: within, note, caution, breach, red_flag",
        ),
    ],
)
def test_bands_that_do_not_tile_are_refused(tmp_path, each, fault):
    faults = faults_of(write(tmp_path, bands(*each)))
    assert any(fault in one for one in faults), faults


def test_a_pattern_needs_every_tolerance(tmp_path):
    text = RECHECK.replace('"presence"', '"pattern"').replace('"recheck"', '"fitted_as_signed"', 1)
    text = text.replace('source = "No', 'tolerance = { angle_deg = 1 }\nsource = "No')
    faults = faults_of(write(tmp_path, text, "record/R91.toml"))
    assert "record/R91.toml:8: 'height_mm' is missing; add a finite number" in faults
    no_table = faults_of(write(tmp_path, text.replace("{ angle_deg = 1 }", "3"), "record/R91.toml"))
    assert "record/R91.toml:12: 'tolerance' is wrong; write a table" in no_table


def test_all_faults_of_all_files_are_listed(tmp_path):
    write(tmp_path, GOOD.replace("stage =", "stagee =").replace("title =", "titel ="))
    write(tmp_path, RECHECK.replace('"caution"', '"alert"'), "record/R91.toml")
    faults = faults_of(tmp_path)
    assert [each.split(":")[0] for each in faults].count("sole/R90.toml") == 4
    assert [each.split(":")[0] for each in faults].count("record/R91.toml") == 1


def test_a_file_outside_a_topic_folder(tmp_path):
    faults = faults_of(write(tmp_path, GOOD, "R90.toml"))
    assert faults == [
        "R90.toml: the file is not in a topic folder; put it at <topic>/<rule id>.toml"
    ]


def test_an_id_used_twice(tmp_path):
    write(write(tmp_path, GOOD), GOOD, "angles/R90.toml")
    assert faults_of(tmp_path) == [
        (
            "sole/R90.toml: the id R90 is already that of angles/R90.toml; "
            "take an id that was never used"
        )
    ]


def test_a_file_that_is_not_utf_8(tmp_path):
    path = write(tmp_path, GOOD) / "sole" / "R90.toml"
    path.write_bytes(b"id = \xff")
    assert faults_of(tmp_path) == ["sole/R90.toml: the file cannot be read; save it as UTF-8 text"]


def test_a_folder_without_rules(tmp_path):
    (fault,) = faults_of(tmp_path)
    assert fault.endswith("there is no rule file; add <topic>/<rule id>.toml")


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("[[limits]]", "limits = []\n[[limitss]]", "there is no limit; add one [[limits]]"),
        ("[[limits]]", "limits = [3]\n[[limitss]]", "a limit is not a table; write [[limits]]"),
    ],
)
def test_limits_that_are_no_tables(tmp_path, old, new, fault):
    text = GOOD.replace("[[limits]]", "[[gone]]").replace("[[gone]]", new, 1)
    text = GOOD[: GOOD.index("[[limits]]")] + new.split("\n")[0] + "\n\n"
    text += GOOD[GOOD.index("[[examples]]") :]
    assert old in GOOD
    assert any(fault in each for each in faults_of(write(tmp_path, text)))


def test_examples_that_are_no_list(tmp_path):
    text = GOOD[: GOOD.index("[[examples]]")].replace("[[limits]]", "examples = 3\n\n[[limits]]", 1)
    faults = faults_of(write(tmp_path, text))
    assert "sole/R90.toml:8: 'examples' is wrong; write a list" in faults


def test_the_line_of_a_table_that_is_not_there():
    assert line_of(GOOD, "unit", ("limits", 7)) is None


def test_read_rule_files_gives_the_examples_with_the_rule(tmp_path):
    (found,) = read_rule_files(write(tmp_path, GOOD), "practice")
    assert (found.path, found.rule.origin, len(found.examples)) == ("sole/R90.toml", "practice", 4)
