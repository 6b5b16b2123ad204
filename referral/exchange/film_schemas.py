"""The film of a worksheet: its scale, its landmarks, and what is said of it."""

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, post_load, validates_schema

from referral.core.errors import BadScale
from referral.core.geometry.scale import Scale, no_scale
from referral.core.measure.checks import MOST_POINTS
from referral.core.measure.film import DEFAULT_LANDMARK_SD_MM, GREATEST_SD_MM, Film
from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS
from referral.core.measure.views import VIEWS
from referral.exchange.faults import instead_of, shown
from referral.exchange.fields import (
    Day,
    Number,
    Numbers,
    Points,
    StrictField,
    StrictSchema,
    Word,
    YesNo,
    read_items,
    read_list,
    read_part,
    read_point,
    refuse,
)
from referral.films.scales import scale_from_given

FARTHEST_MM = 5000.0
SMALLEST_PIXEL_MM, LARGEST_PIXEL_MM = 0.001, 10.0
MOST_PIXELS_A_SIDE = 50_000
NOT_FROM_PIXELS = "points in millimetres carry their own scale"


def _distance(**more: Any) -> Number:  # noqa: ANN401 - keywords of the field
    return Number(0, FARTHEST_MM, "mm", load_default=None, **more)


def _pixel(**more: Any) -> Number:  # noqa: ANN401 - keywords of the field
    return Number(SMALLEST_PIXEL_MM, LARGEST_PIXEL_MM, "mm", required=True, **more)


def _aspect() -> Numbers:
    wanted = "two positive numbers, [vertical, horizontal], are wanted"
    return Numbers(Number(0.001, 1000), (2, 2), wanted, load_default=(1.0, 1.0))


class MarkerScale(StrictSchema):
    """A rod of known length on the film."""

    kind = Word(["marker"], required=True)
    length_mm = Number(5, 1000, "mm", required=True)
    ends_px = Points((2, 2), "the two ends, [[x, y], [x, y]], are wanted", required=True)
    plane = Word(["sagittal", "tube_side", "plate_side", "unknown"], load_default="sagittal")
    offset_mm = _distance(allow_none=True)
    sid_mm = _distance(allow_none=True)
    oid_mm = _distance(allow_none=True)
    pixel_aspect = _aspect()

    @validates_schema
    def check_plane(self, data: Mapping[str, Any], **_: Any) -> None:  # noqa: ANN401 - the library's signature
        """Refuse a rod off the middle of the foot whose place is not said."""
        if data["plane"] not in ("tube_side", "plate_side"):
            return
        wanted = f"a marker on the {data['plane']} needs offset_mm, sid_mm and oid_mm"
        missing = [key for key in ("offset_mm", "sid_mm", "oid_mm") if data[key] is None]
        if missing:
            raise ValidationError({key: [f"it is missing; {wanted}"] for key in missing})


class SpacingScale(StrictSchema):
    """A spacing of pixels at the foot, as stated."""

    kind = Word(["spacing"], required=True)
    row_mm = _pixel()
    column_mm = _pixel()
    state = Word(["corrected", "estimated", "none"], required=True)
    calibration = Word(["fiducial", "geometry", "unsaid"], load_default=None, allow_none=True)


class DetectorScale(StrictSchema):
    """The spacing of the plate's pixels, and what is known of the magnification."""

    kind = Word(["detector"], required=True)
    row_mm = _pixel()
    column_mm = _pixel()
    magnification = Number(1, 10, load_default=None, allow_none=True)
    sid_mm = _distance(allow_none=True)
    oid_mm = _distance(allow_none=True)

    @validates_schema
    def check_distances(self, data: Mapping[str, Any], **_: Any) -> None:  # noqa: ANN401 - the library's signature
        """Refuse one of two distances that only tell something together."""
        missing = [key for key in ("sid_mm", "oid_mm") if data[key] is None]
        if len(missing) == 1:
            raise ValidationError("it is missing; sid_mm and oid_mm go together", missing[0])


class NoScale(StrictSchema):
    """Said outright: there is none."""

    kind = Word(["none"], required=True)
    pixel_aspect = _aspect()


KINDS = {"marker": MarkerScale, "spacing": SpacingScale, "detector": DetectorScale, "none": NoScale}


class ScaleField(StrictField):
    """One of the four kinds of scale, each with keys of its own."""

    def __init__(self, **more: Any) -> None:  # noqa: ANN401 - the library's own keywords
        super().__init__(
            "an object with a kind (marker, spacing, detector or none) is wanted", **more
        )

    def read(self, value: Any) -> Scale:  # noqa: ANN401 - any JSON value
        """Return the scale."""
        if not isinstance(value, dict):
            refuse(f"{shown(value)} is not an object", self.wanted)
        kind = value.get("kind")
        if kind is None:
            raise ValidationError({"kind": [f"it is missing; {Word(KINDS).wanted}"]})
        schema = KINDS.get(kind) if isinstance(kind, str) else None
        if schema is None:
            raise ValidationError(
                {"kind": [f"{shown(kind)} is not known here; {instead_of(kind, KINDS)}"]}
            )
        try:
            return scale_from_given(read_part(schema(), value, self.wanted))
        except BadScale as error:
            at = error.at.rpartition(".")[2] or "kind"
            raise ValidationError({at: [error.message]}) from error


