"""What a tagged PDF still lacks after layout: tagged form fields, header scopes, its own claim."""

import re
from collections.abc import Iterator
from functools import partial
from typing import Any

CLAIM = b"""<rdf:Description rdf:about="" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">
<pdfuaid:part>1</pdfuaid:part></rdf:Description>
<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property></rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""
"""PDF/UA identification with the extension schema that PDF/A asks for. Source: ISO 14289-1."""


def tag_widget(document: Any, page: Any, widget: Any, label: str) -> None:  # noqa: ANN401 - pikepdf
    """Hang a form field into the structure tree, so that a screen reader comes to it."""
    import pikepdf  # noqa: PLC0415 - heavy, loaded on first use

    root = document.Root.StructTreeRoot
    parent = _document_element(root)
    element = document.make_indirect(
        pikepdf.Dictionary(
            Type=pikepdf.Name.StructElem,
            S=pikepdf.Name.Form,
            P=parent,
            Pg=page.obj,
            Alt=pikepdf.String(label),
            K=pikepdf.Dictionary(Type=pikepdf.Name.OBJR, Obj=widget, Pg=page.obj),
        )
    )
    parent.K.append(element)
    numbers = root.ParentTree.Nums
    key = int(root.get("/ParentTreeNextKey", _highest(numbers) + 1))
    numbers.append(key)
    numbers.append(element)
    root.ParentTreeNextKey = key + 1
    widget.StructParent = key


def scope_headers(document: Any) -> None:  # noqa: ANN401 - pikepdf's own
    """Say of every table header whether it heads its column or its row."""
    import pikepdf  # noqa: PLC0415 - heavy, loaded on first use

    for row in _elements(document.Root.StructTreeRoot):
        if row.get("/S") != pikepdf.Name.TR:
            continue
        cells = list(_children(row))
        kinds = {str(cell.get("/S")) for cell in cells}
        scope = pikepdf.Name.Column if kinds == {"/TH"} else pikepdf.Name.Row
        for cell in cells:
            if cell.get("/S") == pikepdf.Name.TH:
                cell.A = pikepdf.Dictionary(O=pikepdf.Name.Table, Scope=scope)


MARKED = re.compile(rb"/\w+\s*<<\s*/MCID (\d+)\s*>>\s*BDC")


def set_margins_apart(document: Any) -> None:  # noqa: ANN401 - pikepdf's own
    """Mark what stands in the pages' margins as no content (ISO 14289-1, 7.8).

    Layout numbers it as content of elements that nothing in the structure tree leads to.
    """
    root = document.Root.StructTreeRoot
    reached = {element.objgen for element in _elements(root)}
    numbers = root.ParentTree.Nums
    parents = {int(numbers[at]): numbers[at + 1] for at in range(0, len(numbers), 2)}
    for page in document.pages:
        owners = parents[int(page.StructParents)]
        apart = {n for n, owner in enumerate(owners) if owner.objgen not in reached}
        drawn = page.Contents.read_bytes()
        page.Contents.write(MARKED.sub(partial(_as_artifact, apart), drawn))


def _as_artifact(apart: set[int], found: re.Match[bytes]) -> bytes:
    return b"/Artifact BMC" if int(found[1]) in apart else found[0]


def declare_accessible(document: Any) -> None:  # noqa: ANN401 - pikepdf's own
    """Add the PDF/UA identification to the metadata."""
    metadata = document.Root.Metadata
    packet = metadata.read_bytes()
    metadata.write(packet.replace(b"</rdf:RDF>", CLAIM + b"</rdf:RDF>", 1))


def _document_element(root: Any) -> Any:  # noqa: ANN401 - pikepdf's own
    import pikepdf  # noqa: PLC0415 - heavy, loaded on first use

    top = root.K
    element = top[0] if isinstance(top, pikepdf.Array) else top
    if not isinstance(element.K, pikepdf.Array):
        element.K = pikepdf.Array([element.K])
    return element


def _highest(numbers: Any) -> int:  # noqa: ANN401 - pikepdf's own
    return max((int(numbers[at]) for at in range(0, len(numbers), 2)), default=-1)


def _children(element: Any) -> Iterator[Any]:  # noqa: ANN401 - pikepdf's own
    import pikepdf  # noqa: PLC0415 - heavy, loaded on first use

    kids = element.get("/K")
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid


def _elements(root: Any) -> Iterator[Any]:  # noqa: ANN401 - pikepdf's own
    waiting = list(_children(root))
    while waiting:
        element = waiting.pop()
        yield element
        waiting.extend(_children(element))
