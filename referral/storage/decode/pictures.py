"""JPEG and PNG: turned upright once, sixteen bits scaled, limits before decoding."""

import io
import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from referral.core.geometry.scale import no_scale
from referral.errors import Invalid, TooLarge
from referral.storage.decode.film import DecodedFilm

MOST_PIXELS = 60_000_000
KINDS = {"JPEG": "jpeg", "MPO": "jpeg", "PNG": "png"}
DEEP_MODES = frozenset({"I;16", "I;16B", "I;16L", "I"})
ORIENTATION_TAG = 0x0112


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
        frames = int(getattr(image, "n_frames", 1))
        if frames > 1:
            image.seek(0)
            said.append(f"The file holds {frames} pictures; the first is used.")
        pixels = _upright(image, said)
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
        identity_present=("location",) if _has_location(image) else (),
        warnings=tuple(said),
    )


def _opened(data: bytes, name: str) -> Any:  # noqa: ANN401 - an image of whatever plug-in
    try:
        image = Image.open(io.BytesIO(data), formats=("JPEG", "MPO", "PNG"))
    except Image.DecompressionBombError as error:
        raise TooLarge(_too_many()) from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise Invalid(f"{name or 'The file'} is damaged or is no picture.") from error
    if image.width * image.height > MOST_PIXELS:
        raise TooLarge(_too_many())
    return image


def _too_many() -> str:
    return (
        f"The picture has more than {MOST_PIXELS // 1_000_000} million pixels; send a smaller one."
    )


def _upright(image: Any, said: list[str]) -> NDArray[np.uint8]:  # noqa: ANN401 - as above
    try:
        turned = image.getexif().get(ORIENTATION_TAG, 1)
        image.load()
        upright = ImageOps.exif_transpose(image) if turned != 1 else image
        grey = _eight_bits(upright)
    except (OSError, ValueError, SyntaxError, IndexError) as error:
        raise Invalid("The picture is damaged or cut off; send it again.") from error
    if turned != 1:
        said.append("The picture was turned upright as its camera says.")
    return grey


def _eight_bits(image: Any) -> NDArray[np.uint8]:  # noqa: ANN401 - as above
    if image.mode in DEEP_MODES:
        deep = np.asarray(image).astype(np.int64)
        return np.clip(deep >> 8, 0, 255).astype(np.uint8)
    mode = "L" if image.mode in ("1", "L", "LA") else "RGB"
    return np.asarray(image.convert(mode), np.uint8)


def _has_location(image: Any) -> bool:  # noqa: ANN401 - as above
    return bool(image.getexif().get_ifd(0x8825))
