"""A sheet before it was signed: its bytes are the beginning of the signed file's."""

from collections.abc import Iterable, Iterator

from referral.errors import NotFound
from referral.storage.blobs import BlobStore
from referral.storage.canonical import sha256_hex

END = b"%%EOF"
LINE_ENDS = (b"", b"\n", b"\r\n", b"\r")


def drafts_within(blobs: BlobStore, digests: Iterable[str]) -> tuple[str, ...]:
    """Return which beginnings of these files are kept as files of their own."""
    known = set(digests)
    found = {
        digest
        for each in sorted(known)
        for digest in map(sha256_hex, _beginnings(blobs, each))
        if digest not in known and blobs.size_of(digest) is not None
    }
    return tuple(sorted(found))


def _beginnings(blobs: BlobStore, digest: str) -> Iterator[bytes]:
    """Yield a file up to each place at which it could have ended before more was added."""
    try:
        data = blobs.get(digest)
    except NotFound:
        return
    at = data.find(END)
    while at >= 0:
        for line_end in LINE_ENDS:
            end = at + len(END) + len(line_end)
            if data[at + len(END) : end] == line_end and end < len(data):
                yield data[:end]
        at = data.find(END, at + 1)
