"""A certificate that a signer brought, looked up where it says: `openssl ca` and `openssl ocsp`."""

import pytest
from asn1crypto import x509 as asn1

from referral.clock import utc_now
from referral.errors import Invalid
from referral.sheets.authority import Bearer, IssuedKey
from referral.sheets.drafts import Lookups
from referral.sheets.lasting import look_up_own, with_material
from referral.sheets.material import certificates_in
from referral.sheets.verify import verify_pdf
from referral.storage.wrapped import wrap
from tests.features.sheets.issuing import an_issuer_that_answers
from tests.features.sheets.lasting_sheet import a_desk
from tests.features.sheets.own import FIT, HOLDER
from tests.features.sheets.time_authority import openssl

pytestmark = pytest.mark.enable_socket

INSTANCE_KEY = b"k" * 32
NAMED = ("named_list", "named_answers")


@pytest.fixture
def issuer(tmp_path):
    with an_issuer_that_answers(tmp_path / "own issuer", "Green Gate Signing") as running:
        yield running


def brought(issuer, named, chain=True):
    """Return a key as a person brings it, with where its certificate says to ask."""
    words = getattr(issuer, named)() if named else ""
    made = issuer.issue("own", FIT + words, f"/CN={HOLDER}")
    key = openssl("pkcs8", "-topk8", "-nocrypt", "-outform", "DER", "-in", made.with_suffix(".key"))
    (certificate,) = certificates_in(made.read_bytes())
    assert isinstance(certificate, asn1.Certificate)
    return IssuedKey(
        f"{certificate.serial_number:x}",
        made.read_text(),
        wrap(key, INSTANCE_KEY, "brought"),
        certificate.not_valid_after,
        purpose="brought",
        chain_pem=issuer.root.read_text() if chain else "",
        issuer="Green Gate Signing",
        bearer=Bearer("Ines Corvane", "vet", "Marlhope"),
    )


def lookups(issuer):
    return Lookups((issuer.host,))


@pytest.mark.parametrize("named", NAMED)
def test_one_that_was_not_withdrawn_is_known_not_to_be(issuer, named):
    known, material = look_up_own(brought(issuer, named), utc_now(), lookups(issuer))
    assert known
    assert issuer.asked == [named.removeprefix("named_").removesuffix("s")]
    assert len(material.lists) + len(material.answers) == 1


@pytest.mark.parametrize("named", NAMED)
def test_one_that_was_withdrawn_is_refused_with_what_to_do(issuer, named):
    key = brought(issuer, named)
    issuer.revoke(issuer.folder / "own.pem")
    with pytest.raises(Invalid) as caught:
        look_up_own(key, utc_now(), lookups(issuer))
    said = caught.value.message
    assert said.startswith("Your own certificate no longer counts: its issuer withdrew it")
    assert f"on {utc_now().day} " in said
    assert "bring another, or remove it and sign with one of this instance’s" in said


def test_what_cannot_be_asked_is_not_known(issuer):
    key, now = brought(issuer, "named_list"), utc_now()
    assert not look_up_own(key, now, Lookups())[0]
    assert not look_up_own(key, now, Lookups(("any",)))[0]  # its host is a private address
    assert issuer.asked == []
    issuer.broken = True
    assert not look_up_own(key, now, lookups(issuer))[0]
    issuer.broken = False
    assert not look_up_own(brought(issuer, None), now, lookups(issuer))[0]
    assert not look_up_own(brought(issuer, "named_list", chain=False), now, lookups(issuer))[0]


def test_an_answer_of_somebody_else_says_nothing(issuer, tmp_path):
    """Another authority of the same name withdrew the same number: its word does not count."""
    key = brought(issuer, "named_list")
    with an_issuer_that_answers(tmp_path / "other", "Green Gate Signing") as other:
        (other.folder / "index.txt").write_text((issuer.folder / "index.txt").read_text())
        other.revoke(issuer.folder / "own.pem")
        (tmp_path / "lists").mkdir()
        (tmp_path / "lists" / "other.crl").write_bytes(other.crl())
    assert not look_up_own(key, utc_now(), Lookups(folder=tmp_path / "lists"))[0]


@pytest.mark.parametrize(
    "inside", ["3000", "30020500", "3003020101", "300d300b0609608648016503040302"]
)
def test_what_is_only_wrapped_like_a_list_or_an_answer_says_nothing(issuer, tmp_path, inside):
    """Sequences that hold nothing, or something else, where a list or an answer has its parts."""
    held = bytes.fromhex(inside)
    (tmp_path / "lists").mkdir()
    (tmp_path / "lists" / "odd.crl").write_bytes(held)
    issuer.answer = lambda _query: held
    issuer.crl = lambda _form="PEM": held
    for named in NAMED:
        where = Lookups((issuer.host,), tmp_path / "lists")
        assert not look_up_own(brought(issuer, named), utc_now(), where)[0]
    assert issuer.asked == ["list", "answer"]


def test_stamped_it_lasts_and_the_check_still_claims_nothing_for_our_authority(issuer, tmp_path):
    with a_desk(tmp_path) as desk:
        key = brought(issuer, "named_answers")
        both = Lookups((issuer.host, desk.issuer.host))
        known, material = look_up_own(key, utc_now(), both)
        stamped, stamper = desk.stamped(desk.sheet.unsigned, key=key)
        pdf, lasts = with_material(stamped, key, material, stamper, both)
        assert (known, lasts) == (True, True)
        (found,) = verify_pdf(pdf, desk.sheet.authority.root_pem).signatures
        assert (found.level, found.trusted, found.intact) == ("B-LT", False, True)
        bare, lasts = with_material(stamped, key, look_up_own(key, utc_now(), Lookups())[1],
                                    stamper, both)  # fmt: skip
        assert (bare, lasts) == (stamped, False)
