"""Signature fields before the first signature, then one PAdES signature a person."""

import asyncio
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from referral.errors import WrongState
from referral.sheets.authority import Authority, Bearer, IssuedKey
from referral.sheets.tagging import (
    declare_accessible,
    scope_headers,
    set_margins_apart,
    tag_widget,
)
from referral.sheets.wording import ROLES, moment, named
from referral.web.pdf import PageBox, page_html, render_pdf

PRINTED_AND_LOCKED = 132
ROOM_FOR_STAMP = 12 * 1024
"""Bytes kept free for a time stamp; it is made when the file's length is settled."""


@dataclass(frozen=True, slots=True)
class SignatureField:
    """An empty signature field: its name, what it is read out as, and where it stands."""

    name: str
    label: str
    box: PageBox


@dataclass(frozen=True, slots=True)
class SigningAct:
    """One signature to be made: in which field, meaning what, where and when.

    ``certify`` is for the first signature of a sheet: after it, only the remaining empty fields
    may be signed and nothing else may change.
    """

    field: str
    certify: bool
    reason: str
    location: str | None
    at: datetime


def prepare(pdf: bytes, fields: Sequence[SignatureField]) -> bytes:
    """Return the PDF with its empty, tagged signature fields. Nothing but signatures may follow."""
    import pikepdf  # noqa: PLC0415 - heavy, loaded on first use

    with pikepdf.open(io.BytesIO(pdf)) as document:
        if fields:
            widgets = [_widget(document, field) for field in fields]
            document.Root.AcroForm = document.make_indirect(
                pikepdf.Dictionary(Fields=pikepdf.Array(widgets), SigFlags=3)
            )
        document.Root.ViewerPreferences = pikepdf.Dictionary(DisplayDocTitle=True)
        scope_headers(document)
        set_margins_apart(document)
        declare_accessible(document)
        out = io.BytesIO()
        # Objects one by one: a checker that reads them out of one large stream takes seconds.
        plain = pikepdf.ObjectStreamMode.disable
        document.save(out, deterministic_id=True, object_stream_mode=plain)
    return out.getvalue()


def sign(
    pdf: bytes,
    authority: Authority,
    issued: IssuedKey,
    act: SigningAct,
    stamper: Any = None,  # noqa: ANN401 - pyHanko's own
) -> bytes:
    """Return the PDF with one more signature, appended; the bytes given are its beginning.

    ``stamper`` asks a time authority when the signature was made, where one is set.

    Raises
    ------
    Invalid
        If the time authority gives no time stamp.
    WrongState
        If there is no such empty field, or what is signed already forbids another signature.
    SettingsFault
        If the signer's key cannot be opened.
    """
    from pyhanko.pdf_utils.incremental_writer import (  # noqa: PLC0415 - heavy, loaded on first use
        IncrementalPdfFileWriter,
    )
    from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter  # noqa: PLC0415 - likewise
    from pyhanko.sign.general import SigningError  # noqa: PLC0415 - likewise
    from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner  # noqa: PLC0415 - likewise

    writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
    signer = _signer(authority, issued)
    meta = PdfSignatureMetadata(
        field_name=act.field,
        subfilter=SigSeedSubFilter.PADES,
        md_algorithm="sha256",
        certify=act.certify,
        docmdp_permissions=MDPPerm.FILL_FORMS,
        name=_bearer(issued, signer.signing_cert).name,
        reason=act.reason,
        location=act.location,
    )
    page = _stamp_page(issued, signer.signing_cert, act, _box_size(writer, act.field))
    try:
        with TemporaryDirectory() as folder:
            stamp = _stamp_style(page, Path(folder) / "stamp.pdf")
            made = PdfSigner(meta, signer=signer, stamp_style=stamp)
            return _signed_at(made, writer, act.at, stamper)
    except SigningError as fault:
        raise WrongState(f"This sheet cannot be signed in {act.field}: {fault}") from fault


def _signed_at(
    signer: Any,  # noqa: ANN401 - pyHanko's own
    writer: Any,  # noqa: ANN401 - likewise
    now: datetime,
    stamper: Any,  # noqa: ANN401 - likewise
) -> bytes:
    """Sign with our time; the one-call form would read the machine's clock."""
    from pyhanko.sign.signers.pdf_cms import (  # noqa: PLC0415 - heavy, loaded on first use
        PdfCMSSignedAttributes,
    )

    async def whole() -> bytes:
        session = signer.init_signing_session(writer, existing_fields_only=True)
        session.system_time = now
        size = await session.estimate_signature_container_size(None, tight=False)
        if stamper is not None:  # only now, or the estimate would ask for a token of its own
            session.timestamper = stamper
            size += 2 * ROOM_FOR_STAMP
        document = session.prepare_tbs_document(validation_info=None, bytes_reserved=size)
        prepared, output = document.digest_tbs_document()
        signed = await document.perform_signature(
            prepared.document_digest, PdfCMSSignedAttributes(signing_time=now)
        )
        await signed.post_signature_processing(output)
        data: bytes = output.getvalue()
        return data

    return asyncio.run(whole())


