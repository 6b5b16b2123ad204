"""The printed sheet: what it says, what it cannot print, what it never fetches, what it carries."""

import io
import json
import subprocess
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pikepdf
import pypdfium2
import pytest

from referral.errors import Invalid
from referral.plans.rows import PlanLine, Value
from referral.sheets.printing import print_sheet, render_sheet, sheet_html
from referral.sheets.snapshot import (
    AcknowledgedShown,
    FindingShown,
    Party,
    SeriesShown,
    SheetKind,
    Told,
    VisitShown,
)
from referral.sheets.wording import moment, with_u
from referral.storage.canonical import sha256_hex
from referral.storage.decode.film import SERVED_LONGEST_PX, jpeg_bytes, read_film
from referral.web.fonts import printed_text, unprintable_characters
from referral.web.pdf import render_pdf
from referral.web.written import day, number
from tests.features.decode.test_stripped import SECRETS, photo
from tests.features.sheets.sample import FILM, FINDINGS, OWNER, VET, sample

PICTURES = {sha256_hex(FILM): FILM}
TOLD = (Told("What is wrong", (("Left fore", "The toe is long."),), ("Ask.",)),)
MIXED = "Zoë Ångström Łódź Ωμέγα Привет 蹄葉炎 😀 ½ ° ± − ≤"


def pages_of(pdf: bytes) -> list[str]:
    """Return each page's text as poppler reads it, an extractor that has no part in making it."""
    done = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return done.stdout.decode().split("\f")[:-1]


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(pages_of(pdf)).split())


def renamed(name: str):
    horse = replace(sample().horse, name=name)
    return replace(sample(), horse=horse)


def opened(pdf: bytes) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(pdf))


@pytest.mark.pdf
def test_the_text_reads_as_it_is_printed():
    snapshot = renamed("Zoë Ångström Łódź Ωμέγα Привет ½ ° ± − ≤")
    text = text_of(render_sheet(snapshot, PICTURES).data)
    assert "Zoë Ångström Łódź Ωμέγα Привет ½ ° ± − ≤" in text
    for words in (
        "1.4 ± 1.4",
        "−0.4 ± 1.4",
        "at least 3.0°",
        "26 Nov 2026, 14:05 UTC",
        "31 Dec 2026",
        "too close to call",
        "from memory, not looked up",
        "Cannot be reached in one reset",
        "Ines Corvane",
        "Brackley & Daughter, Farriers",
        "981 020 001 234 567",
        "Stop, and ring the vet now",
        snapshot.fingerprint(),
        snapshot.check_url,
    ):
        assert words in text, words


def test_missing_characters_are_named_before_anything_is_made():
    with pytest.raises(Invalid) as caught:
        print_sheet(renamed(MIXED), PICTURES)
    for code in ("U+8E44", "U+8449", "U+708E", "U+1F600"):
        assert code in caught.value.message
    assert len(caught.value.faults["text"]) == 4
    assert "Привет 蹄葉炎 😀" in caught.value.message


def test_who_acknowledged_a_caution_and_why_stands_beside_it_and_nowhere_else():
    part = sample().limbs[0]
    said = (
        AcknowledgedShown("Odd Brackley", "farrier", "The shoe cannot go farther back"),
        AcknowledgedShown("Ines Corvane", "vet", "It is as short as this wall lets it be"),
    )
    found = replace(part.findings[1], severity="caution", acknowledged=said)
    snapshot = replace(sample(), limbs=(replace(part, findings=(found, part.findings[2])),))
    printed = " ".join(printed_text(sheet_html(snapshot, PICTURES)).split())
    words = (
        "Acknowledged by Ines Corvane (vet) and Odd Brackley (farrier): "
        "“It is as short as this wall lets it be”; “The shoe cannot go farther back”"
    )
    assert printed.count("Acknowledged by") == printed.count(words) == 1
    assert printed.index(found.says.partition(":")[0]) < printed.index(words)
    assert printed.index(words) < printed.index(part.findings[2].title)
    first = json.loads(snapshot.to_json())["limbs"][0]["findings"]
    assert first[0]["acknowledged"][1]["reason"] == "It is as short as this wall lets it be"
    assert first[1]["acknowledged"] == []


