"""What is caught in a signed sheet: every row of the tamper matrix."""

import io
import json
from dataclasses import replace
from datetime import timedelta

import pikepdf
import pytest
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, sign_pdf

from referral.errors import SettingsFault, WrongState
from referral.sheets.authority import Authority
from referral.sheets.copies import Issued
from referral.sheets.printing import field_name
from referral.sheets.signing import SigningAct, _signer, sign
from referral.sheets.verify import verify_pdf
from referral.storage.canonical import sha256_hex
from tests.features.sheets.sample import MADE_AT

LATER = MADE_AT + timedelta(days=3)


def verified(data, signed, **asked):
    return verify_pdf(data, signed.authority.root_pem, signed.authority.crl(MADE_AT), **asked)


def changed_by_update(data: bytes, drawing: bytes = b"0 0 0 rg 60 400 300 30 re f") -> bytes:
    """Append a valid incremental update that paints over the first page."""
    writer = IncrementalPdfFileWriter(io.BytesIO(data), strict=False)
    stream = generic.StreamObject(stream_data=drawing)
    writer.add_stream_to_page(0, writer.add_object(stream))
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def annotated(data: bytes) -> bytes:
    """Append a text note as many a reader would save it."""
    writer = IncrementalPdfFileWriter(io.BytesIO(data), strict=False)
    note = generic.DictionaryObject(
        {
            generic.pdf_name("/Type"): generic.pdf_name("/Annot"),
            generic.pdf_name("/Subtype"): generic.pdf_name("/FreeText"),
            generic.pdf_name("/Rect"): generic.ArrayObject(
                map(generic.NumberObject, (60, 60, 200, 90))
            ),
            generic.pdf_name("/Contents"): generic.pdf_string("5 weeks is fine too"),
            generic.pdf_name("/DA"): generic.pdf_string("/Helv 9 Tf 0 g"),
        }
    )
    page = writer.root["/Pages"]["/Kids"][0]
    page["/Annots"] = generic.ArrayObject([writer.add_object(note)])
    writer.update_container(page)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["agreed", "fitted"])
def test_a_sheet_signed_by_both_is_good(sheets, kind):
    signed = getattr(sheets, kind)
    answer = verified(signed.twice, signed)
    first, second = answer.signatures
    order = ("vet", "farrier") if kind == "agreed" else ("farrier", "vet")
    assert (first.role, second.role) == order
    assert (first.covers, second.covers) == ("whole file as it then was", "whole file")
    assert first.trusted
    assert second.trusted
    assert first.when == "2026-11-26T14:10:00+00:00"
    assert first.timestamp is None
    assert (answer.intact, answer.changes_after, answer.missing) == (True, "signatures", ())
    assert answer.sheet_id == signed.snapshot.sheet_id
    assert answer.exit_status == 0


def test_the_second_signature_only_appends(sheets):
    agreed = sheets.agreed
    assert agreed.once.startswith(agreed.unsigned)
    assert agreed.twice.startswith(agreed.once)


def test_a_sheet_with_one_signature_names_the_missing_one(sheets):
    answer = verified(sheets.agreed.once, sheets.agreed)
    assert answer.intact
    assert answer.changes_after == "none"
    assert answer.missing == ("Sig_Farrier",)
    assert answer.exit_status == 1
    assert "The field Sig_Farrier is not signed." in answer.says


def test_an_unsigned_sheet_is_not_good(sheets):
    answer = verified(sheets.agreed.unsigned, sheets.agreed)
    assert not answer.intact
    assert answer.missing == ("Sig_Vet", "Sig_Farrier")
    assert answer.exit_status == 1
    assert "Nobody has signed this file." in answer.says


def test_without_a_root_it_is_intact_but_not_trusted(sheets):
    answer = verify_pdf(sheets.agreed.twice, None)
    assert answer.intact
    assert [found.trusted for found in answer.signatures] == [False, False]
    assert answer.exit_status == 1


def test_another_authority_of_the_same_name_is_not_trusted(sheets, tmp_path):
    other = Authority.load_or_create(
        tmp_path / "other", b"o" * 32, sheets.agreed.snapshot.instance, MADE_AT
    )
    answer = verify_pdf(sheets.agreed.twice, other.root_pem, other.crl(MADE_AT))
    assert answer.intact
    assert not any(found.trusted for found in answer.signatures)
    assert answer.exit_status == 1


