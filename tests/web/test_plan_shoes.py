"""The shoe of a plan: its page, its print at true size, and the nearest one on the shelf."""

import json
import re

import pypdfium2
import pytest

from referral.shoes.service import StockLine, add_shoe, forge_of
from tests.factories import NOW, an_actor
from tests.web.test_photos import SOLE
from tests.web.yard import TODAY, a_yard, film_form, words_of

WIDTH = {"limb": "LF", "seen_on": TODAY, "foot_width_mm": "132"}


@pytest.fixture
def yard(app, database):
    yard = a_yard(app, database)
    yard.refer()
    return yard


def on_the_shelf(yard, *shoes):
    with yard.database.transaction() as session:
        farrier = an_actor(session, session.merge(yard.cast.farrier), NOW)
        for category, length_mm, width_mm in shoes:
            line = StockLine(category, "steel", None, length_mm, width_mm, 20.0, 8.0, 1, None)
            add_shoe(session, farrier, forge_of(farrier, None), line, NOW)


def test_everybody_on_the_case_sees_what_the_shoe_carries(yard):
    yard.submit()
    for who in ("vet", "farrier", "owner"):
        page = words_of(yard.open(who, "/plans/1/shoe-LF"))
        assert "Straight bar" in page
        assert "Against the open shoe of this size +1" in page
        assert "web 20 mm (usual; not said)" in page
        assert "heels 72 % of the width apart (custom and practice, no source)" in page
        assert "Densities from memory" in page
        assert "Cannot tell: this wants the foot" in page
    assert "/plans/1/shoe-LF" in yard.open("vet", "/plans/1").text


def test_the_shoe_lies_on_the_foot_that_was_measured(yard):
    yard.done("farrier", "/assessments/new", "/assessments", WIDTH)
    yard.submit()
    page = words_of(yard.open("vet", "/plans/1/shoe-LF"))
    assert "Foot of 14" in page
    assert "132 mm wide as measured from outside" in page.replace("\u202f", " ")
    assert "Inner heel" in page
    assert "The plan wants the shoe 8 mm behind the trimmed heels" in page


def test_the_farrier_alone_sees_the_nearest_of_the_own_stock(yard):
    on_the_shelf(
        yard, ("straight_bar", 150, 134), ("straight_bar", 146, 133), ("egg_bar", 146, 134)
    )
    yard.submit()
    page = words_of(yard.open("farrier", "/plans/1/shoe-LF"))
    nearest = page.partition("Nearest in your stock")[2]
    assert nearest.index("146 × 133 mm") < nearest.index("take 4 mm off each heel")
    assert "Egg bar" not in nearest
    assert "Nearest in your stock" not in words_of(yard.open("vet", "/plans/1/shoe-LF"))


def test_the_print_is_given_to_who_is_on_the_case(yard):
    yard.submit()
    answer = yard.open("vet", "/plans/1/outline-LF.pdf?paper=letter")
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    assert yard.open("other_vet", "/plans/1/outline-LF.pdf").status_code == 404
    for path in ("/plans/1/outline-RF.pdf", "/plans/9/outline-LF.pdf", "/plans/1/shoe-XX"):
        assert yard.open("vet", path).status_code == 404


def marked(yard, points, **said):
    """Add a sole photo with these landmarks and what is said of its scale."""
    form = film_form(view="sole_photo", trim="after")
    film = yard.done("farrier", "/films/new", "/films", form).removeprefix(yard.home)
    sent = {"landmarks": json.dumps(points), "natural_width": "2400", "natural_height": "1920"}
    if points:
        yard.done("farrier", film, f"{film}/landmarks", {**sent, **said})
    return film


def test_the_shoe_is_laid_over_the_sole_photo_with_its_numbers(yard):
    yard.submit()
    page = "/plans/1/shoe-LF"
    assert "There is no sole photo of this foot yet." in words_of(yard.open("vet", page))
    film = marked(yard, {})
    assert "Toe and both heels are not placed" in words_of(yard.open("owner", page))
    bare = {name: at for name, at in SOLE.items() if not name.startswith("scale")}
    film = marked(yard, bare)
    assert "has no known length, so nothing can be laid on it" in words_of(yard.open("vet", page))
    assert film in yard.open("vet", page).text
    film = marked(yard, SOLE, known_length_mm="100")
    answer = yard.open("owner", page)
    assert f"{film}/picture.jpg" in answer.text
    assert 'class="film-overlay" viewBox="0 0 3000 2400"' in answer.text
    said = words_of(answer).replace("\u202f", " ")
    # the photographed foot is 130 by 126 mm, its frog widest 5 mm before the heels
    for number in (
        "Shoe behind the heels, as planned 8 mm",
        "At its widest 8.0 ± [0-9.]+ mm wider than the foot",
        "Inner heel on the shoe; the shoe’s edge 23 mm outside it",
        "Shoe’s heels 13.0 ± [0-9.]+ mm behind the frog’s widest part",
        "Shoe’s toe 8.0 ± [0-9.]+ mm in front of the foot’s",
    ):
        assert re.search(number, said), number
    assert "not taken after the trim" not in said
    assert yard.open("other_farrier", page).status_code == 404
    with pypdfium2.PdfDocument(yard.open("vet", "/plans/1/outline-LF.pdf").data) as pdf:
        printed = " ".join(pdf[0].get_textpage().get_text_range().split())
    assert "crosses: the foot as placed on its sole photo of 25 Nov 2026" in printed


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"LF-width_mm": "", "LF-length_mm": ""}, "The plan gives no length and no width"),
        ({"LF-web_mm": "60"}, "Two branches of 60 mm do not fit"),
    ],
)
def test_what_cannot_be_drawn_is_said_on_the_page_and_refused_on_paper(yard, changed, said):
    yard.submit(**changed)
    page = yard.open("farrier", "/plans/1/shoe-LF")
    assert page.status_code == 200
    assert said in words_of(page)
    assert yard.open("farrier", "/plans/1/outline-LF.pdf").status_code == 422


def test_a_bare_foot_has_no_shoe_to_draw(yard):
    bare = dict.fromkeys(("LF-category", "LF-material", "LF-thickness_mm", "LF-nail_count"), "")
    yard.submit(**bare, **{"LF-attachment": ""})
    assert "puts no shoe on this foot" in words_of(yard.open("farrier", "/plans/1/shoe-LF"))
