"""The shoe of a plan: its page, its print at true size, and the nearest one on the shelf."""

import pytest

from referral.shoes.service import StockLine, add_shoe, forge_of
from tests.factories import NOW, an_actor
from tests.web.yard import TODAY, a_yard, words_of

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
