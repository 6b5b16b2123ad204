"""Passwords: what is accepted, how it is kept, and how it is checked."""

import secrets
import threading
import unicodedata
from dataclasses import dataclass

import argon2

from referral.errors import Invalid

SHORTEST = 15
"""Characters. Source: OWASP ASVS 5.0, 6.2.9 for a password without a second factor."""
LONGEST = 200
FEWEST_DIFFERENT = 5
AT_ONCE = 2
"""Hashes computed at the same time: each takes 19 MiB and a core."""

TOO_COMMON = frozenset(
    {
        "passwordpassword",
        "password123456789",
        "passwordpassword1",
        "123456789012345",
        "1234567890123456",
        "12345678901234567890",
        "012345678901234",
        "qwertyuiopasdfgh",
        "qwertyuiop12345",
        "qwertyuiop123456",
        "qwertyuiopasdfghjkl",
        "1qaz2wsx3edc4rfv",
        "abcdefghijklmno",
        "abcdefghijklmnopqrstuvwxyz",
        "iloveyouiloveyou",
        "letmeinletmeinletmein",
        "correcthorsebatterystaple",
        "correct horse battery staple",
        "changemechangeme",
        "adminadminadmin",
        "administrator123",
        "welcomewelcome1",
        "thisisapassword",
        "this is a password",
        "mypasswordismypassword",
        "farrierfarrier1",
        "veterinarysurgeon",
    }
)


@dataclass(frozen=True, slots=True)
class HashCost:
    """What one argon2id hash costs: memory in KiB, passes, lanes."""

    memory_kib: int = 19 * 1024
    passes: int = 2
    lanes: int = 1


FULL_COST = HashCost()
"""Source: OWASP Password Storage Cheat Sheet, argon2id, m = 19 MiB, t = 2, p = 1."""
LEAST_COST = HashCost(memory_kib=8, passes=1)
"""For tests only."""


class Passwords:
    """Hashes and checks passwords, a few at a time."""

    def __init__(self, cost: HashCost = FULL_COST, at_once: int = AT_ONCE) -> None:
        self._hasher = argon2.PasswordHasher(
            time_cost=cost.passes, memory_cost=cost.memory_kib, parallelism=cost.lanes
        )
        self._places = threading.BoundedSemaphore(at_once)
        self._nobodys = self.hash(secrets.token_urlsafe())

    def hash(self, password: str) -> str:
        """Return the argon2id hash of a password."""
        with self._places:
            return self._hasher.hash(_normal(password))

    def matches(self, password_hash: str | None, password: str) -> bool:
        """Say whether the password is the one that was hashed.

        Without a hash (nobody of that name) the same work is done against a
        hash that nothing matches, so that the time taken tells nothing.
        """
        with self._places:
            try:
                self._hasher.verify(password_hash or self._nobodys, _normal(password)[:LONGEST])
            except argon2.exceptions.VerificationError:
                return False
        return password_hash is not None


def refuse_weak(password: str, *, name: str, email: str) -> None:
    """Accept a password that is long enough and not easily guessed.

    Raises
    ------
    Invalid
        If it is too short, too long, too common, or made of the person's own name.
    """
    fault = _weakness(_normal(password), name, email)
    if fault:
        raise Invalid(fault, {"password": [fault]})


def _weakness(password: str, name: str, email: str) -> str:
    plain = password.casefold()
    own = {name.casefold(), email.casefold(), email.split("@", 1)[0].casefold()}
    left = plain
    for word in sorted((each for each in own if each), key=len, reverse=True):
        left = left.replace(word, "")
    if len(password) < SHORTEST:
        return f"The password needs at least {SHORTEST} characters; a few words do well."
    if len(password) > LONGEST:
        return f"The password may have at most {LONGEST} characters."
    if plain in TOO_COMMON or len(set(plain)) < FEWEST_DIFFERENT:
        return "This password is among the first that are tried; choose another."
    if len(left) < SHORTEST // 2:
        return "The password must not be made of your own name or email."
    return ""


def _normal(password: str) -> str:
    return unicodedata.normalize("NFC", password)
