"""Pictures: turned upright once, sixteen bits scaled, limits before decoding."""

import hashlib
import io
import re
import struct
import warnings
import zlib
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile, ImageOps

from referral.core.geometry.scale import no_scale
from referral.errors import Invalid, TooLarge
from referral.storage.decode.film import DecodedFilm

MOST_PIXELS = 60_000_000
KINDS = {
    "JPEG": "jpeg",
    "MPO": "jpeg",
    "PNG": "png",
    "TIFF": "tiff",
    "WEBP": "webp",
    "HEIF": "heic",
}
"""What the library calls a kind of picture, and what we call it."""

OPENED = ("JPEG", "PNG", "TIFF", "WEBP", "HEIF")
"""The only readers that are tried; that of JPEG also opens what holds several."""

DEEP_MODES = frozenset({"I;16", "I;16B", "I;16L", "I"})
CLEAR_MODES = frozenset({"LA", "La", "PA", "RGBA", "RGBa"})
UNBOUNDED_MODE = "F"
ORIENTATION_TAG = 0x0112
TURNED = range(2, 9)
IDENTITY_TAGS = {0x013B: "Artist", 0x8298: "Copyright", 0xA430: "CameraOwnerName",
                 0xA431: "BodySerialNumber", 0xA435: "LensSerialNumber"}  # fmt: skip
GPS_BLOCK, EXIF_BLOCK = 0x8825, 0x8769
TAKEN_TAG, OFFSET_TAG = 0x9003, 0x9011
CAMERA_FORMAT = "%Y:%m:%d %H:%M:%S"
OFFSET = re.compile(r"[+-](0\d|1[0-4]):[0-5]\d")
ANY_FAULT = (
    ArithmeticError, AttributeError, EOFError, LookupError, MemoryError, NotImplementedError,
    OSError, RuntimeError, SyntaxError, TypeError, ValueError, struct.error, zlib.error,
)  # fmt: skip
"""What Pillow raises on broken pictures."""


def read_picture(data: bytes, name: str) -> DecodedFilm:
    """Return a picture upright, with what was done to it; it never has a scale of its own.

    Raises
    ------
    Invalid
        If it cannot be decoded.
    TooLarge
        If it has more pixels than are taken.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image = _opened(data, name)
        said: list[str] = []
        frames = _frames(image)
        if frames > 1:
            said.append(f"The file holds {frames} pictures; the first is used.")
        pixels = _upright(image, said)
        identity = _identity(image)
        turn, claimed = _camera_turn(image), _claimed_taken_at(image)
    return DecodedFilm(
        kind=KINDS[str(image.format)],
        modality=None,
        size_px=(pixels.shape[1], pixels.shape[0]),
        pixels=pixels,
        view=None,
        limb=None,
        orientation=None,
        decoder="pillow",
        frames=frames,
        window=None,
        scale_tags=None,
        scale=no_scale(),
        identity_present=identity,
        warnings=tuple(said),
        sha256=hashlib.sha256(data).hexdigest(),
        camera_turn=turn,
        claimed_taken_at=claimed,
    )


def _opened(data: bytes, name: str) -> Any:  # noqa: ANN401 - an image of whatever plug-in
    from pi_heif import (  # type: ignore[import-untyped] # it has no stubs  # noqa: PLC0415 - a plug-in, loaded on first use
        register_heif_opener,
    )

    register_heif_opener()
    try:
        image = Image.open(io.BytesIO(data), formats=OPENED)
    except Image.DecompressionBombError as error:
        raise TooLarge(_too_many()) from error
    except ANY_FAULT as error:
        raise Invalid(f"{name or 'The file'} is damaged or is no picture.") from error
    if image.width * image.height > MOST_PIXELS:
        raise TooLarge(_too_many())
    return image


def _frames(image: Any) -> int:  # noqa: ANN401 - as above
    try:
        return int(getattr(image, "n_frames", 1))
    except ANY_FAULT:
        return 1


def _too_many() -> str:
    return (
        f"The picture has more than {MOST_PIXELS // 1_000_000} million pixels; send a smaller one."
    )


def _upright(image: Any, said: list[str]) -> NDArray[np.uint8]:  # noqa: ANN401 - as above
    # another library lets damaged pictures through for the whole process; not here
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        image.load()
        turned = _camera_turn(image) in TURNED
        upright = ImageOps.exif_transpose(image) if turned else image
        grey = _eight_bits(upright)
    except ANY_FAULT as error:
        raise Invalid("The picture is damaged or cut off; send it again.") from error
    if turned:
        said.append("The picture was turned upright as its camera says.")
    return grey


def _camera_turn(image: Any) -> int:  # noqa: ANN401 - as above
    turn = image.getexif().get(ORIENTATION_TAG, 1)
    return int(turn) if turn in TURNED else 1


def _claimed_taken_at(image: Any) -> str | None:  # noqa: ANN401 - as above
    """Return the moment of taking by the camera's clock, with its offset if it says one."""
    try:
        said = image.getexif().get_ifd(EXIF_BLOCK)
        moment = datetime.strptime(str(said[TAKEN_TAG]).strip(" \0"), CAMERA_FORMAT)  # noqa: DTZ007 - a camera's clock has no zone
        offset = str(said.get(OFFSET_TAG, "")).strip(" \0")
    except ANY_FAULT:
        return None
    return moment.isoformat() + (offset if OFFSET.fullmatch(offset) else "")


def _eight_bits(image: Any) -> NDArray[np.uint8]:  # noqa: ANN401 - as above
    if image.mode == UNBOUNDED_MODE:
        raise ValueError(UNBOUNDED_MODE)
    if image.mode in DEEP_MODES:
        deep: NDArray[np.int64] = np.asarray(image).astype(np.int64)
        return np.asarray(np.clip(deep >> 8, 0, 255), np.uint8)
    mode = "L" if image.mode in ("1", "L", "LA", "La") else "RGB"
    if image.mode in CLEAR_MODES or "transparency" in image.info:
        over = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", over.size, "white"), over)
    return np.asarray(image.convert(mode), np.uint8)


def _identity(image: Any) -> tuple[str, ...]:  # noqa: ANN401 - as above
    try:
        exif = image.getexif()
        said = {**exif, **exif.get_ifd(EXIF_BLOCK)}
        has_place = bool(exif.get_ifd(GPS_BLOCK))
    except ANY_FAULT:
        return ()
    names = tuple(name for tag, name in IDENTITY_TAGS.items() if said.get(tag))
    return (("GPSInfo", *names)) if has_place else names
