"""The forms of a case: open, problem, limit, referral, words, observation, red flag."""

from marshmallow import Schema, fields, validate

from referral.core.rules.finding import STAGES
from referral.web.forms import DateField, DecimalField

LIMBS = (("LF", "Left fore"), ("RF", "Right fore"), ("LH", "Left hind"), ("RH", "Right hind"))
CONDITIONS = (
    ("acute_laminitis", "Acute laminitis"),
    ("chronic_laminitis", "Chronic laminitis"),
    ("low_palmar_angle", "Low or negative palmar (plantar) angle"),
    ("under_run_heels", "Long toe, under-run heels"),
    ("palmar_foot_pain", "Navicular syndrome, palmar foot pain"),
    ("club_foot", "Club foot, flexural deformity"),
    ("quarter_crack", "Quarter crack"),
    ("toe_crack", "Toe crack"),
    ("sheared_heels", "Sheared heels"),
    ("mediolateral_imbalance", "Mediolateral imbalance"),
    ("dip_arthritis", "Coffin joint arthritis"),
    ("collateral_ligament_injury", "Collateral ligament injury"),
    ("deep_flexor_tendon_injury", "Deep flexor tendon injury"),
    ("pedal_bone_fracture", "Pedal bone fracture"),
    ("white_line_disease", "White line disease"),
    ("keratoma", "Keratoma"),
    ("abscess", "Abscess"),
    ("other", "Something else (say what)"),
)
CERTAINTIES = (("confirmed", "Confirmed"), ("probable", "Probable"), ("suspected", "Suspected"))
URGENCIES = (
    ("routine", "Routine"),
    ("7_days", "Within 7 days"),
    ("24_hours", "Within 24 hours"),
    ("now", "Now"),
)
JURISDICTIONS = (
    ("GB", "Great Britain"),
    ("NI", "Northern Ireland"),
    ("IE", "Ireland"),
    ("EU", "Elsewhere in the EU"),
    ("US", "United States"),
    ("other", "Elsewhere"),
)
SUBJECTS = (
    ("landing", "How the foot lands"),
    ("wear", "Wear of the shoe"),
    ("conformation", "Shape, flares, distortion"),
    ("under_shoe", "Under the old shoe"),
    ("comfort", "How the horse stands and goes"),
    ("worry", "A worry"),
    ("other", "Something else"),
)
SIGNS = (
    ("not_bearing_weight", "Will not bear weight, or suddenly much worse"),
    ("suspected_acute_laminitis", "Acute laminitis suspected, sinking, sole bulging"),
    ("penetrating_object", "Nail or other object in the foot: leave it in, protect it"),
    ("blood_or_live_tissue", "Blood, live tissue, infected crack or corn, deep abscess"),
    ("sepsis", "Pus with swelling up the limb, fever, dull"),
    ("suspected_fracture", "Fracture, or wound at coronary band, joint or tendon"),
    ("foal_lame", "A foal is lame"),
    ("pain_after_shoeing", "Pain after shoeing"),
    ("device_lost_or_twisted", "Bar, plate or clip lost, twisted or trodden in"),
    ("cannot_work_safely", "Cannot be worked on safely"),
)
OUTCOMES = (
    ("goals_met", "Goals met"),
    ("improved", "Improved"),
    ("unchanged", "Unchanged"),
    ("worse", "Worse"),
    ("lost_to_follow_up", "Lost to follow-up"),
    ("died_or_euthanased", "Died or euthanased"),
)
LONGEST_WORDS = 4000


def codes(options: tuple[tuple[str, str], ...]) -> list[str]:
    """Return the codes of a list of options."""
    return [code for code, _label in options]


def words(*, required: bool = False) -> fields.String:
    """Return a field for a sentence or some."""
    length = validate.Length(max=LONGEST_WORDS)
    if required:
        return fields.String(required=True, validate=length)
    return fields.String(load_default=None, validate=length)


class OpenCaseForm(Schema):
    """Open a case: which horse, which farrier, whose law."""

    horse_id = fields.UUID(required=True)
    farrier_id = fields.UUID(required=True)
    jurisdiction = fields.String(required=True, validate=validate.OneOf(codes(JURISDICTIONS)))


class ProblemForm(Schema):
    """The vet's diagnosis on a limb."""

    limb = fields.String(required=True, validate=validate.OneOf(codes(LIMBS)))
    condition = fields.String(required=True, validate=validate.OneOf(codes(CONDITIONS)))
    certainty = fields.String(required=True, validate=validate.OneOf(codes(CERTAINTIES)))
    words = words()
    happened_on = DateField(load_default=None)


class LimitForm(Schema):
    """A limit in numbers."""

    measure = fields.String(required=True, validate=validate.Length(max=60))
    stage = fields.String(required=True, validate=validate.OneOf(STAGES))
    at_least = DecimalField(minimum=-1000, maximum=1000, load_default=None)
    at_most = DecimalField(minimum=-1000, maximum=1000, load_default=None)
    strength = fields.String(required=True, validate=validate.OneOf(["must", "should"]))
    limb = fields.String(load_default=None, validate=validate.OneOf(codes(LIMBS)))
    reason = words()
    review_on = DateField(load_default=None)
    replaces_id = fields.UUID(load_default=None)


class WithdrawForm(Schema):
    """Take a limit back, with the reason."""

    reason = words(required=True)


class ReferralForm(Schema):
    """Send the case to the farrier."""

    limbs = fields.List(fields.String(validate=validate.OneOf(codes(LIMBS))), load_default=list)
    urgency = fields.String(required=True, validate=validate.OneOf(codes(URGENCIES)))
    goals = words(required=True)
    open_to_farrier = words()
    no_limits = fields.Boolean(load_default=False)


class WordsForm(Schema):
    """A sentence that goes with a move."""

    words = words()
    reference = fields.UUID(load_default=None)


class ObservationForm(Schema):
    """What was seen."""

    limb = fields.String(load_default=None, validate=validate.OneOf(codes(LIMBS)))
    about = fields.String(required=True, validate=validate.OneOf(codes(SUBJECTS)))
    words = words(required=True)
    happened_on = DateField(load_default=None)


class FlagForm(Schema):
    """A red flag."""

    sign = fields.String(required=True, validate=validate.OneOf(codes(SIGNS)))
    limb = fields.String(load_default=None, validate=validate.OneOf(codes(LIMBS)))
    words = words()


class FlagAnswerForm(Schema):
    """The vet's answer to a red flag."""

    answer = fields.String(required=True, validate=validate.OneOf(["resolved", "managed"]))
    reason = words(required=True)
    until = DateField(load_default=None)


class CloseForm(Schema):
    """Close the case with its outcome."""

    outcome = fields.String(required=True, validate=validate.OneOf(codes(OUTCOMES)))
    words = words()
