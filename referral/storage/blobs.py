"""Files by content: a folder of SHA-256 names, written once and never changed.

A file is taken away only when nothing has been put under its name for a while: whoever puts it
marks it as new, also where it is there already, so that a row that is about to name it finds it.
"""

import os
import tempfile
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path

from referral.errors import NotFound
from referral.storage.canonical import sha256_hex

DIGEST_CHARACTERS = 64
GOING = ".going"
"""What stands behind the name of a file that is being taken away."""


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
        with suppress(FileNotFoundError):
            os.utime(path)
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

    def size_of(self, digest: str) -> int | None:
        """Return how many bytes the file has, or None if it is not there."""
        try:
            return self._path(digest).stat().st_size
        except FileNotFoundError:
            return None

    def names(self) -> frozenset[str]:
        """Return the SHA-256 of every file that is there."""
        return frozenset(path.name for path in self.folder.glob("??/*") if _is_digest(path.name))

    def sweep(self, wanted: Collection[str], moment: float) -> int:
        """Delete every file that nobody wants and nobody put since a moment; return how many.

        What was half written goes too; what was half taken away is brought back if it is wanted.
        """
        return sum(self._swept(path, wanted, moment) for path in sorted(self.folder.glob("??/*")))

    def _swept(self, path: Path, wanted: Collection[str], moment: float) -> bool:
        whole = path.with_name(path.name.removesuffix(GOING))
        with suppress(FileNotFoundError):
            if whole.name in wanted:
                if path != whole:
                    path.replace(whole)
            elif path.stat().st_mtime < moment:
                return self._taken_away(path, whole, moment)
        return False

    def _taken_away(self, path: Path, whole: Path, moment: float) -> bool:
        """Delete a file under another name, so that whoever puts it meanwhile writes it anew."""
        going = whole.with_name(f"{whole.name}{GOING}")
        path.replace(going)
        if going.stat().st_mtime < moment:
            going.unlink()
            return True
        going.replace(whole)  # somebody put it between the look and the new name
        return False


def _is_digest(name: str) -> bool:
    return len(name) == DIGEST_CHARACTERS and "." not in name
