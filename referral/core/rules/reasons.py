"""The closed list of reasons a finding can have, each with one plain sentence."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Self


class Reason(StrEnum):
    """Why a finding has its verdict: a stable code, and a sentence in ``sentence``.

    Examples
    --------
    >>> Reason.NO_SCALE.value, Reason.NO_SCALE.sentence
    ('no_scale', 'the film has no scale')
    """

    sentence: str

    def __new__(cls, code: str, sentence: str) -> Self:
        """Make a member whose value is the code alone."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.sentence = sentence
        return member

    INSIDE = "inside", "it is inside the limit"
    BEYOND = "beyond", "it is beyond the limit"
    GUARD_BAND = "guard_band", "it is nearer the limit than the measurement can tell"

    AGREES = "agrees", "the two agree"
    DISAGREES = "disagrees", "the two do not agree"
    ONE_OF_TWO_MISSING = "one_of_two_missing", "only one of the two is stated"
    PRESENT = "present", "it is there"
    INCOMPLETE = "incomplete", "a part of it is missing"
    RED_FLAG_PRESENT = "red_flag_present", "a red flag was seen"
    NO_RED_FLAG = "no_red_flag", "red flags were asked about and none was seen"
    SIGNED_IN_TIME = "signed_in_time", "the plan was signed by the day of fitting"
    SIGNED_LATE = "signed_late", "the plan was signed after the day of fitting"
    FITTED_AS_PLANNED = "fitted_as_planned", "it was fitted as planned, or the reason is given"
    UNEXPLAINED = "unexplained", "it was fitted otherwise than planned and no reason is given"

    NOTHING_SEEN = "nothing_seen", "nothing of the kind was seen"
    SEEN = "seen", "this was seen"
    RECENT = "recent", "the film is of the foot as it is"
    TOO_OLD = "too_old", "the film is older than that"
    NOT_BEFORE_TRIM = "not_before_trim", "the film does not show the foot before the trim"
    NO_PRESSURE = "no_pressure", "the frog plate does not press"
    PRESSES = "presses", "the frog plate presses on the frog"
    SURFACE_SAID = "surface_said", "the ground is said, and does what it is asked to"
    FIRM_GROUND = "firm_ground", "on firm ground this does not turn the bone"
    HEELS_DAMAGED = "heels_damaged", "the heels under the wedge are damaged"
    TURNED_BACK = "turned_back", "the foot is turned back and the breakover is not set back"
    NOT_TURNED_BACK = "not_turned_back", "the foot is not turned back, or the breakover is set back"
    ONE_SCALE = "one_scale", "one grading scale is named"
    SCALE_UNNAMED = "scale_unnamed", "the grading scale is not named"
    SCALES_MIXED = "scales_mixed", "two grading scales are compared"
    WELL_FORMED = "well_formed", "the numbers are formed as their standards say"
    BADLY_FORMED = "badly_formed", "a number is not formed as its standard says"
    NO_CHANGE = "no_change", "it has not risen by more than the measurements can tell"
    HAS_RISEN = "has_risen", "it has risen by more than the measurements can tell"

    MISSING_READING = "missing_reading", "the reading is missing"
    MISSING_STAGE = "missing_stage", "there are no readings for this stage"
    MISSING_FACT = "missing_fact", "it has not been said"
    NOT_RECORDED = "not_recorded", "what was planned is not recorded as fitted"
    NOT_FINITE = "not_finite", "the value is not a number"
    NOT_POSITIVE = "not_positive", "the length is not above zero"
    NO_SCALE = "no_scale", "the film has no scale"
    SCALE_ESTIMATED = "scale_estimated", "the scale is only estimated"
    SCALE_EXTERNAL = "scale_external", "the length was not read from a film"
    SCALE_CONFLICT = "scale_conflict", "the film's scales contradict each other"
    UNIT_MISMATCH = "unit_mismatch", "the value and the limit are in different units"
    JOINT_RESPONSE_VARIES = (
        "joint_response_varies",
        "how the joints of one horse answer a change of the foot cannot be foretold",
    )

    NO_PLAN_TELLS = "no_plan_tells", "it cannot be foretold for any plan of the window"
    NOT_OVER_PLANS = "not_over_plans", "it is not a limit on one number that a plan moves"

    OTHER_LIMB = "other_limb", "it is for another limb"
    OTHER_ANIMAL = "other_animal", "there is no figure for this animal"
    OTHER_CONDITION = "other_condition", "it is for another condition"
    OTHER_DEVICE = "other_device", "it is for another device"
    OTHER_ATTACHMENT = "other_attachment", "it is for another way of attaching"
    NO_WEDGE = "no_wedge", "there is no wedge"
    NO_DEVICE = "no_device", "there is neither a wedge nor a bar"
    NO_CLIP = "no_clip", "there is no clip"
    NO_FROG_PLATE = "no_frog_plate", "there is no frog plate"
    NO_EXTENSION = "no_extension", "there is neither a bar nor a branch wider than the wall"
    NOT_READ = "not_read", "it was not read on this foot"
    OTHER_LAW = "other_law", "it is for another country's law"
    NO_FILM = "no_film", "there is no film"
    NOT_COMPARED = "not_compared", "there is nothing to compare it with"
    CLUB_FOOT = "club_foot", "one foot of the pair is a club foot"
    NO_LENGTHS = "no_lengths", "there is neither a film nor a length"
    NOT_IN_FORCE = "not_in_force", "it has no limit for this foot on this day"
    PUT_OFF = "put_off", "the practice has put this rule off"
    REPLACED_BY_CASE_LIMIT = "replaced_by_case_limit", "the vet's limit on this case replaces it"
    REPLACED_BY_PRACTICE_LIMIT = "replaced_by_practice_limit", "the practice's limit replaces it"


SENTENCES: Mapping[str, str] = MappingProxyType({each.value: each.sentence for each in Reason})
"""The sentence of each code, for those who hold only the code."""
