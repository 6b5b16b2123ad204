"""A threshold file that is wrong is refused: file, line, what is wrong, how to mend it."""

import pytest

from tests.rulebook.texts import GOOD, faults_of, write


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        (
            "stage =",
            "stagee =",
            (
                "sole/R90.toml:6: unknown key 'stagee'; use one of: id, title, says, kind, "
                "measure, of, against, relative, words, optional, stage, applies, limits, examples"
            ),
        ),
        ('title = "Sole depth"\n', "", "sole/R90.toml: 'title' is missing; add text in quotes"),
        ('"Sole depth"', '" "', "sole/R90.toml:2: 'title' is wrong; write text in quotes"),
        (
            '"R90"',
            '"r90"',
            "sole/R90.toml:1: the id 'r90' is no id; write capitals and two figures",
        ),
        (
            '"R90"',
            '"R91"',
            "sole/R90.toml:1: the id is R91 but the file is R90.toml; name both alike",
        ),
        (
            '"threshold"',
            '"guess"',
            (
                "sole/R90.toml:4: 'guess' is not a known kind; use one of: threshold, "
                "difference, agreement_of_two, presence, red_flag, pattern"
            ),
        ),
        (
            '"after_fit"',
            '"later"',
            (
                "sole/R90.toml:6: 'later' is not a known stage; use one of: now, after_fit, "
                "at_due, as_fitted, change"
            ),
        ),
        (
            '"sole_depth_tip_mm"',
            '"sole_depth"',
            (
                "sole/R90.toml:5: a threshold needs a measure that is known; name a reading or "
                "a number of the plan"
            ),
        ),
        (
            'stage = "after_fit"',
            'stage = "after_fit"\nof = "recheck"',
            "sole/R90.toml:7: a threshold has no 'of'; leave it out",
        ),
        (
            'source = "A book, p. 1"\n',
            "",
            "sole/R90.toml:8: 'source' is missing; add text in quotes",
        ),
        (
            'source = "A book, p. 2"',
            'source = ""',
            "sole/R90.toml:22: 'source' is wrong; write text in quotes",
        ),
        (
            'unit = "mm"\nseverity = "caution"',
            'severity = "caution"',
            "sole/R90.toml:8: 'unit' is missing; write unit = \"mm\"",
        ),
        (
            'unit = "mm"\nseverity = "caution"',
            'unit = "deg"\nseverity = "caution"',
            "sole/R90.toml:11: the unit 'deg' is wrong; write unit = \"mm\"",
        ),
        (
            'severity = "caution"',
            'severity = "alert"',
            (
                "sole/R90.toml:12: 'alert' is not a known severity; use one of: note, caution, "
                "breach, red_flag"
            ),
        ),
        (
            'evidence = "textbook"\nsource = "A book, p. 1"',
            'evidence = "hearsay"\nsource = "A book, p. 1"',
            (
                "sole/R90.toml:13: 'hearsay' is not a known evidence; use one of: published, "
                "textbook, common practice, from memory"
            ),
        ),
        (
            "at_least = 15\n",
            "",
            (
                "sole/R90.toml:8: the limit has no bound; add one of: at_least, at_most, "
                "more_than, less_than"
            ),
        ),
        (
            "at_least = 15",
            "at_least = nan",
            "sole/R90.toml:10: 'at_least' is wrong; write a finite number",
        ),
        (
            "at_least = 15",
            "at_least = true",
            "sole/R90.toml:10: 'at_least' is wrong; write a finite number",
        ),
        (
            "at_least = 15",
            "at_least = 15\nmore_than = 15",
            "sole/R90.toml:11: one side has two bounds; keep at_least or more_than",
        ),
        (
            "at_least = 15",
            "at_most = 5\nless_than = 5",
            "sole/R90.toml:11: one side has two bounds; keep at_most or less_than",
        ),
        (
            "since = 2020-01-01\nat_least = 15",
            'since = "2020-01-01"\nat_least = 15',
            "sole/R90.toml:9: 'since' is wrong; write a date such as 2026-01-31, without quotes",
        ),
        (
            "since = 2020-01-01\nat_least = 15",
            "since = 2020-01-01T00:00:00\nat_least = 15",
            "sole/R90.toml:9: 'since' is wrong; write a date such as 2026-01-31, without quotes",
        ),
        (
            "since = 2020-01-01\nat_least = 10",
            "since = 2019-01-01\nat_least = 10",
            (
                "sole/R90.toml:17: the limit of 2019-01-01 stands after that of 2020-01-01; write "
                "limits from the oldest to the newest"
            ),
        ),
        (
            "at_least = 10",
            "at_least = 16",
            (
                "sole/R90.toml:8: tiers of 2020-01-01: the breach at 16 is not farther out than "
                "the caution at 15; let the more severe tier lie farther out"
            ),
        ),
        (
            "at_least = 10",
            "at_least = 15",
            (
                "sole/R90.toml:8: tiers of 2020-01-01: the breach at 15 is not farther out than "
                "the caution at 15; let the more severe tier lie farther out"
            ),
        ),
        (
            "at_least = 10",
            "at_most = 10",
            (
                "sole/R90.toml:8: tiers of 2020-01-01: nothing lies between 15 and 10; let the "
                "more severe tier lie farther out"
            ),
        ),
        (
            'severity = "caution"',
            'severity = "caution"\nonly = "ponies"',
            "sole/R90.toml:13: 'ponies' is not a known only; use one of: therapeutic, routine",
        ),
        (
            'severity = "caution"',
            'severity = "caution"\ntolerance = { angle_deg = 1 }',
            "sole/R90.toml:13: this kind has no tolerance; leave it out",
        ),
        (
            "at_least = 15",
            'bands = [{ severity = "within", at_least = 15 }]',
            "sole/R90.toml:8: bands say the bounds and severities; leave the others out",
        ),
        (
            "[[limits]]\nsince = 2020-01-01\nat_least = 15",
            '[applies]\nlimb = "left"\n\n[[limits]]\nsince = 2020-01-01\nat_least = 15',
            "sole/R90.toml:9: 'left' is not a known limb; use one of: fore, hind, all",
        ),
        (
            "[[limits]]\nsince = 2020-01-01\nat_least = 15",
            '[applies]\nlimbs = "fore"\n\n[[limits]]\nsince = 2020-01-01\nat_least = 15',
            (
                "sole/R90.toml:9: unknown key 'limbs'; use one of: limb, animal, not_animal, "
                "condition, device, attachment"
            ),
        ),
        (
            'verdict = "OUTSIDE"',
            'verdict = "WITHIN"',
            "sole/R90.toml: no example is OUTSIDE; add an [[examples]] of each",
        ),
        (
            'verdict = "TOO_CLOSE"',
            'verdict = "MAYBE"',
            (
                "sole/R90.toml:33: 'MAYBE' is not a known verdict; use one of: WITHIN, OUTSIDE, "
                "TOO_CLOSE, CANNOT_TELL, NOT_APPLICABLE"
            ),
        ),
        (
            "value = 20",
            "value = 20\nplan = { heeltrim_mm = 3 }",
            "sole/R90.toml:27: unknown key 'heeltrim_mm'",
        ),
        (
            "value = 20",
            "value = 20\nreadings = { later = { sole_depth_tip_mm = { value = 3 } } }",
            "sole/R90.toml:27: unknown key 'later'; use one of: now, after_fit, at_due",
        ),
        (
            "value = 20",
            "value = 20\nfilm = { state = 3 }",
            "sole/R90.toml:27: 'state' is wrong; write text in quotes",
        ),
        ("at_least = 15", "at_least = ", "sole/R90.toml:10: this is not TOML:"),
        ("u = 1\n", "u = 1\nu = 2\n", "sole/R90.toml:36: this is not TOML:"),
        ('verdict = "CANNOT_TELL"\n', 'verdict = """CANNOT', "sole/R90.toml:38: this is not TOML:"),
    ],
)
def test_a_malformed_threshold(tmp_path, old, new, fault):
    assert old in GOOD
    faults = faults_of(write(tmp_path, GOOD.replace(old, new, 1)))
    assert any(each.startswith(fault) for each in faults), faults
