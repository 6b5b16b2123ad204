"""Signatures that last (PAdES B-LT): what they carry, what it is worth later, what spoils it."""

import asyncio
import io
from datetime import timedelta

import pytest
from asn1crypto.crl import CertificateList
from asn1crypto.ocsp import OCSPResponse
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.ades.report import AdESIndeterminate, AdESPassed
from pyhanko.sign.diff_analysis import ModificationLevel
from pyhanko.sign.validation import DocumentSecurityStore, validate_pdf_signature
from pyhanko.sign.validation.ades import ades_with_time_validation
from pyhanko.sign.validation.errors import NoDSSFoundError
from pyhanko.sign.validation.generic_cms import extract_tst_data_iter
from pyhanko.sign.validation.policy_decl import (
    CertificateFetchingRule,
    LocalKnowledge,
    RevinfoOnlineFetchingRule,
    RevocationInfoGatheringSpec,
    SignatureValidationSpec,
)
from pyhanko_certvalidator.context import CertValidationPolicySpec
from pyhanko_certvalidator.policy_decl import REQUIRE_REVINFO, CertRevTrustPolicy
from pyhanko_certvalidator.registry import SimpleTrustManager
from pyhanko_certvalidator.revinfo.archival import CRLContainer, OCSPContainer

from referral.clock import utc_now
from referral.errors import Invalid
from referral.sheets import lasting, store
from referral.sheets.copies import LASTS, LASTS_NOT, SINCE
from referral.sheets.drafts import Lookups
from referral.sheets.lasting import issued_material, with_material
from referral.sheets.lookups import LARGEST_LIST
from referral.sheets.material import Material, certificates_in
from referral.sheets.store import MOST_PARTS, NOT_THEIRS, UNREADABLE, add_to_store
from referral.sheets.verify import verify_pdf
from tests.features.sheets.lasting_sheet import a_desk, signed_by_both
from tests.features.sheets.test_stamping import embedded

pytestmark = pytest.mark.enable_socket


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A sheet of two lasting signatures; the time authority's issuer has a list."""
    with a_desk(tmp_path_factory.mktemp("lasting"), "named_list") as desk:
        yield signed_by_both(desk)


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    """Another; the time authority's issuer answers about one certificate at a time."""
    with a_desk(tmp_path_factory.mktemp("answered"), "named_answers") as desk:
        yield signed_by_both(desk)


@pytest.fixture(params=["made", "answered"])
def either(request):
    return request.getfixturevalue(request.param)


@pytest.fixture
def desk(made):
    """What it was made with; whatever its issuer was told is forgotten afterwards."""
    running = made.desk
    index = running.issuer.folder / "index.txt"
    before = index.read_bytes()
    running.issuer.asked.clear()
    yield running
    index.write_bytes(before)
    running.issuer.broken = False
    running.issuer.published = None


def by_instance(pdf, desk, now=None):
    authority, now = desk.sheet.authority, now or utc_now()
    return verify_pdf(pdf, authority.root_pem, authority.crl(now), now=now)


def by_root_alone(pdf, desk):
    return verify_pdf(pdf, desk.sheet.authority.root_pem)


def levels(answer):
    return [found.level for found in answer.signatures]


def reader_of(pdf):
    return PdfFileReader(io.BytesIO(pdf))


def carried(pdf):
    return DocumentSecurityStore.read_dss(reader_of(pdf))


def bytes_of(references):
    return [each.get_object().data for each in references]


def test_both_signatures_last_and_the_second_only_appends_to_what_was_seen(either):
    made, desk = either, either.desk
    assert made.twice.startswith(made.once)
    assert made.once.startswith(made.unsigned)
    first, second = reader_of(made.twice).embedded_regular_signatures
    start, length, _after, _rest = second.sig_object["/ByteRange"]
    assert start == 0
    assert length > len(made.once)  # so what its signer saw is signed, byte for byte
    assert first.signed_revision < second.signed_revision
    for pdf, missing in ((made.once, 1), (made.twice, 0)):
        answer = by_instance(pdf, desk)
        assert answer.intact
        assert set(levels(answer)) == {"B-LT"}
        assert len(answer.missing) == missing
        assert all(LASTS in said for said in answer.says[: len(answer.signatures)])
    assert (answer.exit_status, answer.changes_after) == (0, "signatures")
    assert by_instance(made.once, desk).changes_after == "material"