def test_exactly_the_characters_without_a_glyph_are_found():
    assert unprintable_characters(MIXED) == ("蹄", "葉", "炎", "😀")


@pytest.mark.parametrize(
    "character", ["\u202e", "\u200b", "\u2066", "\x07", "\x00", "\ue000", "\u00ad"]
)
def test_text_that_would_read_otherwise_than_it_prints_is_found(character):
    assert unprintable_characters(f"5 w{character}eeks\n") == (character,)


def test_a_turned_around_text_is_refused():
    with pytest.raises(Invalid, match=r"with U\+202E: the bundled fonts"):
        print_sheet(renamed("5 \u202eskeew"), PICTURES)


def test_a_missing_character_inside_a_drawing_is_found():
    part = sample().limbs[0]
    film = replace(
        part.film, overlay_svg='<svg xmlns="http://www.w3.org/2000/svg"><text>蹄</text></svg>'
    )
    snapshot = replace(sample(), limbs=(replace(part, film=film),))
    with pytest.raises(Invalid, match="U\\+8E44"):
        render_sheet(snapshot, PICTURES)


@pytest.mark.parametrize("verdict", ["WITHIN", "NOT_APPLICABLE", "OUTSIDE"])
def test_what_a_practice_has_set_is_printed_whole_whatever_its_answer(verdict):
    part = sample().limbs[0]
    says = "Weeks: 5.0 weeks. Shipped limit: at most 8; loosened by Hill Practice since 2026-12-01."
    found = FindingShown("R22", "Weeks", "after_fit", verdict, "caution", says, "practice", "", "")
    snapshot = replace(sample(), limbs=(replace(part, findings=(found,)),))
    printed = printed_text(sheet_html(snapshot, PICTURES))
    assert "loosened by Hill Practice since 1 Dec 2026" in printed
    assert "Limit: practice rule" in printed
    shipped = replace(found, limit_from="shipped")
    quiet = replace(sample(), limbs=(replace(part, findings=(shipped,)),))
    is_said = "Hill Practice" in printed_text(sheet_html(quiet, PICTURES))
    assert is_said is (verdict == "OUTSIDE")


def test_style_and_title_are_not_printed_text():
    html = "<html><head><title>蹄</title><style>p{content:'葉'}</style></head><p>A &amp; B</p>"
    assert printed_text(html) == "A & B"


