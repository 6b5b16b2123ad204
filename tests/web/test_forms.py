"""One parser of numbers, strict dates, and forms that lose nothing."""

from datetime import date
from decimal import Decimal

import pytest
from marshmallow import Schema, ValidationError, fields
from werkzeug.datastructures import MultiDict

from referral.errors import Invalid
from referral.web.forms import (
    DateField,
    DecimalField,
    FormState,
    load_form,
    load_json,
    parse_date,
    parse_decimal,
    state_of_form,
)


class TrimForm(Schema):
    heel_trim_mm = DecimalField("mm", minimum=-2, maximum=30, required=True)
    wedge_deg = DecimalField("°", minimum=0)
    setback_mm = DecimalField("mm", maximum=50)
    fit_on = DateField(earliest=date(2020, 1, 1), latest=date(2030, 12, 31))
    limbs = fields.List(fields.String())
    words = fields.String()


class PixelForm(Schema):
    x_px = DecimalField("px", decimals=3, required=True)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("12,5", "12.5"),
        ("12.5", "12.5"),
        (" 7 ", "7"),
        ("\N{MINUS SIGN}5,7", "-5.7"),
        ("-5.75", "-5.75"),
        ("+4", "4"),
        (",5", "0.5"),
        ("0", "0"),
        ("12.25", "12.25"),
    ],
)
def test_a_typed_number_is_read_as_it_was_meant(typed, value):
    assert parse_decimal(typed) == Decimal(value)


@pytest.mark.parametrize(
    "typed",
    [
        *(
            "1,234",
            "1.234",
            "1.234,5",
            "1,234.5",
            "1_000",
            "1e3",
            "\uff11\uff12",
            "NaN",
            "inf",
            "",
            " ",
        ),
        *("true", "--5", "-", ".", "5,", "5.", "1 000", "0x10", "5 mm", "\u0663", "9" * 10),
    ],
)
def test_what_is_no_plain_number_is_refused_in_words(typed):
    with pytest.raises(ValueError, match=r"[a-z]{4,}.*[.?]$"):
        parse_decimal(typed)


def test_a_comma_before_three_digits_is_asked_about():
    with pytest.raises(ValueError, match=r"1,234 could be read as 1234 or as 1,23; which is it\?"):
        parse_decimal("1,234")


def test_more_digits_are_taken_only_after_a_point_and_where_allowed():
    assert PixelForm().load({"x_px": "512.125"}) == {"x_px": 512.125}
    with pytest.raises(ValidationError):
        PixelForm().load({"x_px": "512,125"})


@pytest.mark.parametrize("given", [True, False, None, float("nan"), float("inf"), [1], {}])
def test_json_numbers_must_be_finite_numbers(given):
    with pytest.raises(Invalid) as caught:
        load_json(TrimForm(), {"heel_trim_mm": given})
    assert list(caught.value.faults) == ["heel_trim_mm"]


def test_json_numbers_are_taken_as_they_are():
    assert load_json(TrimForm(), {"heel_trim_mm": 4, "wedge_deg": 2.125}) == {
        "heel_trim_mm": 4.0,
        "wedge_deg": 2.125,
    }


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("heel_trim_mm", "31", "Between \N{MINUS SIGN}2 and 30 mm."),
        ("heel_trim_mm", "\N{MINUS SIGN}2,1", "Between \N{MINUS SIGN}2 and 30 mm."),
        ("wedge_deg", "-1", "At least 0 °."),
        ("setback_mm", "50,1", "At most 50 mm."),
    ],
)
def test_a_number_out_of_range_says_the_range(name, typed, sentence):
    form = MultiDict({"heel_trim_mm": "5", name: typed})
    with pytest.raises(Invalid) as caught:
        load_form(TrimForm(), form)
    assert caught.value.faults == {name: [sentence]}


def test_the_ends_of_a_range_belong_to_it():
    for typed in ("30", "-2"):
        assert load_form(TrimForm(), MultiDict({"heel_trim_mm": typed}))["heel_trim_mm"] == float(
            typed
        )


def test_a_form_becomes_what_the_schema_makes_of_it():
    form = MultiDict(
        [
            ("csrf_token", "x"),
            ("revision", "4"),
            ("idempotency_key", "k"),
            ("heel_trim_mm", "5,5"),
            ("wedge_deg", " "),
            ("limbs", "LF"),
            ("limbs", "RF"),
            ("fit_on", "2026-11-27"),
        ]
    )
    assert load_form(TrimForm(), form) == {
        "heel_trim_mm": 5.5,
        "limbs": ["LF", "RF"],
        "fit_on": date(2026, 11, 27),
    }


def test_unknown_missing_and_doubled_fields_are_all_named_at_once():
    form = MultiDict([("organisation_id", ""), ("words", "a"), ("words", "b")])
    with pytest.raises(Invalid) as caught:
        load_form(TrimForm(), form)
    assert caught.value.faults == {
        "organisation_id": ["This page has no such field."],
        "words": ["This was sent more than once."],
        "heel_trim_mm": ["Please fill this in."],
    }


def test_faults_deep_in_a_json_body_carry_their_path():
    class Plan(Schema):
        limbs = fields.List(fields.Nested(TrimForm))

    with pytest.raises(Invalid) as caught:
        load_json(Plan(), {"limbs": [{"heel_trim_mm": "5"}, {"heel_trim_mm": "x", "horn": 1}]})
    assert set(caught.value.faults) == {"limbs.1.heel_trim_mm", "limbs.1.horn"}


@pytest.mark.parametrize(
    "typed", ["26/11/2026", "2026-11-31", "20261126", "2026-W48-4", "2026-1-2", "", "tomorrow", 5]
)
def test_a_day_is_written_one_way_only(typed):
    with pytest.raises(ValueError, match=r"day"):
        parse_date(typed)


def test_a_day_outside_its_range_is_refused():
    with pytest.raises(Invalid) as caught:
        load_form(TrimForm(), MultiDict({"heel_trim_mm": "5", "fit_on": "2019-12-31"}))
    assert "fit_on" in caught.value.faults


def test_what_was_typed_comes_back_without_the_secrets():
    form = MultiDict([("csrf_token", "t"), ("password", "p"), ("heel_trim_mm", "5,5x")])
    state = state_of_form(form, Invalid("No.", {"heel_trim_mm": ["Why."]}), secret=["password"])
    assert state.value("heel_trim_mm", 3) == "5,5x"
    assert state.value("wedge_deg", 3) == ""
    assert state.value("password") == ""
    assert state.errors("heel_trim_mm") == ["Why."]
    assert state.errors("wedge_deg") == []
    assert state.values("heel_trim_mm") == ["5,5x"]
    assert "csrf_token" not in state.typed


def test_a_fresh_form_shows_its_defaults():
    assert FormState().value("wedge_deg", 3) == 3
    assert FormState().value("wedge_deg", None) == ""