def test_what_is_carried_twice_is_there_once(either):
    made = either
    held = carried(made.twice)
    parts = [*bytes_of(held.certs.values()), *bytes_of(held.crls), *bytes_of(held.ocsps)]
    assert len(parts) == len(set(parts))
    assert len(held.certs) == 5  # two signers and their root, the time authority and its root
    assert len(made.twice) - len(made.unsigned) < 110_000  # each signature alone takes 42 thousand


def etsi(pdf, desk, n):
    """Return what pyHanko's validation for signatures with time (ETSI EN 319 102-1, 5.5) says.

    It trusts the two roots alone, asks nobody, and wants to know of every certificate that it was
    not withdrawn.
    """
    reader = reader_of(pdf)
    ours, theirs = (
        CertValidationPolicySpec(
            trust_manager=SimpleTrustManager.build(trust_roots=[*certificates_in(root)]),
            revinfo_policy=CertRevTrustPolicy(REQUIRE_REVINFO),
        )
        for root in (desk.sheet.authority.root_pem, desk.time.root.read_bytes())
    )
    spec = SignatureValidationSpec(
        cert_validation_policy=ours,
        ts_cert_validation_policy=theirs,
        revinfo_gathering_policy=RevocationInfoGatheringSpec(
            online_fetching_rule=RevinfoOnlineFetchingRule.LOCAL_ONLY,
            certificate_fetching_rule=CertificateFetchingRule.NEVER_FETCH,
        ),
        local_knowledge=knowledge(reader),
    )
    signature = reader.embedded_regular_signatures[n]
    digest = signature.compute_digest()
    run = ades_with_time_validation(signature.signed_data, spec, raw_digest=digest)
    return asyncio.run(run).ades_subindic


def knowledge(reader):
    try:
        held = DocumentSecurityStore.read_dss(reader)
    except NoDSSFoundError:
        return LocalKnowledge()
    return LocalKnowledge(
        known_certs=list(held.load_certs()),
        known_crls=[CRLContainer(CertificateList.load(each)) for each in bytes_of(held.crls)],
        known_ocsps=[
            held
            for each in bytes_of(held.ocsps)
            for held in OCSPContainer.load_multi(OCSPResponse.load(each))
        ],
    )


def test_pyhankos_validation_by_the_etsi_passes_with_nobody_asked(either):
    made, desk = either, either.desk
    desk.issuer.asked.clear()
    assert [etsi(made.twice, desk, n) for n in (0, 1)] == [AdESPassed.OK, AdESPassed.OK]
    assert desk.issuer.asked == []


def test_without_what_is_carried_it_does_not(made, desk):
    stamped, _stamper = desk.stamped(made.unsigned)
    assert etsi(stamped, desk, 0) is AdESIndeterminate.CERTIFICATE_CHAIN_GENERAL_FAILURE


def test_pyhankos_own_check_at_the_stamped_time_needs_nothing_else(either):
    made, desk = either, either.desk
    for signature in reader_of(made.twice).embedded_regular_signatures:
        stamp = next(extract_tst_data_iter(signature.signer_info, signed=False))
        at = stamp["encap_content_info"]["content"].parsed
        held = carried(made.twice)
        asked = {
            "moment": at["gen_time"].native,
            "allow_fetching": False,
            "revocation_mode": "require",
            "retroactive_revinfo": True,
        }
        ours = [*certificates_in(desk.sheet.authority.root_pem)]
        theirs = [*certificates_in(desk.time.root.read_bytes())]
        status = validate_pdf_signature(
            signature,
            held.as_validation_context({**asked, "trust_roots": ours}),
            ts_validation_context=held.as_validation_context({**asked, "trust_roots": theirs}),
        )
        assert (status.bottom_line, status.timestamp_validity.trusted) == (True, True)
        assert status.modification_level <= ModificationLevel.FORM_FILLING


