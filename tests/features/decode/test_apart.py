"""What is done in a child: answered in plain values, and nothing it does reaches us."""

import os
import signal
import time

import pytest

from referral.errors import Invalid, TooLarge
from referral.storage.decode import apart
from referral.storage.decode.apart import LOST, in_a_child
from referral.storage.decode.film import describe, jpeg_bytes, read_apart, read_film
from tests.features.decode.files import CAT


def refusing(error):
    def act():
        raise error

    return act


def test_the_answer_comes_back_whole():
    rest = os.urandom(3_000_000)
    assert in_a_child(lambda: ({"a": [1, None, "é"]}, rest)) == ({"a": [1, None, "é"]}, rest)


@pytest.mark.parametrize("error", [Invalid("cut off"), TooLarge("too many")])
def test_a_refusal_comes_back_in_its_own_words(error):
    with pytest.raises(type(error), match=error.message):
        in_a_child(refusing(error))


@pytest.mark.parametrize(
    "act",
    [
        lambda: os.kill(os.getpid(), signal.SIGSEGV),
        lambda: os.kill(os.getpid(), signal.SIGKILL),
        os.abort,
        lambda: os._exit(0),
        refusing(ZeroDivisionError()),
    ],
    ids=["crashes", "is killed", "aborts", "ends without a word", "fails"],
)
def test_a_child_that_ends_without_an_answer_is_one_sentence(act):
    with pytest.raises(Invalid, match=LOST):
        in_a_child(act)


def test_a_child_has_only_so_much_memory(monkeypatch):
    monkeypatch.setattr(apart, "MOST_MEMORY_BYTES", 3 << 30)
    with pytest.raises(Invalid, match=LOST):
        in_a_child(lambda: ({}, bytes(3 << 30)))


def test_a_child_that_takes_too_long_is_ended(monkeypatch):
    monkeypatch.setattr(apart, "LONGEST_S", 0.2)
    monkeypatch.setattr(apart, "_limit_itself", lambda: None)
    with pytest.raises(Invalid, match=LOST):
        in_a_child(lambda: (time.sleep(600), b""))
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)


def test_a_film_read_apart_is_the_film_read_here():
    data = CAT.read_bytes()
    here, there = read_film(data, "cat.dcm"), read_apart(data, "cat.dcm")
    assert there.described == describe(here)
    assert there.picture_jpeg == jpeg_bytes(here, 2400)
    assert there.size_px == here.size_px