@pytest.mark.pdf
def test_nothing_on_the_server_is_read_or_fetched(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("the secret of the server")
    note = (
        f'<link rel=attachment href="file://{secret}"><img src="file://{secret}">'
        f'<a rel=attachment href="file://{secret}">x</a>'
        "<style>@import url(http://169.254.169.254/);</style>"
    )
    printed = render_sheet(renamed(note), PICTURES).data
    assert "<link rel=attachment" in text_of(printed)
    with opened(printed) as document:
        assert list(document.attachments) == ["handover.json"]
    unescaped = render_pdf(f"<html lang=en><title>x</title><body>{note}").data
    assert b"secret of the server" not in unescaped
    with opened(unescaped) as document:
        assert list(document.attachments) == []
        assert list(document.pages[0].get_images()) == []


@pytest.mark.pdf
def test_the_snapshot_travels_inside(sheets):
    signed = sheets.agreed
    with opened(signed.twice) as document:
        file = document.attachments["handover.json"]
        assert file.obj.AFRelationship == pikepdf.Name.Data
        attached = file.get_file().read_bytes()
    assert attached == signed.snapshot.to_json()
    assert sha256_hex(attached) == signed.snapshot.sha256()
    content = json.loads(attached)
    assert content["schema"] == "handover-1"
    assert content["kind"] == "agreed_plan"
    assert content["limbs"][0]["readings"][0]["now"] == {"value": 1.4, "u": 0.72}


def test_one_content_has_one_fingerprint():
    first, again = sample(), sample()
    assert first.to_json() == again.to_json()
    other = replace(first, revision=8)
    assert other.fingerprint() != first.fingerprint()
    letters = first.sha256()[:20].upper()
    assert first.fingerprint().replace(" ", "") == letters


@pytest.mark.pdf
def test_the_same_snapshot_makes_the_same_bytes():
    assert print_sheet(sample(), PICTURES) == print_sheet(sample(), PICTURES)


@pytest.mark.pdf
@pytest.mark.parametrize("kind", [SheetKind.REFERRAL, SheetKind.OWNER_COPY, SheetKind.CLOSING])
def test_a_sheet_that_the_vet_alone_signs_has_one_field(kind):
    printed = print_sheet(replace(sample(kind), limbs=(), told=TOLD), PICTURES)
    with opened(printed) as document:
        assert [str(field.T) for field in document.Root.AcroForm.Fields] == ["Sig_Vet"]
    text = text_of(printed)
    assert "Signature Vet Ines Corvane" in text
    assert "What is wrong" in text
    assert "Agreed and consented" not in text


@pytest.mark.pdf
def test_sixty_resets_page_well():
    first = VisitShown(1, date(2022, 3, 1), "LF", 1, (("palmar_angle_deg", Value(4, 0.7)),), 0, "-")
    visits = tuple(
        replace(first, n=n, plan_n=n, fitted_on=first.fitted_on + timedelta(weeks=5 * n))
        for n in range(1, 61)
    )
    points = tuple((each.fitted_on, Value(4 + each.n / 20, 0.7)) for each in visits)
    change = Value(2.95, 0.99)
    series = SeriesShown(
        "LF", "palmar_angle_deg", "Palmar angle", "deg", "films", points, change, True, 3.0, None
    )
    closing = replace(
        sample(SheetKind.CLOSING), limbs=(), told=TOLD, visits=visits, series=(series,)
    )
    rendered = render_sheet(closing, PICTURES)
    pages = pages_of(rendered.data)
    assert rendered.pages == len(pages)
    holding = [[each for each in visits if day(each.fitted_on) in page] for page in pages]
    tables = [page for page in pages if "Other than" in page]
    assert len(tables) >= 2
    for page, shown in zip(pages, holding, strict=True):
        assert len(shown) < 3 or "Fitted on" in page
    assert all(any(each in shown for shown in holding) for each in visits)
    for at, page in enumerate(pages, 1):
        assert f"Page {at} of {rendered.pages}" in page
    assert "real change" in text_of(rendered.data)


@pytest.mark.pdf
def test_without_a_film_it_says_why():
    part = replace(
        sample().limbs[0], film=None, film_absent="judged on readings stated by hand.", drawn=None
    )
    text = text_of(render_sheet(replace(sample(), limbs=(part,)), {}).data)
    assert "No film: judged on readings stated by hand." in text


@pytest.mark.pdf
def test_a_film_of_long_pixels_is_printed_as_it_measures():
    """256 x 120 pixels a third higher than wide are printed 1.6 times as wide as high."""
    film = replace(sample().limbs[0].film, size_px=(256, 120), pixel_aspect=(4.0, 3.0))
    part = replace(sample().limbs[0], film=film, drawn=None)
    pdf = render_sheet(replace(sample(), limbs=(part,)), PICTURES).data
    document = pypdfium2.PdfDocument(pdf)
    try:
        boxes = [
            each.get_bounds()
            for page in document
            for each in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])
        ]
    finally:
        document.close()
    ratios = [(right - left) / (top - bottom) for left, bottom, right, top in boxes]
    assert ratios == [pytest.approx(1.6, rel=1e-3)]


@pytest.mark.pdf
def test_what_a_photo_said_of_place_and_owner_is_not_in_the_sheet():
    picture = jpeg_bytes(read_film(photo("JPEG"), "hoof.jpg"), SERVED_LONGEST_PX)
    digest = sha256_hex(picture)
    film = replace(sample().limbs[0].film, picture_sha256=digest, size_px=(80, 160))
    part = replace(sample().limbs[0], film=film, drawn=None)
    pdf = render_sheet(replace(sample(), limbs=(part,)), {digest: picture}).data
    assert picture[-400:-2] in pdf  # the picture stands in it as it is served, not packed
    for secret in (b"Exif", *SECRETS):
        assert secret not in pdf, secret


