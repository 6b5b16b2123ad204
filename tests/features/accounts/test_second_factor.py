"""Codes of the moment: the published ones are known, each counts once, tries are limited."""

import base64
from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from sqlalchemy import select

from referral.accounts.models import SecondFactor
from referral.accounts.second_factor import (
    begin,
    confirm,
    is_on,
    refuse_code,
    remove,
    secret_in_words,
    secret_to_confirm,
    setting_up_address,
    step_of,
)
from referral.errors import Invalid, NotFound, SettingsFault, WrongState
from tests.factories import NOW, a_cast

KEY = bytes(32)

# RFC 6238, appendix B, SHA-1: the secret is these twenty characters. Codes there have eight
# digits; one of six is the same number without the first two (RFC 4226, 5.3: modulo 10^digits).
SECRET = b"12345678901234567890"
PUBLISHED = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]


@pytest.mark.parametrize(("seconds", "code"), PUBLISHED)
def test_the_published_codes_are_known_at_their_times(seconds, code):
    at = datetime.fromtimestamp(seconds, UTC)
    assert step_of(SECRET, code[2:], at) == seconds // 30
    assert step_of(SECRET, f"{code[2:5]} {code[5:]}", at) == seconds // 30
    for steps, is_near in ((-2, False), (-1, True), (1, True), (2, False)):
        when = at + timedelta(seconds=30 * steps)
        if seconds > 59:  # before that lies no step at all
            assert (step_of(SECRET, code[2:], when) == seconds // 30) is is_near


@pytest.mark.parametrize("code", ["", "28708", "2870822", "28708a", "٢٨٧٠٨٢", "287 083"])
def test_what_is_no_code_or_another_is_of_no_step(code):
    assert step_of(SECRET, code, datetime.fromtimestamp(59, UTC)) is None


def test_a_telephone_reads_the_secret_and_a_person_types_it():
    address = urlsplit(setting_up_address(SECRET, "ann@example.org", "Hill Forge"))
    asked = parse_qs(address.query)
    assert (address.scheme, address.netloc) == ("otpauth", "totp")
    assert base64.b32decode(asked["secret"][0]) == SECRET
    assert (asked["issuer"], asked["digits"], asked["period"]) == (["Hill Forge"], ["6"], ["30"])
    assert base64.b32decode(secret_in_words(SECRET).replace(" ", "")) == SECRET


def code_of(secret, at):
    """Return the code of a moment, worked out as RFC 4226 (5.3) and RFC 6238 (4.2) say."""
    import hashlib
    import hmac

    digest = hmac.digest(secret, (int(at.timestamp()) // 30).to_bytes(8, "big"), hashlib.sha1)
    offset = digest[-1] & 0xF
    number = int.from_bytes(digest[offset : offset + 4], "big") & 0x7FFFFFFF
    return f"{number % 1_000_000:06}"


@pytest.fixture
def person(database):
    with database.transaction() as session:
        return a_cast(session).vet.id


@pytest.fixture
def secret(database, person):
    """A second factor that is on, confirmed at NOW."""
    with database.transaction() as session:
        begin(session, person, KEY, NOW)
        secret = secret_to_confirm(session, person, KEY)
        confirm(session, person, code_of(secret, NOW), KEY, NOW)
    return secret


def refusal(database, person, code, at):
    with database.transaction() as session:
        fault = refuse_code(session, person, code, KEY, at)
    return fault.message if fault else None


def test_it_is_on_once_confirmed_and_the_secret_is_not_shown_again(database, person):
    with database.transaction() as session:
        assert refuse_code(session, person, "", KEY, NOW) is None
        begin(session, person, KEY, NOW)
        first = secret_to_confirm(session, person, KEY)
        begin(session, person, KEY, NOW)
        secret = secret_to_confirm(session, person, KEY)
        assert (len(secret), first == secret) == (20, False)
        assert not is_on(session, person)
        with pytest.raises(Invalid, match="not the code of now"):
            confirm(session, person, code_of(first, NOW), KEY, NOW)
        assert refuse_code(session, person, "", KEY, NOW) is None
        confirm(session, person, code_of(secret, NOW), KEY, NOW)
        assert is_on(session, person)
        assert secret_to_confirm(session, person, KEY) is None
        with pytest.raises(WrongState):
            begin(session, person, KEY, NOW)
        with pytest.raises(WrongState):
            confirm(session, person, code_of(secret, NOW), KEY, NOW)


def test_the_secret_lies_encrypted_and_opens_only_with_the_instance_key(database, person, secret):
    with database.transaction() as session:
        row = session.scalars(select(SecondFactor)).one()
        kept = base64.b64decode(row.wrapped_secret)
        assert secret not in kept
        with pytest.raises(SettingsFault):
            refuse_code(session, person, "123456", b"k" * 32, NOW)


def test_each_code_counts_once(database, person, secret):
    again = "This is not the code of now, or it was used already; type the next one."
    assert refusal(database, person, code_of(secret, NOW), NOW) == again  # confirmed with it
    later = NOW + timedelta(seconds=30)
    assert refusal(database, person, "", later) == "Type the code that your telephone shows."
    assert refusal(database, person, code_of(secret, later), later) is None
    assert refusal(database, person, code_of(secret, later), later) == again
    assert refusal(database, person, code_of(secret, NOW), later) == again  # an older one
    last = later + timedelta(seconds=30)
    assert refusal(database, person, code_of(secret, last), last) is None


def test_wrong_codes_make_even_the_right_one_wait_and_longer_each_time(database, person, secret):
    wrong = "000000" if code_of(secret, NOW) != "000000" else "000001"
    at = NOW + timedelta(minutes=1)
    for minutes in (15, 30):
        for _ in range(5):
            assert "not the code" in refusal(database, person, wrong, at)
        for waited in (timedelta(), timedelta(minutes=minutes, seconds=-1)):
            right = code_of(secret, at + waited)
            assert "Too many codes were wrong" in refusal(database, person, right, at + waited)
        assert f"Wait {minutes} minutes" in refusal(database, person, wrong, at)
        at += timedelta(minutes=minutes)
    assert refusal(database, person, code_of(secret, at), at) is None
    at += timedelta(minutes=1)
    for _ in range(4):  # a right one forgives the wrong ones before it
        refusal(database, person, wrong, at)
    assert refusal(database, person, code_of(secret, at), at) is None


def test_taken_off_its_secret_is_gone(database, person, secret):
    with database.transaction() as session:
        remove(session, person, NOW)
        assert not is_on(session, person)
        assert session.scalars(select(SecondFactor.wrapped_secret)).all() == [None]
        with pytest.raises(NotFound):
            remove(session, person, NOW)
        begin(session, person, KEY, NOW)
        assert secret_to_confirm(session, person, KEY) not in (None, secret)
