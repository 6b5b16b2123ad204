"""The generic trade categories of shoes, and what they are made of."""

CATEGORIES = (
    ("open", "Open shoe"),
    ("concave", "Concave fullered"),
    ("wide_web", "Wide web"),
    ("seated_out", "Seated out"),
    ("bevelled_branch", "Bevelled branch"),
    ("onion_heel", "Onion heel"),
    ("three_quarter", "Three-quarter"),
    ("tip", "Tip (half shoe)"),
    ("rolled_toe", "Rolled toe"),
    ("rocker_toe", "Rocker toe"),
    ("full_rocker", "Full rocker"),
    ("set_back_toe", "Set-back (squared) toe"),
    ("full_roller", "Bevelled all round"),
    ("reverse", "Reverse (open toe)"),
    ("open_toe_bar", "Open-toe bar"),
    ("straight_bar", "Straight bar"),
    ("egg_bar", "Egg bar"),
    ("heart_bar", "Heart bar"),
    ("egg_heart", "Egg-heart bar"),
    ("open_toe_egg_bar", "Open-toe egg bar"),
    ("z_bar", "Z-bar"),
    ("diagonal_bar", "Diagonal bar"),
    ("half_bar", "Half bar"),
    ("graduated", "Graduated (wedge) shoe"),
    ("patten", "Patten (raised heel)"),
    ("wooden_block", "Wooden block shoe"),
    ("hospital_plate", "Treatment plate shoe"),
)
MATERIALS = (("steel", "Steel"), ("aluminium", "Aluminium"), ("wood", "Wood"), ("other", "Other"))

WIDE_WEB_MM = 25.0
USUAL_WEB_MM = 20.0
"""Usual sections; custom and practice, no source."""


def usual_web_mm(category: str) -> float:
    """Return the web that a shoe of this category usually has, where none is said."""
    return WIDE_WEB_MM if category == "wide_web" else USUAL_WEB_MM
