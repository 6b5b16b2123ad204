"""What anybody may have of the instance's authority, to check its sheets with other programs."""

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from flask import Blueprint, Response

from referral.sheets.keys import withdrawn_list
from referral.sheets.office import LIST_PATH, office_of
from referral.web.wiring import wiring

blueprint = Blueprint("authority", __name__)


@blueprint.get("/authority/root.crt")
def root() -> Response:
    """Give the root certificate (DER)."""
    held = x509.load_pem_x509_certificate(office_of(wiring()).authority.root_pem)
    return Response(held.public_bytes(Encoding.DER), mimetype="application/pkix-cert")


@blueprint.get(LIST_PATH)
def withdrawn() -> Response:
    """Give the list of withdrawn certificates (DER), as it is now."""
    wired = wiring()
    with wired.database.reading() as session:
        pem = withdrawn_list(session, office_of(wired).authority, wired.now())
    listed = x509.load_pem_x509_crl(pem)
    return Response(listed.public_bytes(Encoding.DER), mimetype="application/pkix-crl")