class LandmarksField(StrictField):
    """Landmarks by name; which names there are is for the view to say."""

    def __init__(self, **more: Any) -> None:  # noqa: ANN401 - the library's own keywords
        super().__init__('an object such as {"p3_tip": [x, y]} is wanted', **more)

    def read(self, value: Any) -> dict[str, Any]:  # noqa: ANN401 - any JSON value
        """Return the landmarks, each one point or a row of points."""
        if not isinstance(value, dict):
            refuse(f"{shown(value)} is not an object", self.wanted)
        if not value:
            refuse("it is empty", self.wanted)
        return read_items(value, _placed)


def _placed(name: str, value: object) -> Any:  # noqa: ANN401 - a point or a row of them
    if name in SEVERAL_POINTS:
        wanted = f"1 to {MOST_POINTS} points, [[x, y], [x, y], [x, y]], are wanted"
        return read_list(value, read_point, (1, MOST_POINTS), wanted)
    return read_point(value)


class FilmSchema(StrictSchema):
    """A film with its landmarks."""

    view = Word(VIEWS, load_default="lateromedial")
    size_px = Numbers(
        Number(1, MOST_PIXELS_A_SIDE, "pixels", whole=True),
        (2, 2),
        "width and height in pixels, [w, h], are wanted",
        load_default=None,
    )
    scale = ScaleField(load_default=None)
    landmarks_px = LandmarksField(load_default=None)
    landmarks_mm = LandmarksField(load_default=None)
    landmark_sd_mm = Number(0, GREATEST_SD_MM, "mm", load_default=None)
    shod = Word(["no", "yes", "unknown"], load_default="no")
    trim = Word(["before", "after", "unknown"], load_default="before")
    taken_on = Day(load_default=None, allow_none=True)
    condyles_superimposed = YesNo(load_default=None, allow_none=True)

    @validates_schema
    def check_names(self, data: Mapping[str, Any], **_: Any) -> None:  # noqa: ANN401 - the library's signature
        """Refuse landmarks that the view does not have."""
        known = LANDMARKS[data["view"]]
        faults = {
            key: {
                name: [f"a {data['view']} film has no such landmark; {instead_of(name, known)}"]
                for name in data[key] or {}
                if name not in known
            }
            for key in ("landmarks_px", "landmarks_mm")
        }
        found = {key: inner for key, inner in faults.items() if inner}
        if found:
            raise ValidationError(found)

    @validates_schema
    def check_frame(self, data: Mapping[str, Any], **_: Any) -> None:  # noqa: ANN401 - the library's signature
        """Refuse what does not go with points in pixels, or in millimetres."""
        if data["landmarks_px"] is None and data["landmarks_mm"] is None:
            raise ValidationError("it has no landmarks; landmarks_px or landmarks_mm is wanted")
        if data["landmarks_px"] is not None and data["landmarks_mm"] is not None:
            raise ValidationError("landmarks_px are given too; keep one of them", "landmarks_mm")
        if data["landmarks_px"] is not None:
            if data["size_px"] is None:
                raise ValidationError(
                    "it is missing; landmarks_px need the picture's [width, height]", "size_px"
                )
            return
        if data["scale"] is not None:
            raise ValidationError(f"{NOT_FROM_PIXELS}; leave it out", "scale")
        _check_ground(data)

    @post_load
    def to_film(self, data: dict[str, Any], **_: Any) -> Film:  # noqa: ANN401 - the library's signature
        """Return the film."""
        sd_mm = data.pop("landmark_sd_mm")
        size_px = data.pop("size_px")
        return Film(
            **{**data, "scale": data["scale"] or no_scale()},
            size_px=(size_px[0], size_px[1]) if size_px else None,
            landmark_sd_mm=DEFAULT_LANDMARK_SD_MM if sd_mm is None else sd_mm,
            sd_given=sd_mm is not None,
        )


def _check_ground(data: Mapping[str, Any]) -> None:
    """Refuse ground points in the foot frame that do not lie on the ground."""
    ground = VIEWS[data["view"]].ground
    faults = {
        name: ["it lies off y = 0, the ground in the foot frame; leave it out"]
        for name in ground
        if name in data["landmarks_mm"] and data["landmarks_mm"][name][1] != 0.0
    }
    if faults:
        raise ValidationError({"landmarks_mm": faults})
