"""Words that no sheet could print are refused when they are sent, before the record has them.

Signs that turn text around: Unicode Standard Annex 9, table 4. Composing letters: Annex 15.
That the sentence names sign, place and remedy is common practice, no source.
"""

import html
import unicodedata

import pytest
from marshmallow import Schema, fields
from sqlalchemy import select
from werkzeug.datastructures import MultiDict

from referral.accounts.models import Organisation, Person
from referral.accounts.queries import find_organisation_by_name
from referral.accounts.service import AddPerson, add_organisation, add_person
from referral.cases.models import Problem
from referral.errors import Invalid
from referral.horses.models import Horse
from referral.web.fonts import printing_faults
from referral.web.forms import Unprinted, load_form, load_json
from tests.factories import NOW, PASSWORD, PASSWORDS
from tests.web.test_horses_desk import recorded
from tests.web.test_windows import NUMBERS, ask_json
from tests.web.yard import PLAN, a_yard, rows_in, words_of

HORSE_FACE = "\U0001f434"
NAMES = "Zoë Ångström Łódź Ωμέγα Привет Щёголь Nguyễn Đặng Škoda Ő’Hara ½ ° ± − ≤"


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


class SaidForm(Schema):
    words = fields.String()
    places = fields.List(fields.String())
    email = fields.Email()
    password = Unprinted()


def test_the_sentence_names_the_sign_its_place_and_what_to_do():
    assert printing_faults("Sore on the left 😀 since May") == [
        "“😀” (U+1F600) after “Sore on the left” cannot be printed on a sheet: write it in words."
    ]
    assert printing_faults("\n😀") == [
        "“😀” (U+1F600) at the beginning cannot be printed on a sheet: write it in words."
    ]
    (said,) = printing_faults("a first line that is long and then some more of it\n\tand 蹄葉 😀")
    assert said.startswith("“蹄” (U+8E44) after “g and then some more of it and” cannot")
    assert said.endswith("The same goes for “葉” (U+8449), “😀” (U+1F600).")
    (said,) = printing_faults("一丁七万丈三龥")
    assert said.endswith("“丈” (U+4E08), “三” (U+4E09) and 1 more.")


TURNING = (*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C)
UNSEEN = (0x07, 0x0C, 0x7F, 0x85, 0x200D, 0xD800, 0xE000, 0xFE0F)


@pytest.mark.parametrize("code", [*TURNING, *UNSEEN])
def test_what_shows_as_nothing_or_turns_text_is_refused_by_its_number_alone(code):
    with pytest.raises(Invalid) as caught:
        load_form(SaidForm(), MultiDict({"words": f"5 w{chr(code)}eeks"}))
    named = f"A sign that does not show (U+{code:04X}) after “5 w”"
    assert caught.value.faults == {"words": [f"{named} cannot be printed on a sheet: delete it."]}
    assert chr(code) not in str(caught.value.faults)


@pytest.mark.parametrize("code", [0xAD, 0x200B, 0x2060, 0xFEFF])
def test_what_comes_along_when_text_is_copied_is_left_out(code):
    said = load_form(SaidForm(), MultiDict({"words": f"5 w{chr(code)}eeks"}))
    assert said["words"] == "5 weeks"
    assert load_form(SaidForm(), MultiDict({"words": chr(code)})) == {}


@pytest.mark.parametrize("form", ["NFC", "NFD"])
def test_ordinary_names_pass_and_are_kept_composed_however_they_were_typed(form):
    typed = unicodedata.normalize(form, NAMES)
    said = MultiDict([("words", typed), ("places", typed), ("places", "b\r\nc\td")])
    kept = {"words": NAMES, "places": [NAMES, "b\r\nc\td"]}
    assert load_form(SaidForm(), said) == kept
    assert load_json(SaidForm(), {"words": typed}) == {"words": NAMES}


def test_a_password_and_an_address_are_taken_sign_by_sign():
    typed = {"password": f"cafe\u0301 {HORSE_FACE}", "email": "zoe@example.org"}
    assert load_form(SaidForm(), MultiDict(typed)) == typed
    assert load_json(SaidForm(), typed) == typed
    with pytest.raises(Invalid) as caught:
        load_form(SaidForm(), MultiDict({"email": f"{HORSE_FACE} zoe"}))
    assert caught.value.faults == {"email": ["Not a valid email address."]}


def test_every_field_at_fault_is_named_and_those_that_are_read_elsewhere_too():
    said = MultiDict([("words", "a 😀"), ("places", "b"), ("places", "蹄"), ("LF-reason", "😀")])
    with pytest.raises(Invalid) as caught:
        load_form(SaidForm(), said, also=["LF-reason"])
    assert set(caught.value.faults) == {"words", "places", "LF-reason"}
    with pytest.raises(Invalid) as caught:
        load_json(SaidForm(), {"words": "\ud800"})
    assert set(caught.value.faults) == {"words"}
    with pytest.raises(Invalid):
        load_json(SaidForm(), ["words"])


