"""Identifiers: their form is RFC 9562's version 7, and they sort as they were made."""

from datetime import UTC, datetime, timedelta

from referral.storage.ids import new_id

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def test_an_identifier_is_a_version_7_of_the_rfc():
    made = new_id(NOW)
    assert (made.version, made.variant) == (7, "specified in RFC 4122")
    assert made.int >> 80 == int(NOW.timestamp() * 1000)


def test_identifiers_of_one_moment_sort_as_they_were_made():
    made = [new_id(NOW) for _ in range(500)]
    assert made == sorted(made)
    assert len(set(made)) == 500
    assert {each.version for each in made} == {7}


def test_a_later_moment_sorts_later():
    assert new_id(NOW) < new_id(NOW + timedelta(milliseconds=1))