@pytest.mark.parametrize("place", ["page", "attachment", "signature"])
def test_a_flipped_byte_is_caught(sheets, place):
    data = bytearray(sheets.agreed.twice)
    at = {
        "page": data.index(b"/Page") + 1,
        "attachment": data.index(b"/EmbeddedFile") + 3,
        "signature": data.index(b"/Contents <") + 400,
    }[place]
    data[at] ^= 1
    answer = verified(bytes(data), sheets.agreed)
    assert not answer.intact
    assert answer.exit_status in {1, 2}


def test_every_flipped_byte_of_a_sample_is_caught(sheets):
    whole = sheets.agreed.twice
    for at in range(97, len(whole), 19_997):
        data = bytearray(whole)
        data[at] ^= 0x20
        assert verified(bytes(data), sheets.agreed).exit_status != 0, at


def test_a_page_changed_by_a_valid_update_is_caught(sheets):
    answer = verified(changed_by_update(sheets.agreed.twice), sheets.agreed)
    assert answer.intact
    assert answer.changes_after == "other"
    assert answer.signatures[1].covers == "whole file as it then was"
    assert answer.exit_status == 1
    assert "Something other than a signature was changed after signing." in answer.says


def test_a_change_between_the_two_signatures_is_caught(sheets):
    agreed = sheets.agreed
    act = SigningAct(field_name("farrier"), False, "as printed", None, LATER)
    sneaked = sign(changed_by_update(agreed.once), agreed.authority, agreed.keys["farrier"], act)
    answer = verified(sneaked, agreed)
    assert [found.intact for found in answer.signatures] == [True, True]
    assert answer.changes_after == "other"
    assert answer.exit_status == 1


def test_a_note_stamped_on_it_is_caught(sheets):
    answer = verified(annotated(sheets.agreed.twice), sheets.agreed)
    assert answer.intact
    assert answer.changes_after == "other"
    assert answer.exit_status == 1


def test_a_rewrite_by_another_tool_is_caught(sheets):
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(sheets.agreed.twice)) as document:
        document.save(out, linearize=True)
    answer = verified(out.getvalue(), sheets.agreed)
    assert not answer.intact
    assert answer.exit_status == 1


@pytest.mark.parametrize("cut", [-200, -20_000, 4000])
def test_a_truncated_file_is_damaged(sheets, cut):
    answer = verified(sheets.agreed.twice[:cut], sheets.agreed)
    assert answer.damaged
    assert answer.damaged.startswith("This file is damaged")
    assert answer.exit_status == 2


@pytest.mark.parametrize("data", [b"", b"%PDF-1.7\n", b"\x00" * 4096, b"<html></html>"])
def test_what_is_no_pdf_is_unreadable(data):
    answer = verify_pdf(data, None)
    assert answer.exit_status == 2
    assert len(answer.damaged.splitlines()) == 1


def test_cut_back_to_the_first_signature_the_second_is_missing(sheets):
    answer = verified(sheets.agreed.twice[: len(sheets.agreed.once)], sheets.agreed)
    assert answer.missing == ("Sig_Farrier",)
    assert answer.exit_status == 1


def test_the_instance_is_asked_about_the_bytes_and_the_sheet(sheets):
    known = sha256_hex(sheets.agreed.twice)
    sheet_id = sheets.agreed.snapshot.sheet_id

    def lookup(sha256: str, asked: str | None) -> Issued:
        return Issued(sha256 == known, "sheet-2" if asked == sheet_id else None)

    answer = verified(sheets.agreed.twice, sheets.agreed, lookup=lookup)
    assert (answer.issued_here, answer.replaced_by, answer.exit_status) == (True, "sheet-2", 0)
    changed = verified(annotated(sheets.agreed.twice), sheets.agreed, lookup=lookup)
    assert (changed.issued_here, changed.replaced_by) == (False, "sheet-2")
    assert "A newer sheet replaces it: sheet-2." in changed.says


def test_nothing_but_a_signature_may_follow_the_first(sheets):
    agreed = sheets.agreed
    act = SigningAct(field_name("farrier"), True, "certify again", None, LATER)
    with pytest.raises(WrongState, match="cannot be signed"):
        sign(agreed.once, agreed.authority, agreed.keys["farrier"], act)


