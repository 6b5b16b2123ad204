"""What a signed sheet's file is: archival form, tagged fields, pictures and fonts."""

import io
import subprocess

import pikepdf
import pytest


def opened(pdf: bytes) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(pdf))


@pytest.mark.pdf
def test_the_sheet_claims_and_keeps_its_archival_form(sheets):
    with opened(sheets.agreed.twice) as document:
        root = document.Root
        packet = root.Metadata.read_bytes()
        assert b"pdfaid" in packet
        assert b"pdfuaid" in packet
        assert root.MarkInfo.Marked
        assert root.Lang == "en"
        assert root.ViewerPreferences.DisplayDocTitle
        assert pikepdf.Name("/GTS_PDFA1") == root.OutputIntents[0].S
        assert "/JavaScript" not in root.Names
        assert "/OpenAction" not in root
        assert "/NeedAppearances" not in root.AcroForm
        for page in document.pages:
            assert page.obj.get("/Tabs", pikepdf.Name.S) == pikepdf.Name.S


def pictures_in(page_or_form) -> list:
    """Return every picture that a page draws, those inside its forms and masks too."""
    found = []
    for each in page_or_form.get("/Resources", {}).get("/XObject", {}).values():
        if each.Subtype == pikepdf.Name.Image:
            found += [each, *([each.SMask] if "/SMask" in each else [])]
        else:
            found += pictures_in(each)
    return found


@pytest.mark.pdf
def test_no_picture_asks_the_reader_to_smooth_it(sheets):
    """ISO 19005-3:2012, 6.2.8: Interpolate, where it is there, is false."""
    with opened(sheets.agreed.twice) as document:
        pictures = [each for page in document.pages for each in pictures_in(page.obj)]
        assert pictures
        assert not any(bool(each.get("/Interpolate", False)) for each in pictures)


@pytest.mark.pdf
def test_fields_are_tagged_and_named_before_the_first_signature(sheets):
    with opened(sheets.agreed.unsigned) as document:
        fields = list(document.Root.AcroForm.Fields)
        assert [str(field.T) for field in fields] == ["Sig_Vet", "Sig_Farrier"]
        assert str(fields[0].TU) == "Signature of Ines Corvane, vet"
        numbers = document.Root.StructTreeRoot.ParentTree.Nums
        tree = {int(numbers[at]): numbers[at + 1] for at in range(0, len(numbers), 2)}
        for field in fields:
            assert int(field.F) == 132
            element = tree[int(field.StructParent)]
            assert pikepdf.Name.Form == element.S
            assert element.K.Obj.T == field.T
        left, right = (list(map(float, field.Rect)) for field in fields)
        assert left[1] == right[1]
        assert left[2] < right[0]


@pytest.mark.pdf
def test_every_font_is_ours_and_embedded(sheets):
    listed = subprocess.run(
        ["pdffonts", "-"], input=sheets.agreed.twice, capture_output=True, check=True
    )
    rows = [line.split() for line in listed.stdout.decode().splitlines()[2:]]
    assert rows
    for row in rows:
        assert row[0].split("+")[1].startswith("Noto-Sans")
        assert row[4] == "yes"
