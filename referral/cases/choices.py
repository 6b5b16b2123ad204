"""The closed lists of a case: code and label, as forms offer and pages print them."""

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
    ("other", "Something else"),
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
TETANUS = (
    ("up_to_date", "Vaccinated, up to date"),
    ("given", "Vaccine or antitoxin given now"),
    ("not_up_to_date", "Not up to date; the owner is told"),
    ("not_known", "Not known"),
)
FLAG_ANSWERS = (("resolved", "Resolved"), ("managed", "Known and managed"))
LETTERS = (
    ("referral", "Referral sheet"),
    ("owner_copy", "Owner’s copy"),
    ("closing", "Closing report"),
)
"""Sheets that the vet alone signs."""

OUTCOMES = (
    ("goals_met", "Goals met"),
    ("improved", "Improved"),
    ("unchanged", "Unchanged"),
    ("worse", "Worse"),
    ("lost_to_follow_up", "Lost to follow-up"),
    ("died_or_euthanased", "Died or euthanased"),
)


def codes(options: tuple[tuple[str, str], ...]) -> list[str]:
    """Return the codes of a list of options."""
    return [code for code, _label in options]
