"""A file named on a command line, or one sentence."""

import io
import sys
from types import SimpleNamespace

import pytest

from referral.errors import Invalid, TooLarge
from referral.storage.given import MEBIBYTE, read_given, size_words


def test_a_file_or_standard_input_is_read_up_to_its_limit(tmp_path, monkeypatch):
    path = tmp_path / "a.json"
    path.write_bytes(b"12345")
    assert read_given(str(path), 5) == b"12345"
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"from a pipe")))
    assert read_given("-", 99) == b"from a pipe"
    with pytest.raises(TooLarge, match="the file is larger than the 0 KiB that are taken"):
        read_given(str(path), 4)


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("none.json", "none.json: there is no such file; check its name and folder."),
        (".", ".: this is a folder; name one file in it."),
        ("a\0b", "'a\\x00b': this file cannot be read; copy it to your own disk."),
        ("x" * 300, f"'{'x' * 300}': this file cannot be read; copy it to your own disk."),
    ],
)
def test_what_cannot_be_read_is_said_in_one_sentence(name, sentence, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(Invalid) as caught:
        read_given(name, 10)
    assert caught.value.message == sentence


def test_a_file_that_may_not_be_read_is_said(monkeypatch):
    def refuse(*_):
        raise PermissionError

    monkeypatch.setattr("pathlib.Path.open", refuse)
    with pytest.raises(Invalid, match="you may not read this file; ask whoever owns it"):
        read_given("secret.json", 10)


def test_a_size_is_said_in_whole_units():
    assert size_words(256 * 1024) == "256 KiB"
    assert size_words(50 * MEBIBYTE) == "50 MiB"
