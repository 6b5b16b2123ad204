"""The forge's stock through its pages: kept by its farriers, taken in and given out, printed."""

import io
import re

import pytest
from sqlalchemy import select

from referral.accounts.models import Organisation
from referral.accounts.service import add_membership
from referral.shoes.models import StockShoe
from tests.factories import NOW, a_person
from tests.web.yard import a_yard, hidden_in, rows_in, words_of

SHOE = {
    "category": "straight_bar",
    "material": "steel",
    "size_label": "2",
    "length_mm": "135",
    "width_mm": "130,5",
    "web_mm": "20",
    "thickness_mm": "8",
    "count": "4",
    "note": "+ two in the van",
}


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def sent(yard, who, form, path, data):
    """Send a form as its page would, with what is typed."""
    page = yard.browser(who).get(form)
    return yard.browser(who).post(path, {**hidden_in(page, path), **data})


def added(yard, who="farrier", **changed):
    answer = sent(yard, who, "/shoes/new", "/shoes", SHOE | changed)
    assert answer.status_code == 303, words_of(answer)


def kept(yard):
    with yard.database.reading() as session:
        rows = session.scalars(select(StockShoe).order_by(StockShoe.width_mm, StockShoe.id)).all()
        return [row for row in rows if row.removed_at is None]


def take(yard, text, way="add", name="stock.csv"):
    data = text if isinstance(text, bytes) else text.encode()
    files = {"list": (io.BytesIO(data), name), "way": way}
    answer = sent(yard, "farrier", "/shoes/list", "/shoes/list", files)
    answer.request.environ["wsgi.input"].close()
    return answer


def test_a_shoe_is_added_seen_changed_and_taken_off(yard):
    added(yard)
    (row,) = kept(yard)
    assert (row.width_mm, row.count, row.organisation_id) == (130.5, 4, yard.cast.forge_id)
    path = f"/shoes/{row.id}"
    assert "Straight bar, size 2" in words_of(yard.browser("farrier").get("/shoes"))
    page = words_of(yard.browser("farrier").get(path))
    assert "Against the open shoe of this size" in page
    answer = sent(yard, "farrier", path, path, SHOE | {"count": "0"})
    assert answer.status_code == 303, words_of(answer)
    assert kept(yard)[0].count == 0
    assert sent(yard, "farrier", path, f"{path}/removal", {}).status_code == 303
    assert kept(yard) == []
    assert yard.browser("farrier").get(path).status_code == 404


def test_the_stock_of_a_forge_is_for_its_own_farriers(yard):
    added(yard)
    (row,) = kept(yard)
    for who in ("vet", "owner", "apprentice", "coordinator"):
        assert yard.browser(who).get("/shoes").status_code == 404
    stranger = yard.browser("other_farrier")
    assert "Straight bar" not in words_of(stranger.get("/shoes"))
    assert b"straight_bar" not in stranger.get("/shoes/stock.csv").data
    for tail in ("", "/outline.pdf"):
        assert stranger.get(f"/shoes/{row.id}{tail}").status_code == 404
    for tail in ("", "/removal"):
        assert stranger.post(f"/shoes/{row.id}{tail}", {"revision": "1"}).status_code == 404
    assert kept(yard)[0].revision == 1


def test_a_colleague_keeps_the_same_list_and_is_told_when_late(yard):
    with yard.database.transaction() as session:
        forge = session.get(Organisation, yard.cast.forge_id)
        yard.emails["colleague"] = a_person(session, "farrier", forge).email
    added(yard)
    path = f"/shoes/{kept(yard)[0].id}"
    opened = hidden_in(yard.browser("colleague").get(path), path)
    assert sent(yard, "farrier", path, path, SHOE | {"count": "3"}).status_code == 303
    late = yard.browser("colleague").post(path, {**opened, **SHOE, "count": "9"})
    assert late.status_code == 409
    assert 'value="9"' in late.text
    assert kept(yard)[0].count == 3
    assert hidden_in(late, path)["revision"] == "2"


