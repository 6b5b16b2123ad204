"""Whether certificates were withdrawn: asked where they themselves say, within the operator's rule.

First what is at hand, then the answers (OCSP) that a certificate names, then the lists (CRL).
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Iterable
from datetime import datetime
from pathlib import Path

from asn1crypto import ocsp, x509
from pyhanko_certvalidator.authority import AuthorityWithCert
from pyhanko_certvalidator.errors import OCSPFetchError, OCSPValidationError
from pyhanko_certvalidator.fetchers.common_utils import (
    enumerate_delivery_point_urls,
    format_ocsp_request,
    process_ocsp_response_data,
)
from pyhanko_certvalidator.util import get_ocsp_urls, get_relevant_crl_dps

from referral.sheets.drafts import Lookups
from referral.sheets.material import (
    Material,
    Standing,
    Verdict,
    certificates_in,
    links_of,
    list_in,
    standing_of,
)
from referral.web.outgoing import NoAnswer, Question, TooLong, ask

log = logging.getLogger(__name__)

LONGEST_S = 3.0
LARGEST_ANSWER = 20 * 1024
LARGEST_LIST = 4 * 1024 * 1024
"""Bytes. Lists of large issuers have a megabyte or two (common practice, no source)."""
MOST_ADDRESSES = 3
"""Of one kind, in one certificate."""
ASK_OCSP = {"Content-Type": "application/ocsp-request", "Accept": "application/ocsp-response"}
ASK_CRL = {"Accept": "application/pkix-crl"}
"""Source: RFC 6960, appendix A; RFC 5280, 4.2.1.13."""

Link = tuple[x509.Certificate, x509.Certificate]


def at_hand(lookups: Lookups) -> Material:
    """Return the certificates and lists in the operator's folder, without what is neither."""
    folder = lookups.folder
    files = sorted(each for each in folder.iterdir() if each.is_file()) if folder else ()
    return sum(map(_read, files), Material())


def _read(file: Path) -> Material:
    try:
        data = file.read_bytes()
        if b"-----BEGIN CERTIFICATE-----" in data:
            return Material(certificates=certificates_in(data))
        return Material(lists=(list_in(data),))
    except (OSError, ValueError) as error:
        log.warning("proofs_dir: %s cannot be used: %s", file.name, error)
        return Material()


async def looked_up(
    certificate: x509.Certificate,
    known: Material,
    at: datetime,
    lookups: Lookups,
    uses: frozenset[str] = frozenset(),
) -> tuple[Standing, Material]:
    """Return how a certificate stands, and everything that was found out about it."""
    held = known + at_hand(lookups)
    standing = await standing_of(certificate, held, at, uses)
    for way in (_answer, _list):
        if standing.verdict is Verdict.UNKNOWN:
            links = tuple(links_of(certificate, held.certificates))
            held += await _asked(way, links, lookups.hosts)
            standing = await standing_of(certificate, held, at, uses)
    return standing, held


Way = Callable[[Link, tuple[str, ...]], Awaitable[Material]]


async def _asked(way: Way, links: Iterable[Link], hosts: tuple[str, ...]) -> Material:
    asking = [asyncio.ensure_future(way(link, hosts)) for link in links]
    done, late = await asyncio.wait(asking, timeout=LONGEST_S) if asking else (set(), set())
    for each in late:
        each.cancel()
    return sum((each.result() for each in asking if each in done), Material())


async def _answer(link: Link, hosts: tuple[str, ...]) -> Material:
    certificate, issuer = link
    request = format_ocsp_request(
        certificate, AuthorityWithCert(issuer), certid_hash_algo="sha1", request_nonces=True
    )
    for address in get_ocsp_urls(certificate)[:MOST_ADDRESSES]:
        question = Question(address, LARGEST_ANSWER, LONGEST_S, request.dump(), ASK_OCSP)
        data = await _data(question, hosts)
        answer = None if data is None else _read_answer(data, request, address)
        if answer is not None:
            return Material(answers=(answer,))
    return Material()


def _read_answer(data: bytes, request: ocsp.OCSPRequest, address: str) -> ocsp.OCSPResponse | None:
    try:
        return process_ocsp_response_data(data, ocsp_request=request, ocsp_url=address)
    except (OCSPFetchError, OCSPValidationError, ValueError) as error:
        log.warning("What answered for a certificate is no answer: %s", error)
        return None


async def _list(link: Link, hosts: tuple[str, ...]) -> Material:
    points = get_relevant_crl_dps(link[0], use_deltas=False)
    addresses = [each for point in points for each in enumerate_delivery_point_urls(point)]
    for address in addresses[:MOST_ADDRESSES]:
        data = await _data(Question(address, LARGEST_LIST, LONGEST_S, None, ASK_CRL), hosts)
        try:
            if data is not None:
                return Material(lists=(list_in(data),))
        except ValueError as error:
            log.warning("What answered for a certificate is no list: %s", error)
    return Material()


async def _data(question: Question, hosts: tuple[str, ...]) -> bytes | None:
    """Return what is answered, or None with a line in the log."""
    try:
        answer = await ask(question, hosts)
    except (NoAnswer, TooLong) as error:
        log.warning("Whether a certificate was withdrawn could not be asked: %s", error)
        return None
    return answer.data if answer.status == 200 else None  # noqa: PLR2004 - OK