def test_it_counts_when_the_certificate_has_ended_and_when_its_bearer_has_left(made, desk):
    authority = desk.sheet.authority
    later = made.made_at + timedelta(days=500)
    answer = by_instance(made.twice, desk, later)
    assert (answer.exit_status, levels(answer)) == (0, ["B-LT", "B-LT"])
    assert all(SINCE["ended"] in said for said in answer.says)
    kept = authority._folder / "withdrawn.json"
    authority.revoke(desk.sheet.keys["vet"].serial, "left", made.made_at + timedelta(days=9))
    try:
        answer = by_instance(made.twice, desk, later)
    finally:
        kept.unlink()
    assert (answer.exit_status, levels(answer)) == (0, ["B-LT", "B-LT"])
    assert "Ines Corvane: intact, and the signer is known; time stamped" in answer.says[0]
    assert SINCE["withdrawn"] in answer.says[0]
    assert SINCE["ended"] in answer.says[1]


def test_one_made_after_its_bearer_left_does_not_count(made, desk):
    sheet = desk.sheet
    key = sheet.authority.issue("p-vet", "Ines Corvane", "vet", None, made.made_at)
    stamped, stamper = desk.stamped(made.unsigned, key=key)
    kept = sheet.authority._folder / "withdrawn.json"
    sheet.authority.revoke(key.serial, "left", stamper.at - timedelta(minutes=5))
    try:
        material = issued_material(sheet.authority, key, stamper.at)
        assert with_material(stamped, key, material, stamper, desk.lookups) == (stamped, False)
        assert not by_instance(stamped, desk).signatures[0].trusted
    finally:
        kept.unlink()
    assert by_root_alone(stamped, desk).signatures[0].trusted  # that root alone cannot know
    (found,) = by_root_alone(add_to_store(stamped, material), desk).signatures
    assert (found.trusted, found.level) == (False, "B-T")


def test_where_the_issuer_names_nobody_or_may_not_be_asked_it_is_a_stamped_signature(made, desk):
    pdf, lasts = desk.lasting(made.unsigned, lookups=Lookups(("other.example.org",)))
    assert (lasts, desk.issuer.asked) == (False, [])
    assert "/DSS" not in reader_of(pdf).root
    answer = by_instance(pdf, desk)
    assert levels(answer) == ["B-T"]
    assert LASTS_NOT in answer.says[0]


def test_where_the_issuer_cannot_be_asked_it_is_a_stamped_signature(made, desk):
    desk.issuer.broken = True
    pdf, lasts = desk.lasting(made.unsigned)
    assert not lasts
    assert desk.issuer.asked != []
    assert levels(by_instance(pdf, desk)) == ["B-T"]


def test_a_list_in_the_operators_folder_serves_without_asking(made, desk, tmp_path):
    (tmp_path / "weir.crl").write_bytes(desk.issuer.crl())
    (tmp_path / "notes.txt").write_text("fetched every night")
    pdf, lasts = desk.lasting(made.unsigned, lookups=Lookups(folder=tmp_path))
    assert (lasts, desk.issuer.asked) == (True, [])
    assert levels(by_instance(pdf, desk)) == ["B-LT"]


def test_a_time_authority_whose_certificate_was_withdrawn_signs_nothing(made, desk):
    desk.issuer.revoke(desk.issuer.folder / "tsa.pem")
    with pytest.raises(Invalid, match="time authority’s certificate was withdrawn"):
        desk.lasting(made.unsigned)


def test_a_list_of_a_large_issuer_is_kept_and_read_again(made, desk):
    """Seventy thousand lines of openssl's; the signature's own room is what it always is."""
    length = len(desk.issuer.publish(70_000))
    assert 2_000_000 < length < LARGEST_LIST
    once, lasts = desk.lasting(made.unsigned)
    assert lasts
    assert desk.issuer.asked == ["list"]
    (room,), (usual,) = (
        [len(each.sig_object.raw_get("/Contents")) for each in embedded(pdf)]
        for pdf in (once, made.once)
    )
    assert room == pytest.approx(usual, abs=16)  # an ECDSA signature's length varies by bytes
    desk.issuer.publish(70_001)
    twice, lasts = desk.lasting(once, "farrier")
    assert lasts
    assert len(twice) > 2 * length  # each signature has the list as it was then
    answer = by_instance(twice, desk)
    assert (answer.exit_status, levels(answer)) == (0, ["B-LT", "B-LT"])
    assert answer.carried_fault is None