def test_a_farrier_of_two_forges_says_whose_shelf_it_is(yard):
    with yard.database.transaction() as session:
        add_membership(session, yard.cast.other_farrier.id, "farrier", yard.cast.forge_id, NOW)
    page = yard.browser("other_farrier").get("/shoes/new")
    assert 'name="forge"' in page.text
    added(yard, "other_farrier", forge=str(yard.cast.forge_id))
    assert kept(yard)[0].organisation_id == yard.cast.forge_id
    assert "Cold Bridge Forge" in words_of(yard.browser("other_farrier").get("/shoes"))
    first, second = (
        yard.browser("other_farrier").get(f"/shoes/stock.csv{forge}").data
        for forge in ("", f"?forge={yard.cast.forge_id}")
    )
    assert b"straight_bar" not in first
    assert b"straight_bar" in second
    assert yard.browser("other_farrier").get("/shoes/stock.csv?forge=x").status_code == 404


def test_another_forges_shelf_is_not_there(yard):
    with yard.database.reading() as session:
        named = session.scalars(
            select(Organisation).where(Organisation.name == "Far Field Forge")
        ).one()
    answer = sent(yard, "farrier", "/shoes/new", "/shoes", SHOE | {"forge": str(named.id)})
    assert answer.status_code == 404
    assert kept(yard) == []


def test_a_shoe_sent_twice_stands_once(yard):
    page = yard.browser("farrier").get("/shoes/new")
    form = {**hidden_in(page, "/shoes"), **SHOE}
    assert [yard.browser("farrier").post("/shoes", form).status_code for _ in "ab"] == [303, 303]
    assert len(kept(yard)) == 1


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"width_mm": "5 1/4"}, "Write a number such as 12.5 or 12,5."),
        ({"width_mm": "60", "web_mm": "22"}, "Two branches of 22 mm do not fit"),
        ({"count": "2.5"}, "Write a whole number"),
        ({"category": "winged"}, "Choose one of the words"),
    ],
)
def test_what_is_no_shoe_comes_back_as_typed(yard, changed, said):
    answer = sent(yard, "farrier", "/shoes/new", "/shoes", SHOE | changed)
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert 'value="+ two in the van"' in answer.text
    assert kept(yard) == []


def test_the_nearest_shoe_stands_first_with_what_to_alter(yard):
    added(yard, category="open", length_mm="138", width_mm="128", size_label="1")
    added(yard, category="open", length_mm="160", width_mm="150", size_label="4")
    added(yard, category="open", length_mm="135", width_mm="130", size_label="2", count="0")
    answer = yard.browser("farrier").get("/shoes?foot_length_mm=127&foot_width_mm=130")
    rows = re.findall(r"size (\d)</a>.*?What to alter\"><span>(.*?)</span>", answer.text, re.DOTALL)
    assert [row[0] for row in rows] == ["1", "4", "2"]
    assert rows[0][1] == "Take 3 mm off each heel; set 2 mm wider"
    assert rows[2][1] == "Fits as it is"
    assert "another size is called for" in rows[1][1]


def test_a_foot_that_is_none_is_asked_for_again(yard):
    answer = yard.browser("farrier").get("/shoes?foot_length_mm=long&foot_width_mm=130")
    assert answer.status_code == 422
    assert 'value="long"' in answer.text


# Lists

HEAD = "category,material,size_label,length_mm,width_mm,web_mm,thickness_mm,count,note"
AS_PEOPLE_WRITE = "Width (mm),Length mm,Category,Material,web_mm,Thickness-mm,COUNT"
ROW = "open,steel,1,140,128,20,8,6,"


def test_a_list_given_out_is_taken_in_again_unchanged(yard):
    added(yard)
    added(yard, note="=1+1", size_label="-3", width_mm="128.25")
    added(yard, note="'tis his", size_label="")
    before = [(row.size_label, row.width_mm, row.note) for row in kept(yard)]
    for address in ("/shoes/stock.csv", "/shoes/stock.csv?decimal=comma"):
        given = yard.browser("farrier").get(address)
        assert given.mimetype == "text/csv"
        assert take(yard, given.data, "in_place").status_code == 303
        assert sorted(map(str, before)) == sorted(
            str((row.size_label, row.width_mm, row.note)) for row in kept(yard)
        )


def test_no_cell_is_a_formula_and_a_negative_number_stays_one(yard):
    added(yard, note="=1+1", size_label="-3")
    added(yard, note="-3,5")
    text = yard.browser("farrier").get("/shoes/stock.csv").data.decode("utf-8-sig")
    assert ",'=1+1" in text
    assert ",-3," in text
    assert '"-3,5"' in text
    # Source: OWASP, CSV injection: a cell that starts with = + - @ tab or return is a formula.
    cells = [cell for line in text.split("\n")[1:] for cell in line.split(",")]
    assert [each for each in cells if each.startswith(("=", "+", "@", "\t"))] == []