@pytest.mark.pdf
def test_a_length_prints_as_the_scale_gives_it():
    """240 px of 0.190840 mm are 45.802 mm, printed to the one decimal a sheet has."""
    row = replace(sample().limbs[0].readings[0], now=Value(240 * 0.190840, 0.25), unit="mm")
    part = replace(sample().limbs[0], readings=(row,), film=None, film_absent="none.", drawn=None)
    text = text_of(render_sheet(replace(sample(), limbs=(part,)), {}).data)
    assert "45.8 ± 0.5" in text


def test_a_wrong_picture_is_refused():
    with pytest.raises(Invalid, match="LF film"):
        render_sheet(sample(), {})
    with pytest.raises(Invalid, match="LF film"):
        render_sheet(sample(), {sha256_hex(FILM): FILM[:-1]})


@pytest.mark.pdf
def test_a_sheet_without_its_signer_is_refused():
    with pytest.raises(Invalid, match="needs a farrier"):
        print_sheet(replace(sample(), people=(VET,)), PICTURES)


@pytest.mark.pdf
def test_long_tables_repeat_their_heads_and_cut_no_row():
    part = sample().limbs[0]
    rows = tuple(
        replace(part.readings[0], name=f"Reading {n}", note=f"note to {n}") for n in range(80)
    )
    snapshot = replace(sample(), limbs=(replace(part, readings=rows),))
    rendered = render_sheet(snapshot, PICTURES)
    pages = pages_of(rendered.data)
    assert rendered.pages == len(pages) >= 4
    holding = [page for page in pages if "note to" in page]
    assert len(holding) >= 3
    assert all("Predicted" in page and "Answer" in page for page in holding)
    for n in range(80):
        assert any(f"Reading {n} " in page and f"note to {n}\n" in page for page in holding), n
    for at, page in enumerate(pages, 1):
        assert f"Page {at} of {rendered.pages}" in page
    assert all("Agreed plan · Quillon · case 2026-014" in page for page in pages[1:])


def test_dates_and_numbers_cannot_be_misread():
    assert day(date(2026, 3, 4)) == "4 Mar 2026"
    assert moment(datetime(2026, 11, 26, 9, 5, tzinfo=UTC)) == "26 Nov 2026, 09:05 UTC"
    assert number(-0.04) == "0.0"
    assert number(-3.25) == "−3.2"
    assert with_u(Value(4.0, 0.72), "deg") == "4.0 ± 1.4"
    assert with_u(Value(0.914, 0.02), "ratio") == "0.91 ± 0.04"
    assert with_u(Value(4.0, 0.01), "mm") == "4.00 ± 0.02"
    assert with_u(Value(4.0, 0.0), "mm") == "4.0"


@pytest.mark.pdf
def test_an_owner_without_organisation_and_a_person_without_registration_print_plainly():
    people = (Party("p", "Vera Holt", "vet", None), Party("q", "Jo Fenn", "farrier", None))
    text = text_of(render_sheet(replace(sample(), owner=OWNER, people=people), PICTURES).data)
    assert "Vera Holt" in text
    assert "None" not in text


@pytest.mark.pdf
def test_a_limit_of_the_vets_and_a_missing_landmark_are_said_in_words():
    lacking = replace(FINDINGS[2], says="Cannot be checked (needs sole_under_tip).")
    inside = replace(FINDINGS[1], verdict="WITHIN", title="The vet's limit on palmar angle")
    part = replace(sample().limbs[0], findings=(*FINDINGS, lacking, inside))
    text = text_of(render_sheet(replace(sample(), limbs=(part,)), PICTURES).data)
    assert "needs the sole's ground surface straight below the bone's tip" in text
    assert "the vet's limit on palmar angle." in text
    assert "limit of the vet’s, after fitting" in text
    assert "case:" not in text
    assert "sole_under_tip" not in text


@pytest.mark.pdf
def test_no_row_of_a_table_stands_alone_on_a_page():
    part = sample().limbs[0]
    for lines in range(2, 30):
        plan = tuple(PlanLine(f"Line {n}", "2.0 mm") for n in range(lines))
        snapshot = replace(sample(), limbs=(replace(part, plan_lines=plan),))
        pages = pages_of(render_sheet(snapshot, PICTURES).data)
        shown = [sum(row.name in page for row in part.readings) for page in pages]
        assert 1 not in shown, (lines, shown)
