"""One film or photo, decoded and understood: the single way in for every uploaded picture."""

import io
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from referral.core.geometry.frames import ASPECT_TOLERANCE, shown_size
from referral.core.geometry.scale import Scale, ScaleTags
from referral.storage.decode.apart import Answer, in_a_child
from referral.storage.decode.sniff import kind_of

JPEG_QUALITY = 88
SERVED_LONGEST_PX = 2400
"""Longest side of the picture that pages show; landmarks stay in the original's pixels."""


@dataclass(frozen=True, slots=True)
class WindowUsed:
    """The window that made the grey levels, and whether the file brought it."""

    centre: float
    width: float
    origin: str


@dataclass(frozen=True, slots=True)
class DecodedFilm:
    """What is understood of a file. ``pixels`` is uint8, (h, w) or (h, w, 3), right way up.

    ``size_px`` is width, height; ``sha256`` is of the file as it came.
    ``identity_present`` names the identifying fields that hold something, never their values.
    ``camera_turn`` is a photo's turn as its camera says, 1 to 8 as EXIF counts them, and
    ``claimed_taken_at`` the moment by its camera's clock, in ISO 8601, as a claim.
    """

    kind: str
    modality: str | None
    size_px: tuple[int, int]
    pixels: NDArray[np.uint8]
    view: str | None
    limb: str | None
    orientation: str | None
    decoder: str
    frames: int
    window: WindowUsed | None
    scale_tags: ScaleTags | None
    scale: Scale
    identity_present: tuple[str, ...]
    warnings: tuple[str, ...]
    sha256: str
    camera_turn: int | None = None
    claimed_taken_at: str | None = None


def read_film(data: bytes, name: str) -> DecodedFilm:
    """Return what is understood of a file; ``name`` is only ever shown, never trusted.

    Raises
    ------
    Invalid
        If it cannot be read as a film or photo; one sentence says why.
    TooLarge
        If its picture has more pixels than are taken, before any is decoded.
    """
    if kind_of(data) == "dicom":
        from referral.storage.decode.dicom import read_dicom  # noqa: PLC0415 - heavy

        return read_dicom(data)
    from referral.storage.decode.pictures import read_picture  # noqa: PLC0415 - with its plug-ins

    return read_picture(data, name)


@dataclass(frozen=True, slots=True)
class ReadFilm:
    """What the record keeps of a file that was read: its size, what it says, a picture to show.

    ``scale_tags`` are the fields of `ScaleTags`, None for a picture.
    """

    size_px: tuple[int, int]
    described: Mapping[str, Any]
    scale_tags: Mapping[str, Any] | None
    picture_jpeg: bytes


def read_apart(data: bytes, name: str) -> ReadFilm:
    """Return what the record keeps of a file, read in a process of its own under limits.

    Raises
    ------
    Invalid
        If it cannot be read as a film or photo; one sentence says why.
    TooLarge
        If its picture has more pixels than are taken, before any is decoded.
    """
    said, picture = in_a_child(lambda: _kept(read_film(data, name)))
    width, height = said["described"]["size_px"]
    return ReadFilm((width, height), said["described"], said["scale_tags"], picture)


def _kept(film: DecodedFilm) -> Answer:
    tags = None if film.scale_tags is None else asdict(film.scale_tags)
    said = {"described": _for_the_record(film), "scale_tags": tags}
    return said, jpeg_bytes(film, SERVED_LONGEST_PX)


def _for_the_record(film: DecodedFilm) -> dict[str, Any]:
    """Return what is understood of a film, with what only a photo's camera says."""
    if film.camera_turn is None:
        return describe(film)
    said = {"camera_turn": film.camera_turn, "claimed_taken_at": film.claimed_taken_at}
    return {**describe(film), **said}


def describe(film: DecodedFilm) -> dict[str, Any]:
    """Return what is understood of a film as plain values."""
    window = film.window
    return {
        "kind": film.kind,
        "modality": film.modality,
        "size_px": list(film.size_px),
        "view": film.view,
        "limb": film.limb,
        "orientation": film.orientation,
        "decoder": film.decoder,
        "frames": film.frames,
        "window": None
        if window is None
        else {"centre": window.centre, "width": window.width, "from": window.origin},
        "scale": {
            "state": film.scale.state,
            "row_mm": film.scale.row_mm,
            "column_mm": film.scale.column_mm,
            "conflict": film.scale.conflict,
            "sources": [
                {"from": each.origin, "row_mm": each.row_mm, "column_mm": each.column_mm}
                for each in film.scale.sources
            ],
        },
        "identity_present": list(film.identity_present),
        "warnings": [*film.scale.warnings, *film.warnings],
    }


def png_bytes(film: DecodedFilm) -> bytes:
    """Return the eight-bit picture as PNG, with nothing else in it."""
    out = io.BytesIO()
    Image.fromarray(film.pixels).save(out, "PNG")
    return out.getvalue()


def jpeg_bytes(film: DecodedFilm, longest_px: int) -> bytes:
    """Return the picture as JPEG, its longer side at most so many pixels, with no metadata.

    Pixels that are not square are stretched, so that it looks everywhere as it measures.
    """
    wanted = shown_size(film.size_px, film.scale.aspect)
    return _fitted(Image.fromarray(film.pixels), wanted, longest_px)


def in_proportion(jpeg: bytes, wanted: tuple[float, float]) -> bytes:
    """Return a picture of ours as it is, or stretched if it was made before pictures were."""
    image = Image.open(io.BytesIO(jpeg), formats=["JPEG"])
    skew = image.width * wanted[1] / (image.height * wanted[0]) - 1.0
    return jpeg if abs(skew) <= ASPECT_TOLERANCE else _fitted(image, wanted, SERVED_LONGEST_PX)


def _fitted(image: Image.Image, wanted: tuple[float, float], longest_px: int) -> bytes:
    shrink = min(1.0, longest_px / max(wanted))
    width, height = (max(1, round(side * shrink)) for side in wanted)
    if (width, height) != image.size:
        image = image.resize((width, height), Image.Resampling.LANCZOS, reducing_gap=2.0)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()
