"""A sheet is printed in a child, which may take neither all the time nor all the memory."""

import time

import pytest

from referral.errors import Invalid
from referral.sheets import apart
from referral.sheets.apart import LOST, print_apart
from referral.sheets.printing import print_sheet
from referral.storage.canonical import sha256_hex
from referral.storage.decode import apart as child
from tests.features.sheets.sample import FILM, sample

PICTURES = {sha256_hex(FILM): FILM}


def test_the_sheet_of_a_child_is_the_sheet():
    assert print_apart(sample(), PICTURES) == print_sheet(sample(), PICTURES)


def test_what_cannot_be_printed_is_said_in_the_same_words():
    with pytest.raises(Invalid) as here:
        print_sheet(sample(), {})
    with pytest.raises(Invalid) as there:
        print_apart(sample(), {})
    assert there.value.message == here.value.message


def test_a_page_that_never_ends_is_refused(monkeypatch):
    monkeypatch.setattr(child, "LONGEST_S", 1)
    monkeypatch.setattr(apart, "print_sheet", lambda *_: time.sleep(3600))
    with pytest.raises(Invalid, match=LOST):
        print_apart(sample(), PICTURES)


def test_a_page_that_wants_all_the_memory_is_refused(monkeypatch):
    monkeypatch.setattr(apart, "print_sheet", lambda *_: bytes(child.MOST_MEMORY_BYTES))
    with pytest.raises(Invalid, match=LOST):
        print_apart(sample(), PICTURES)