def test_what_was_certified_against_any_change_cannot_be_signed_again(sheets):
    """Certified so by whoever came first, which no first signature of ours does."""
    agreed = sheets.agreed
    meta = PdfSignatureMetadata(
        field_name=field_name("vet"),
        subfilter=SigSeedSubFilter.PADES,
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
    )
    out = io.BytesIO()
    signer = _signer(agreed.authority, agreed.keys["vet"])
    sign_pdf(IncrementalPdfFileWriter(io.BytesIO(agreed.unsigned)), meta, signer, output=out)
    act = SigningAct(field_name("farrier"), False, "As printed", None, LATER)
    with pytest.raises(WrongState, match="cannot be signed"):
        sign(out.getvalue(), agreed.authority, agreed.keys["farrier"], act)


@pytest.mark.parametrize("field", ["Sig_Vet", "Sig_Owner"])
def test_a_signed_or_unknown_field_cannot_be_signed(sheets, field):
    act = SigningAct(field, False, "again", None, LATER)
    with pytest.raises(WrongState, match=field):
        sign(sheets.agreed.once, sheets.agreed.authority, sheets.agreed.keys["vet"], act)


def test_a_certificate_withdrawn_on_leaving_leaves_earlier_sheets_good(sheets, tmp_path):
    signed = sheets.agreed
    authority, key = own_authority(tmp_path)
    before = resigned(signed.unsigned, authority, key, MADE_AT)
    after = resigned(signed.unsigned, authority, key, LATER)
    authority.revoke(key.serial, "left", MADE_AT + timedelta(days=1))
    listed = authority.crl(LATER)
    assert verify_pdf(before, authority.root_pem, listed).signatures[0].trusted
    assert not verify_pdf(after, authority.root_pem, listed).signatures[0].trusted


def test_a_stolen_key_spoils_every_sheet_it_signed(sheets, tmp_path):
    authority, key = own_authority(tmp_path)
    data = resigned(sheets.agreed.unsigned, authority, key, MADE_AT)
    authority.revoke(key.serial, "key_compromise", LATER)
    assert not verify_pdf(data, authority.root_pem, authority.crl(LATER)).signatures[0].trusted


def test_a_list_not_signed_by_the_authority_trusts_nobody(sheets, tmp_path):
    authority, _ = own_authority(tmp_path)
    signed = sheets.agreed
    answer = verify_pdf(signed.twice, signed.authority.root_pem, authority.crl(MADE_AT))
    assert not any(found.trusted for found in answer.signatures)


def test_a_signature_outside_the_certificates_time_is_not_trusted(sheets, tmp_path):
    authority, key = own_authority(tmp_path)
    late = resigned(sheets.agreed.unsigned, authority, key, MADE_AT + timedelta(days=500))
    answer = verify_pdf(late, authority.root_pem, authority.crl(MADE_AT))
    assert answer.signatures[0].intact
    assert not answer.signatures[0].trusted


def test_a_key_wrapped_by_another_instance_key_cannot_sign(sheets, tmp_path):
    authority, key = own_authority(tmp_path)
    with pytest.raises(SettingsFault, match="instance key"):
        resigned(sheets.agreed.unsigned, authority, replace(key, serial="1"), MADE_AT)


def own_authority(folder):
    authority = Authority.load_or_create(folder / "own", b"w" * 32, "Own", MADE_AT)
    return authority, authority.issue("p-1", "Vera Holt", "vet", None, MADE_AT)


def resigned(pdf, authority, key, at):
    return sign(pdf, authority, key, SigningAct(field_name("vet"), True, "as printed", None, at))


def test_the_answer_is_plain_json_in_the_words_of_the_worksheet(sheets):
    answer = verify_pdf(sheets.agreed.twice, sheets.agreed.authority.root_pem)
    said = json.loads(json.dumps(answer.to_dict()))
    assert {"intact", "signatures", "changes_after", "issued_here", "replaced_by"} <= said.keys()
    assert {"who", "role", "when", "covers", "trusted", "timestamp"} <= said["signatures"][0].keys()
    assert said["signatures"][0]["who"] == "Ines Corvane"
    assert said["issued_here"] is None
    assert answer.exit_status == 0


def test_a_foreign_pdf_has_no_sheet_in_it():
    out = io.BytesIO()
    with pikepdf.new() as document:
        document.add_blank_page()
        document.attachments["notes.txt"] = b"hello"
        document.save(out)
    answer = verify_pdf(out.getvalue(), None)
    assert answer.sheet_id is None
    assert answer.signatures == ()
    assert answer.exit_status == 1