def test_a_list_beyond_the_longest_is_looked_at_and_not_kept(made, desk, tmp_path):
    listed = desk.issuer.publish(170_000)
    assert len(listed) > lasting.LARGEST
    (tmp_path / "weir.crl").write_bytes(listed)
    pdf, lasts = desk.lasting(made.unsigned, lookups=Lookups(folder=tmp_path))
    assert not lasts
    assert "/DSS" not in reader_of(pdf).root
    desk.issuer.published = None
    desk.issuer.revoke(desk.issuer.folder / "tsa.pem")
    (tmp_path / "weir.crl").write_bytes(desk.issuer.publish(170_000))
    with pytest.raises(Invalid, match="time authority’s certificate was withdrawn"):
        desk.lasting(made.unsigned, lookups=Lookups(folder=tmp_path))


def test_a_byte_flipped_in_what_is_carried_is_said(made, desk):
    held = carried(made.twice)
    for part in (bytes_of(held.crls)[-1], bytes_of(held.certs.values())[0]):
        at = made.twice.rindex(part)
        for offset in (len(part) // 2, len(part) - 3):
            changed = bytearray(made.twice)
            changed[at + offset] ^= 1
            answer = by_root_alone(bytes(changed), desk)
            assert answer.exit_status == 1
            assert "B-LT" not in levels(answer)[1:]
            assert not answer.intact or answer.carried_fault in {NOT_THEIRS, UNREADABLE}
            assert not answer.intact or answer.carried_fault in answer.says


def test_cut_off_before_it_the_last_signature_is_only_stamped(made, desk):
    end = reader_of(made.once).embedded_regular_signatures[0].sig_object["/ByteRange"]
    answer = by_instance(made.once[: end[2] + end[3]], desk)
    assert answer.intact
    assert levels(answer) == ["B-T"]


def test_taken_out_by_an_update_it_is_a_change(made, desk):
    writer = IncrementalPdfFileWriter(io.BytesIO(made.twice))
    del writer.root["/DSS"]
    writer.update_root()
    out = io.BytesIO()
    writer.write(out)
    answer = by_root_alone(out.getvalue(), desk)
    assert levels(answer) == ["B-T", "B-T"]
    assert (answer.changes_after, answer.exit_status) == ("other", 1)


def test_what_is_no_material_is_unreadable_and_too_much_of_it_is_not_read(made, desk):
    stamped, _stamper = desk.stamped(made.unsigned)
    for parts in ([b"no list"], [b"%d" % n for n in range(MOST_PARTS + 1)]):
        writer = IncrementalPdfFileWriter(io.BytesIO(stamped))
        lists = [writer.add_object(generic.StreamObject(stream_data=part)) for part in parts]
        held = generic.DictionaryObject({generic.pdf_name("/CRLs"): generic.ArrayObject(lists)})
        writer.root["/DSS"] = writer.add_object(held)
        writer.update_root()
        out = io.BytesIO()
        writer.write(out)
        answer = by_root_alone(out.getvalue(), desk)
        assert (answer.carried_fault, answer.exit_status) == (UNREADABLE, 1)
        assert levels(answer) == ["B-T"]


def test_a_long_list_is_not_read(made, desk, monkeypatch):
    monkeypatch.setattr(store, "MOST_BYTES", 300)
    answer = by_root_alone(made.twice, desk)
    assert answer.carried_fault == UNREADABLE
    assert levels(answer) == ["B-T", "B-T"]


def test_a_list_made_long_after_shows_nothing_of_the_time_before(made, desk):
    stamped, stamper = desk.stamped(made.unsigned)
    key = desk.sheet.keys["vet"]
    material = issued_material(desk.sheet.authority, key, stamper.at + timedelta(days=2))
    assert with_material(stamped, key, material, stamper, desk.lookups) == (stamped, False)


def test_material_of_nobody_is_nothing(made, desk):
    assert add_to_store(made.once, Material()) == made.once
