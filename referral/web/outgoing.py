"""Requests to other machines: where they may lead, how long and how much they may take.

Where an address comes out of somebody's file, only hosts that the operator named are asked; ``any``
stands for every public one. A named host may be private, as its name is the operator's word.
No redirect is followed, and no proxy, cookie or packed answer is used.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import Enum
from ipaddress import IPv6Address, ip_address
from socket import AF_UNSPEC, AddressFamily

import aiohttp
from aiohttp.abc import ResolveResult
from aiohttp.resolver import ThreadedResolver
from yarl import URL

ANY = "any"
PORTS: Mapping[str, int] = {"http": 80, "https": 443}
TRANSLATED = ("64:ff9b::", "64:ff9b:1::")
"""Behind these IPv6 prefixes an IPv4 address is reached, whichever. Source: RFC 6052, 8215."""


class NoAnswer(Exception):
    """Nobody was asked, or nobody answered in time; says why."""


class TooLong(Exception):
    """The answer is longer than it may be."""


class Reach(Enum):
    """How far an address may lead."""

    NOWHERE = "nowhere"
    PUBLIC = "to public addresses alone"
    NAMED = "wherever its name leads"


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: with ``data`` it is posted, else fetched. Bytes, and seconds in all."""

    address: str
    largest: int
    longest_s: float
    data: bytes | None = None
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    content_type: str
    data: bytes


def reach_of(url: URL, hosts: Collection[str]) -> Reach:
    """Return how far an address may lead, where ``hosts`` are those that the operator named.

    A name alone stands for the usual ports, ``name:port`` for that one.
    """
    host, usual = url.host, PORTS.get(url.scheme)
    if not host or usual is None or url.user is not None or url.password is not None:
        return Reach.NOWHERE
    is_usual = url.port == usual
    if f"{host}:{url.port}" in hosts or (is_usual and host in hosts):
        return Reach.NAMED
    return Reach.PUBLIC if ANY in hosts and is_usual and _may_be_public(host) else Reach.NOWHERE


def host_of(address: str) -> str:
    """Return an address's host and port, as the operator would name them."""
    url = URL(address)
    return f"{url.host}:{url.port}"


def _may_be_public(host: str) -> bool:
    """Say whether a name, or a public number, stands there: numbers are not looked up."""
    try:
        return is_public(host)
    except ValueError:
        return True


def is_public(number: str) -> bool:
    """Say whether an IP address is one machine's on the open net.

    Raises
    ------
    ValueError
        If it is none.
    """
    address = ip_address(number)
    is_translated = isinstance(address, IPv6Address) and str(address).startswith(TRANSLATED)
    return address.is_global and not address.is_multicast and not is_translated


class PublicAlone(ThreadedResolver):
    """Leads a name to public addresses only; the connection is then made to just these."""

    async def resolve(
        self, host: str, port: int = 0, family: AddressFamily = AF_UNSPEC
    ) -> list[ResolveResult]:
        """Return where a name leads.

        Raises
        ------
        OSError
            If it leads to no public address.
        """
        found = [each for each in await super().resolve(host, port, family) if _leads_out(each)]
        if not found:
            raise OSError(f"{host} leads to no public address")
        return found


def _leads_out(found: ResolveResult) -> bool:
    return is_public(found["host"].partition("%")[0])


async def ask(question: Question, hosts: Collection[str]) -> Answer:
    """Return what a machine answers, if the rule lets it be asked.

    Raises
    ------
    NoAnswer
        If it may not be asked, or does not answer whole and in time.
    TooLong
        If its answer is longer than it may be.
    """
    try:
        url = URL(question.address)
        reach = reach_of(url, hosts)
    except ValueError as error:
        raise NoAnswer("this is no address") from error
    if reach is Reach.NOWHERE:
        raise NoAnswer(f"{url.host} is not among the hosts that may be asked")
    try:
        return await _sent(question, url, reach)
    except (aiohttp.ClientError, OSError) as error:
        raise NoAnswer(f"{url.host} did not answer: {type(error).__name__}") from error


async def _sent(question: Question, url: URL, reach: Reach) -> Answer:
    resolver = PublicAlone() if reach is Reach.PUBLIC else ThreadedResolver()
    method = "GET" if question.data is None else "POST"
    headers = {"Accept-Encoding": "identity", **question.headers}
    async with (
        aiohttp.ClientSession(
            connector=aiohttp.TCPConnector(resolver=resolver),
            timeout=aiohttp.ClientTimeout(total=question.longest_s),
            cookie_jar=aiohttp.DummyCookieJar(),
            auto_decompress=False,
        ) as session,
        session.request(
            method, url, data=question.data, headers=headers, allow_redirects=False
        ) as answer,
    ):
        data = b""
        while len(data) <= question.largest and not answer.content.at_eof():
            data += await answer.content.read(question.largest + 1 - len(data))
        if len(data) > question.largest:
            raise TooLong
        return Answer(answer.status, answer.content_type, data)
