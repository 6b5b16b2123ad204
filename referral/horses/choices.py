"""The closed lists of a horse: code and label, as forms offer and pages print them."""

ANIMALS = (
    ("adult_horse", "Horse, adult"),
    ("pony", "Pony"),
    ("donkey", "Donkey"),
    ("draught", "Draught horse"),
    ("foal", "Foal, under one year"),
)
SEXES = (("mare", "Mare"), ("gelding", "Gelding"), ("stallion", "Stallion"))
