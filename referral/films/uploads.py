"""What a browser sends of a film: the file, and places on the picture it was shown."""

from collections.abc import Mapping
from typing import Any

from werkzeug.datastructures import FileStorage

from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS
from referral.errors import Invalid
from referral.films.models import Film
from referral.films.queries import MeasuredFilm
from referral.films.scales import beside_the_files
from referral.films.schemas import LARGEST_SKEW
from referral.storage.decode.sniff import kind_of

LONGEST_NAME = 200


def sent_file(file: FileStorage | None) -> tuple[bytes, str]:
    """Return an uploaded file's bytes and its own name.

    Raises
    ------
    Invalid
        If there is no file, or its content is of no kind that is taken; says why.
    """
    if file is None or not file.filename:
        raise Invalid("Choose a file.", {"film": ["Choose the film's file."]})
    data = file.read()
    try:
        kind_of(data)
    except Invalid as error:
        raise Invalid(error.message, {"film": [error.message]}) from error
    return data, file.filename[-LONGEST_NAME:]


def refuse_other_picture(film: Film, given: Mapping[str, Any]) -> None:
    """Return nothing if the picture on screen has the original's proportions.

    Raises
    ------
    Invalid
        If it is another picture: places on it would mean nothing on this film.
    """
    width, height = given["natural_width"], given["natural_height"]
    if not width or not height:
        return
    across, down = film.width_px / width, film.height_px / height
    if abs(across / down - 1) > LARGEST_SKEW:
        raise Invalid(
            "The picture on screen is not this film's; open the page again.",
            {"landmarks": ["The picture's proportions are not the film's."]},
        )


def check_places(film: Film, points: Mapping[str, Any]) -> None:
    """Return nothing if every landmark is one of the film's view and lies on the film.

    Raises
    ------
    Invalid
        If one does not; says which.
    """
    for name, at in points.items():
        if name not in LANDMARKS[film.view]:
            raise _unplaceable("A landmark was sent that this view does not have.")
        several = isinstance(at[0], list)
        if several != (name in SEVERAL_POINTS):
            raise _unplaceable(f"{name}: {'one place' if several else 'several places'} expected.")
        for x, y in at if several else [at]:
            if not (0 <= x <= film.width_px and 0 <= y <= film.height_px):
                raise _unplaceable(f"{name} lies beside the film; place it again.")


def _unplaceable(sentence: str) -> Invalid:
    return Invalid(sentence, {"landmarks": [sentence]})


def marker_given(film: MeasuredFilm, given: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Return the scale that a marker on this form sets, or None if it sets none anew.

    Raises
    ------
    Invalid
        If only its ends or only its length is given.
    """
    ends, length = given["marker_ends"], given["marker_length_mm"]
    if not ends and length is None:
        return None
    if not ends or length is None:
        sentence = "A marker needs both its ends and its true length."
        raise Invalid(sentence, {"marker_length_mm": [sentence]})
    before = film.scale_row.given if film.scale_row else {}
    marker = {"kind": "marker", "length_mm": length, "ends_px": ends, "plane": "sagittal"}
    scale = beside_the_files(marker, before)
    return None if scale == before else scale
