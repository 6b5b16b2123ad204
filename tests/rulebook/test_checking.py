"""Rule files that somebody wrote: one or a folder, and examples that are answered otherwise."""

import pytest

from referral.rulebook.checking import example_faults, read_to_check
from referral.rulebook.faults import RulebookFault
from referral.rulebook.loader import SHIPPED
from tests.rulebook.texts import GOOD, RECHECK, write


def test_a_folder_and_one_file_of_it_are_read_alike(tmp_path):
    write(tmp_path, GOOD)
    assert read_to_check(tmp_path) == read_to_check(tmp_path / "sole" / "R90.toml")


def test_every_shipped_rule_does_what_its_examples_say():
    files = read_to_check(SHIPPED)
    assert [fault for each in files for fault in example_faults(each, "")] == []


@pytest.mark.parametrize(
    ("good", "said", "instead", "fault"),
    [
        (
            GOOD,
            "value = 12",
            "value = 16",
            (
                "sole/R90.toml:29: the example says OUTSIDE but the rule answers WITHIN, caution, "
                "inside; mend the limits or the example"
            ),
        ),
        (
            GOOD,
            'verdict = "OUTSIDE"\n',
            'verdict = "OUTSIDE"\nseverity = "breach"\nreason = "beyond"\n',
            (
                "sole/R90.toml:29: the example says OUTSIDE, breach, beyond but the rule answers "
                "OUTSIDE, caution, beyond; mend the limits or the example"
            ),
        ),
        (
            RECHECK.replace("R91", "R90"),
            'verdict = "CANNOT_TELL"\nfacts = { red_flags = [] }',
            'verdict = "CANNOT_TELL"',
            (
                "sole/R90.toml:23: the example says CANNOT_TELL but the rule answers nothing, for "
                "it was not run; mend the limits or the example"
            ),
        ),
    ],
)
def test_an_example_that_is_answered_otherwise_is_named(tmp_path, good, said, instead, fault):
    text = good.replace(said, instead)
    (file,) = read_to_check(write(tmp_path, text))
    assert [str(each) for each in example_faults(file, text)] == [fault]


def test_a_file_that_is_not_there_and_one_at_fault_are_refused(tmp_path):
    with pytest.raises(RulebookFault, match=r"R90\.toml: it cannot be read; name a rule file"):
        read_to_check(tmp_path / "R90.toml")
    path = write(tmp_path, GOOD.replace("R90", "r")) / "sole" / "R90.toml"
    with pytest.raises(RulebookFault, match=r"R90\.toml:1: the id 'r' is no id"):
        read_to_check(path)
