"""Bytes to one JSON object: what is refused, and in which words."""

import pytest

from referral.errors import Invalid
from referral.exchange.reading import parse_object


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "The worksheet is empty; one JSON object is wanted."),
        (b" \n\t ", "The worksheet is empty; one JSON object is wanted."),
        (b"\xff\xfe{}", "The worksheet is not UTF-8 text (byte 1); save it as UTF-8."),
        (b"[1]", "The worksheet is no JSON object; one in braces, { … }, is wanted."),
        (b"null", "The worksheet is no JSON object; one in braces, { … }, is wanted."),
        (b'"a"', "The worksheet is no JSON object; one in braces, { … }, is wanted."),
        (
            b'{"a": 1',
            "not JSON: line 1, column 8: a comma or the closing bracket is missing.",
        ),
        (
            b'{"a": 1,}',
            "not JSON: line 1, column 9: a key in double quotes is wanted.",
        ),
        (
            b'{\n"a" 1}',
            "not JSON: line 2, column 5: a colon after the key is missing.",
        ),
        (
            b'{"a": five}',
            "not JSON: line 1, column 7: a value is missing, or is none that JSON has.",
        ),
        (
            b"{} {}",
            "not JSON: line 1, column 4: something stands after the end of the worksheet.",
        ),
        (b'{"a": "x', "not JSON: line 1, column 7: a text has no closing quote."),
        (b'{"a": NaN}', "a: NaN is not a number; a finite number is wanted"),
        (b'{"a": [1, -Infinity]}', "a.1: -Infinity is not a number; a finite number is wanted"),
        (b'{"a": 1e999}', "a: 1e999 is not a number; a finite number is wanted"),
        (b"NaN", "NaN is not a number; a finite number is wanted"),
        (
            b'{"p": {"limb": "LF", "limb": "RF"}}',
            "p.limb: this key stands here twice; keep one of them",
        ),
        (b"[" * 100_000, "The worksheet is not JSON: brackets stand in brackets far too deep."),
        (
            b'{"a":' * 20_000 + b"1" + b"}" * 20_000,
            "The worksheet is not JSON: brackets stand in brackets far too deep.",
        ),
    ],
    ids=lambda value: repr(value)[:24],
)
def test_what_is_no_worksheet_is_refused_in_one_sentence(data, sentence):
    with pytest.raises(Invalid) as caught:
        parse_object(data)
    wanted = f"The worksheet is {sentence}" if sentence.startswith("not JSON") else sentence
    assert caught.value.message == wanted


def test_every_odd_number_and_every_key_that_stands_twice_has_its_own_line():
    with pytest.raises(Invalid) as caught:
        parse_object(b'{"a": NaN, "b": {"c": [Infinity], "d": 1, "d": 2}}')
    assert caught.value.message.splitlines() == [
        "a: NaN is not a number; a finite number is wanted",
        "b.d: this key stands here twice; keep one of them",
        "b.c.0: Infinity is not a number; a finite number is wanted",
    ]
    assert sorted(caught.value.faults) == ["a", "b.c.0", "b.d"]


def test_a_number_too_long_to_keep_whole_is_a_float_or_refused():
    assert parse_object(b'{"a": 12345678901234567890}') == {"a": 12345678901234567890.0}
    with pytest.raises(Invalid, match=r"^a: 9{10}.*… is not a number"):
        parse_object(b'{"a": ' + b"9" * 5000 + b"}")


def test_a_byte_order_mark_is_passed_over():
    assert parse_object(b'\xef\xbb\xbf{"a": "\xc3\xa5"}') == {"a": "å"}
