"""Identifiers that sort by the time they were made (UUID version 7, RFC 9562)."""

import secrets
from datetime import datetime
from threading import Lock
from uuid import UUID

CHANCE_BITS = 80

_one_at_a_time = Lock()
_latest = [0]


def new_id(now: datetime) -> UUID:
    """Return a new UUIDv7: 48 bits of milliseconds, then chance.

    Two made one after the other in one process sort so even within a millisecond.
    """
    milliseconds = int(now.timestamp() * 1000) & ((1 << 48) - 1)
    value = (milliseconds << CHANCE_BITS) | secrets.randbits(CHANCE_BITS)
    value = (value & ~(0xF << 76)) | (0x7 << 76)
    value = (value & ~(0x3 << 62)) | (0x2 << 62)
    with _one_at_a_time:
        if value >> CHANCE_BITS == _latest[0] >> CHANCE_BITS:
            value = max(value, _latest[0] + 1)
        _latest[0] = value
    return UUID(int=value)
