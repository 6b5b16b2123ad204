"""The code printed on a sheet, read by an independent reader of codes (ZBar) off the page."""

import subprocess

import pytest

from tests.web.browsing import Browser
from tests.web.signing import at, story_in
from tests.web.test_check_page import ADDRESS, signed_letter


@pytest.fixture
def app(make_app):
    return make_app(address=ADDRESS)


@pytest.fixture
def letter(app, tmp_path, clock):
    told = story_in(app, tmp_path)
    told.refer()
    at(told, clock)
    return signed_letter(app, told)


@pytest.mark.parametrize("dpi", [72, 96, 150, 300])
def test_zbar_reads_the_printed_code_and_it_leads_to_the_sheets_page(app, letter, tmp_path, dpi):
    row, pdf = letter
    (tmp_path / "sheet.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-png", "-singlefile", "-r", str(dpi), "sheet.pdf", "page"],
        cwd=tmp_path,
        check=True,
    )
    read = subprocess.run(
        ["zbarimg", "--quiet", "--raw", "page.png"],
        cwd=tmp_path,
        check=True,
        capture_output=True,
        text=True,
    )
    address = read.stdout.strip()
    assert address == f"{ADDRESS}/check/{row.id}"
    page = Browser(app).get(address.removeprefix(ADDRESS))
    assert page.status_code == 200
    assert "Issued here, and no newer sheet takes its place" in page.text