SECRET = frozenset({"password", "present", "passphrase", "code", "next", "email"})


def schemas(of=Schema):
    for each in of.__subclasses__():
        yield each
        yield from schemas(each)


def test_all_that_is_taken_sign_by_sign_is_a_secret_or_an_address(app):
    mine = [each for each in schemas() if each.__module__.startswith("referral.")]
    exact = {
        (form.__name__, name)
        for form in mine
        for name, asked in form._declared_fields.items()
        if isinstance(asked, Unprinted)
    }
    named = {
        (form.__name__, name)
        for form in mine
        for name, asked in form._declared_fields.items()
        if name in SECRET and type(asked) in (fields.String, Unprinted)
    }
    assert exact == named
    assert ("SignForm", "password") in exact


FIELDS = [
    ("vet", "/problems", "words", {"limb": "LF", "condition": "abscess", "certainty": "confirmed"}),
    ("vet", "/observations", "words", {"about": "landing"}),
    ("farrier", "/plans", "LF-packing", PLAN),
    ("farrier", "/plans", "words", PLAN),
]


@pytest.mark.parametrize(("who", "path", "field", "more"), FIELDS)
def test_a_form_is_refused_beside_the_field_and_keeps_everything_typed(
    yard, who, path, field, more
):
    if path == "/plans":
        yard.refer()
    before = yard.rows()
    typed = f"Sore on the left {HORSE_FACE}, since May"
    answer = yard.send(who, f"{path}/new", path, {**more, field: typed})
    assert answer.status_code == 422
    beside = answer.text.partition(f'id="{field}-fault"')[2].partition("</p>")[0]
    assert f"“{HORSE_FACE}” (U+1F434) after “Sore on the left”" in html.unescape(beside)
    assert typed in html.unescape(answer.text)
    assert yard.rows() == before


def test_the_preview_and_the_window_say_so_too(yard):
    yard.refer()
    limb = {**NUMBERS["limbs"]["LF"], "packing": f"Tow {HORSE_FACE}"}
    answer = ask_json(yard, limbs={"LF": limb})
    assert answer.status_code == 422
    assert "U+1F434" in str(answer.json)


def test_a_name_typed_with_its_accents_apart_is_kept_composed(yard):
    name = "Bře\u0301za"
    assert recorded(yard, name=unicodedata.normalize("NFD", name)).status_code == 303
    with yard.database.reading() as session:
        assert session.scalars(select(Horse.name).where(Horse.name.like("B%"))).all() == [
            "Bř\xe9za"
        ]
    refused = recorded(yard, name=f"Thistle {HORSE_FACE}")
    assert refused.status_code == 422
    assert "after “Thistle” cannot be printed" in words_of(refused)


def test_words_of_before_do_not_stop_what_comes_after(yard):
    """The record may hold such words from before: its pages show them, its moves go on."""
    yard.refer()
    with yard.database.transaction() as session:
        problem = session.scalars(select(Problem)).one()
        problem.words = f"Sore {HORSE_FACE}"
    assert f"Sore {HORSE_FACE}" in words_of(yard.open("farrier"))
    assert yard.submit()


@pytest.mark.parametrize(
    ("at", "changed"),
    [
        ("name", {"name": f"Ann {HORSE_FACE}"}),
        ("name", {"name": "Ann \ud800"}),
        ("registration", {"registration_number": "1 \u202e2"}),
        ("phone", {"phone": f"01 {HORSE_FACE}"}),
    ],
)
def test_nobody_is_added_by_what_no_sheet_can_print(database, at, changed):
    said = {"name": "Ann", "email": "ann@example.org", "role": "owner", "password": PASSWORD}
    before = rows_in(database)
    refused = pytest.raises(Invalid, match="cannot be printed on a sheet")
    with refused as caught, database.transaction() as session:
        add_person(session, PASSWORDS, AddPerson(**{**said, **changed}), NOW)
    assert set(caught.value.faults) == {at}
    assert rows_in(database) == before


def test_an_organisation_is_one_however_its_name_is_typed(database):
    apart = unicodedata.normalize("NFD", "Praxis  Köhler")
    with database.transaction() as session:
        made = add_organisation(session, apart, "practice", NOW)
        ann = AddPerson(apart, "ann@example.org", "vet", made.id, PASSWORD, "A\u0301 1")
        add_person(session, PASSWORDS, ann, NOW)
        assert find_organisation_by_name(session, apart) is made
        with pytest.raises(Invalid, match="U\\+1F434"):
            add_organisation(session, f"Forge {HORSE_FACE}", "forge", NOW)
    with database.reading() as session:
        assert session.scalars(select(Organisation.name)).all() == ["Praxis Köhler"]
        one = session.scalars(select(Person)).one()
        assert (one.name, one.registration_number) == ("Praxis Köhler", "Á 1")
