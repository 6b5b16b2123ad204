"""Files by content: a folder of SHA-256 names, written once and never changed."""

import os
import tempfile
from pathlib import Path

from referral.errors import NotFound
from referral.storage.canonical import sha256_hex


class BlobStore:
    """A content-addressed folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def _path(self, digest: str) -> Path:
        return self.folder / digest[:2] / digest

    def put(self, data: bytes) -> str:
        """Store the bytes and return their SHA-256; storing them twice is harmless."""
        digest = sha256_hex(data)
        path = self._path(digest)
        if path.exists():
            return digest
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
        return digest

    def get(self, digest: str) -> bytes:
        """Return the bytes with this SHA-256.

        Raises
        ------
        NotFound
            If the file is not there.
        """
        try:
            return self._path(digest).read_bytes()
        except FileNotFoundError as error:
            raise NotFound("A file of this case is missing from the store.") from error

    def is_whole(self, digest: str) -> bool:
        """Say whether the file is there and still has the content its name says."""
        try:
            return sha256_hex(self._path(digest).read_bytes()) == digest
        except FileNotFoundError:
            return False