@pytest.mark.parametrize(
    "text",
    [
        f"{HEAD}\n{ROW}\n",
        f"\ufeff{HEAD}\r\n{ROW}\r\n\r\n",
        f"{HEAD};\n{ROW};\n".replace(",", ";").replace("140", "140,0"),
        f"{HEAD}\n{ROW}".replace("128", '"128,0"'),
        f"{HEAD}\n{ROW}\n".replace(",", "\t"),
        f"{AS_PEOPLE_WRITE}\n128,140,Open shoe,Steel,20,8,6",
    ],
    ids=["plain", "bom", "semicolons", "comma in quotes", "tabs", "as people write it"],
)
def test_a_list_is_read_as_spreadsheets_write_it(yard, text):
    answer = take(yard, text)
    assert answer.status_code == 303, words_of(answer)
    (row,) = kept(yard)
    found = (row.category, row.material, row.length_mm, row.width_mm, row.web_mm, row.count)
    assert found == ("open", "steel", 140.0, 128.0, 20.0, 6)


def test_every_line_that_cannot_be_used_is_named_and_none_is_taken_in(yard):
    bad = [
        ROW,
        "winged,steel,1,140,128,20,8,6,",
        ROW.replace("140", "fourteen"),
        ROW,
        ROW.replace("128", "128,5"),
        'open,steel,1,140,128,20,8,,"two\nlines"',
        ROW.replace("20", "60"),
    ]
    answer = take(yard, "\n".join([HEAD, *bad]))
    said = words_of(answer)
    assert answer.status_code == 422
    assert "Nothing was taken in" in said
    for line in (3, 4, 6, 7, 9):
        assert f"Line {line}:" in said
    assert "Line 2:" not in said
    assert "Line 5:" not in said
    assert "length_mm: Write a number such as 12.5" in said
    assert "double quotes" in said
    assert kept(yard) == []


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "There are no shoes in this list"),
        (HEAD.encode(), "There are no shoes in this list"),
        (b"PK\x03\x04 and so on", "a spreadsheet or an archive, not CSV"),
        (HEAD.encode("utf-16"), "not text in UTF-8"),
        (f"{HEAD}\n{ROW}Gr\u00f6\u00dfe".encode("latin-1"), "Line 2 holds signs"),
        (f'{HEAD}\n{ROW}"open'.encode(), "Line 2 cannot be read"),
        (
            b"category,colour,category\nopen,red,open",
            "a column \u201ccolour\u201d that is not known",
        ),
        (b"category,colour,category\nopen,red,open", "lacks the column width_mm"),
        (b"category,colour,category\nopen,red,open", "names category twice"),
        (f"{HEAD}\n".encode() + f"{ROW}\n".encode() * 2001, "longer than 2000 lines"),
    ],
)
def test_what_is_no_list_is_refused_in_words(yard, data, said):
    answer = take(yard, data)
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert kept(yard) == []


def test_a_list_that_is_too_large_is_refused(yard):
    answer = take(yard, HEAD.encode() + b"\n" * 300_000)
    assert answer.status_code == 413
    assert "256 kB" in words_of(answer)


def test_a_list_without_its_file_asks_for_it(yard):
    answer = sent(yard, "farrier", "/shoes/list", "/shoes/list", {"way": "add"})
    assert answer.status_code == 422
    assert "Choose the file" in words_of(answer)


def test_a_list_beside_the_stock_adds_and_in_its_place_replaces(yard):
    added(yard)
    before = rows_in(yard.database)["stock_shoe"]
    take(yard, f"{HEAD}\n{ROW}")
    assert len(kept(yard)) == 2
    take(yard, f"{HEAD}\n{ROW}", "in_place")
    assert [row.category for row in kept(yard)] == ["open"]
    assert rows_in(yard.database)["stock_shoe"] == before + 2


def test_the_outline_is_given_as_a_pdf_and_too_small_a_paper_is_named(yard):
    added(yard)
    added(yard, length_mm="240", width_mm="230")
    small, large = (f"/shoes/{row.id}/outline.pdf" for row in kept(yard))
    answer = yard.browser("farrier").get(small)
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    refused = yard.browser("farrier").get(large)
    assert refused.status_code == 422
    assert "larger than A4 at true size. Take A3." in words_of(refused)
    assert yard.browser("farrier").get(f"{large}?paper=a3").status_code == 200
    assert yard.browser("farrier").get(f"{small}?paper=wall").status_code == 422
