"""The original file of a film or photo as it is handed out.

A DICOM file names owner and animal in many places, also in its maker's own: it goes to the case's
vets alone, as it came. A photo goes to everybody on the case, without place, camera and owner.
"""

import re
from dataclasses import dataclass
from pathlib import PurePath
from urllib.parse import quote

from referral.cases.access import CaseAccess
from referral.core.workflow import Role
from referral.errors import NotAllowed
from referral.films.models import Film
from referral.storage.blobs import BlobStore
from referral.storage.decode.film import SERVED_LONGEST_PX
from referral.storage.decode.stripped import STRIPPERS, CannotStrip, without_metadata

MIME_TYPES = {
    "dicom": "application/dicom",
    "jpeg": "image/jpeg",
    "png": "image/png",
    "webp": "image/webp",
}
SUFFIXES = {"dicom": ".dcm", "jpeg": ".jpg", "png": ".png", "webp": ".webp"}
UNSAFE = re.compile(r"[^\w .,()+=@~-]")
LONGEST_STEM = 80
ONLY_VETS = "A DICOM file names owner and animal: only the case's vets are given it."


@dataclass(frozen=True, slots=True)
class HandedOut:
    """A file as it is downloaded: its bytes, what they are, and the name it is offered under."""

    data: bytes
    mime_type: str
    name: str


def is_stripped(film: Film) -> bool:
    """Say whether a photo's metadata can be taken out with its pixels left as they are coded."""
    return film.described.get("kind") in STRIPPERS and "camera_turn" in film.described


def may_have(access: CaseAccess, film: Film) -> bool:
    """Say whether this person is given the original."""
    return film.described.get("kind") != "dicom" or Role.VET in access.roles


def original_of(access: CaseAccess, film: Film, blobs: BlobStore) -> HandedOut:
    """Return a film's DICOM file as it came, or a photo's file without its metadata.

    A photo that cannot be stripped with its pixels as they are is given as the copy that pages
    show, and its name says so.

    Raises
    ------
    NotAllowed
        If it is a DICOM file and this person is no vet on the case.
    """
    kind = str(film.described.get("kind"))
    if not may_have(access, film):
        raise NotAllowed(ONLY_VETS)
    if kind == "dicom":
        return HandedOut(
            blobs.get(film.original_sha256), MIME_TYPES[kind], offered_name(film, kind)
        )
    if is_stripped(film):
        try:
            turn = int(film.described["camera_turn"])
            data = without_metadata(blobs.get(film.original_sha256), kind, turn)
            return HandedOut(data, MIME_TYPES[kind], offered_name(film, kind))
        except CannotStrip:
            pass  # what cannot be taken apart is given as a copy
    copy = blobs.get(film.picture_sha256)
    return HandedOut(copy, MIME_TYPES["jpeg"], offered_name(film, "jpeg", " (copy)"))


def offered_name(film: Film, kind: str, more: str = "") -> str:
    """Return the original's own name, made safe, with the ending of what is handed out."""
    last = film.original_name.replace("\\", "/").rpartition("/")[2]
    stem = UNSAFE.sub("_", PurePath(last).stem).strip(" .")[:LONGEST_STEM] or str(film.id)
    return f"{stem}{more}{SUFFIXES[kind]}"


def disposition(name: str, fallback: str) -> str:
    """Return the header that offers a download under a name of any letters.

    Source: RFC 6266 section 4.3 and RFC 8187; ``fallback`` is plain ASCII for readers that
    do not know the other form.
    """
    return f"attachment; filename=\"{fallback}\"; filename*=UTF-8''{quote(name, safe='')}"


COPY_SAYS = (
    "Its kind of file cannot be freed of what it says of place and camera without coding it anew: "
    f"this is the copy in JPEG, at most {SERVED_LONGEST_PX} px."
)


def offer_says(film: Film) -> str:
    """Return what a page says beside the download."""
    if film.described.get("kind") == "dicom":
        return "As it came, with the names in it; offered to the case's vets alone."
    if is_stripped(film):
        return "Pixels as they came; what the file says of place, camera and owner is taken out."
    return COPY_SAYS
