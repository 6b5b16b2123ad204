"""A time authority is asked when a signature was made: RFC 3161, with a limit of time and size."""

from datetime import UTC, datetime, timedelta
from typing import Any

from asn1crypto import cms, tsp, x509
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.sign.timestamps import TimeStamper
from pyhanko.sign.timestamps.common_utils import TimestampRequestError
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.generic_cms import validate_tst_signed_data
from pyhanko.sign.validation.status import TimestampSignatureStatus
from pyhanko_certvalidator import ValidationContext

from referral.errors import Invalid
from referral.sheets.material import Material, certificates_in
from referral.sheets.signing import ROOM_FOR_STAMP
from referral.sheets.verify import is_sound, stamp_context
from referral.sheets.wording import moment, named
from referral.web.outgoing import NoAnswer, Question, TooLong, ask, host_of

LONGEST_S = 3.0
LARGEST_TOKEN = ROOM_FOR_STAMP
"""Bytes. A token with its authority's certificates takes 3 to 8 thousand (from memory)."""
FARTHEST = timedelta(minutes=5)
"""How far the authority's clock and ours may be apart before one of them is taken to be wrong."""
FOR_STAMPS = frozenset({"time_stamping"})
QUERY, REPLY = "application/timestamp-query", "application/timestamp-reply"
"""Source: RFC 3161, 3.4."""

NOTHING_SIGNED = "Nothing was signed; what you typed is still here. Try again in a moment"
BROKEN = (ValueError, KeyError, TypeError, AttributeError, PdfError, SignatureValidationError)
"""What the readers raise on bytes that are no answer."""


class InstanceStamper(TimeStamper):
    """Asks one authority for one token, and keeps the time it names, who names it, and by what.

    The address is the operator's setting; nothing that a person sends reaches it. With
    ``root_pem`` only stamps that lead to that root are taken.
    """

    def __init__(self, address: str, now: datetime, root_pem: bytes | None = None) -> None:
        super().__init__()  # type: ignore[no-untyped-call]  # has no types
        self._address = address
        self._now = now
        self._root_pem = root_pem
        self.at: datetime | None = None
        self.by = ""
        self.certificate: x509.Certificate | None = None
        self.material = Material()

    async def async_request_tsa_response(self, req: Any) -> Any:  # noqa: ANN401 - asn1crypto's own
        """Return the authority's answer.

        Raises
        ------
        Invalid
            If none comes in time, or what comes is none.
        """
        try:
            answer = await ask(self._question(req.dump()), {host_of(self._address)})
        except NoAnswer as error:
            raise _refusal("did not answer") from error
        except TooLong as error:
            raise _refusal("answered at too great a length") from error
        if answer.status != 200 or answer.content_type != REPLY:  # noqa: PLR2004 - OK
            raise _refusal(f"answered with {answer.status} {answer.content_type}")
        try:
            return tsp.TimeStampResp.load(answer.data, strict=True)
        except ValueError as error:
            raise _refusal("answered with something that is no time stamp") from error

    def _question(self, query: bytes) -> Question:
        headers = {"Content-Type": QUERY, "Accept": REPLY}
        return Question(self._address, LARGEST_TOKEN, LONGEST_S, query, headers)

    async def async_timestamp(self, message_digest: bytes, md_algorithm: str) -> Any:  # noqa: ANN401 - likewise
        """Return a token for exactly this digest, checked.

        Raises
        ------
        Invalid
            If the authority refuses, or its token is not sound or not of now.
        """
        try:
            token = await super().async_timestamp(message_digest, md_algorithm)
            await self._read(token, message_digest)
        except TimestampRequestError as error:
            raise _refusal("refused the request") from error
        except BROKEN as error:
            raise _refusal("answered with a time stamp that is not sound") from error
        return token

    async def _read(self, token: cms.ContentInfo, digest: bytes) -> None:
        signed = token["content"]
        context = stamp_context(signed) if self._root_pem is None else _by_root(self._root_pem)
        read = await validate_tst_signed_data(signed, context, lambda _name: digest)
        status = TimestampSignatureStatus(**read)
        if not is_sound(status):
            raise _refusal("answered with a time stamp that is not sound")
        if self._root_pem is not None and not status.trusted:
            raise _refusal("answered with a time stamp of somebody else")
        said: datetime = status.timestamp.astimezone(UTC)
        if abs(said - self._now) > FARTHEST:
            raise _refusal(
                f"says {moment(said)} where this instance’s clock says {moment(self._now)}; "
                "one of them is wrong"
            )
        self.at = said
        self.by = named(status.signing_cert.subject)
        self.certificate = status.signing_cert
        sent = tuple(each.chosen for each in signed["certificates"] or ())
        self.material = Material(sent + certificates_in(self._root_pem or b""))


def _by_root(root_pem: bytes) -> ValidationContext:
    """Return what only stamps that lead to these roots are trusted by."""
    return ValidationContext(trust_roots=[*certificates_in(root_pem)], allow_fetching=False)


def _refusal(what: str) -> Invalid:
    return Invalid(
        f"The time authority {what}. {NOTHING_SIGNED}; if it goes on, tell whoever runs this."
    )