def _signer(authority: Authority, issued: IssuedKey) -> Any:  # noqa: ANN401 - pyHanko's own
    from asn1crypto import keys, pem, x509  # noqa: PLC0415 - heavy, loaded on first use
    from pyhanko.sign.signers import SimpleSigner  # noqa: PLC0415 - likewise
    from pyhanko_certvalidator.registry import (  # noqa: PLC0415 - likewise
        SimpleCertificateStore,
    )

    def certificate(text: bytes) -> Any:  # noqa: ANN401 - asn1crypto carries no types
        return x509.Certificate.load(pem.unarmor(text)[2])

    chain = SimpleCertificateStore()  # type: ignore[no-untyped-call]  # has no types
    above = issued.chain_pem.encode() if issued.issuer else authority.root_pem
    for _kind, _headers, data in pem.unarmor(above, multiple=True) if above else ():
        chain.register(x509.Certificate.load(data))
    return SimpleSigner(
        signing_cert=certificate(issued.certificate_pem.encode()),
        signing_key=keys.PrivateKeyInfo.load(authority.open_key(issued)),
        cert_registry=chain,
    )


def _bearer(issued: IssuedKey, certificate: Any) -> Bearer:  # noqa: ANN401 - asn1crypto's own
    """Return who signs: as the certificate says if it is one of ours, else as we know them."""
    if issued.bearer is not None:
        return issued.bearer
    subject = certificate.subject.native
    return Bearer(subject["common_name"], subject["title"], subject.get("organization_name"))


def _stamp_page(
    issued: IssuedKey,
    certificate: Any,  # noqa: ANN401 - asn1crypto's own
    act: SigningAct,
    size_pt: tuple[float, float],
) -> bytes:
    """Return the signature's appearance as a PDF page of the box's size."""
    width, height = size_pt
    bearer = _bearer(issued, certificate)
    shown = {
        "name": bearer.name,
        "role": ROLES.get(bearer.role, bearer.role),
        "organisation": bearer.organisation,
        "holder": named(certificate.subject),
        "issuer": issued.issuer,
        "when": moment(act.at),
        "reason": act.reason,
        "location": act.location,
        "width": width,
        "height": height,
    }
    return render_pdf(page_html("print/stamp.html", shown), archival=False).data


def _stamp_style(page: bytes, file: Path) -> Any:  # noqa: ANN401 - pyHanko's own
    """Return the page as appearance: the library's own text stamp would embed no font."""
    from pyhanko.pdf_utils.content import ImportedPdfPage  # noqa: PLC0415 - heavy
    from pyhanko.pdf_utils.layout import (  # noqa: PLC0415 - heavy, loaded on first use
        AxisAlignment,
        InnerScaling,
        Margins,
        SimpleBoxLayoutRule,
    )
    from pyhanko.stamp import StaticStampStyle  # noqa: PLC0415 - likewise

    file.write_bytes(page)
    return StaticStampStyle(
        border_width=0,
        background=ImportedPdfPage(str(file)),  # type: ignore[no-untyped-call]  # has no types
        background_opacity=1.0,
        background_layout=SimpleBoxLayoutRule(
            AxisAlignment.ALIGN_MIN,
            AxisAlignment.ALIGN_MIN,
            margins=Margins(),
            inner_content_scaling=InnerScaling.NO_SCALING,
        ),
    )


def _box_size(writer: Any, field: str) -> tuple[float, float]:  # noqa: ANN401 - pyHanko's own
    from pyhanko.sign.fields import enumerate_sig_fields  # noqa: PLC0415 - heavy

    for name, value, reference in enumerate_sig_fields(writer.prev):
        if name == field and value is None:
            left, bottom, right, top = (float(edge) for edge in reference.get_object()["/Rect"])
            return right - left, top - bottom
    raise WrongState(f"This sheet has no empty signature field {field}.")


def _widget(document: Any, field: SignatureField) -> Any:  # noqa: ANN401 - pikepdf's own
    import pikepdf  # noqa: PLC0415 - heavy, loaded on first use

    page = document.pages[field.box.page]
    box = field.box
    edges = [round(edge, 2) for edge in (box.left_pt, box.bottom_pt, box.right_pt, box.top_pt)]
    width, height = edges[2] - edges[0], edges[3] - edges[1]
    empty = document.make_stream(
        b"", Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Form, BBox=[0, 0, width, height]
    )
    widget = document.make_indirect(
        pikepdf.Dictionary(
            Type=pikepdf.Name.Annot,
            Subtype=pikepdf.Name.Widget,
            FT=pikepdf.Name.Sig,
            T=pikepdf.String(field.name),
            TU=pikepdf.String(field.label),
            Contents=pikepdf.String(field.label),
            F=PRINTED_AND_LOCKED,
            Rect=pikepdf.Array(edges),
            P=page.obj,
            AP=pikepdf.Dictionary(N=empty),
        )
    )
    if "/Annots" not in page.obj:
        page.obj.Annots = pikepdf.Array()
    page.obj.Annots.append(widget)
    page.obj.Tabs = pikepdf.Name.S
    tag_widget(document, page, widget, field.label)
    return widget
