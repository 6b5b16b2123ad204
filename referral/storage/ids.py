"""Identifiers that sort by the time they were made (UUID version 7, RFC 9562)."""

import secrets
from datetime import datetime
from uuid import UUID


def new_id(now: datetime) -> UUID:
    """Return a new UUIDv7: 48 bits of milliseconds, then chance."""
    milliseconds = int(now.timestamp() * 1000) & ((1 << 48) - 1)
    value = (milliseconds << 80) | secrets.randbits(80)
    value = (value & ~(0xF << 76)) | (0x7 << 76)
    value = (value & ~(0x3 << 62)) | (0x2 << 62)
    return UUID(int=value)
