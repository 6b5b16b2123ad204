"""Each state of every kind of sheet beside the later ones: what was added, and what it shows.

pyHanko's difference analysis names what a later part changes of an earlier one; poppler renders
each signed state and the last one, which may differ where a later signature stands and nowhere
else. Source of the levels: ISO 32000-1, 12.8.2.2 (DocMDP, P = 2); ETSI EN 319 142-1, 5.4.
"""

import io
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pikepdf
import pytest
from PIL import Image, ImageChops, ImageDraw
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.diff_analysis import DEFAULT_DIFF_POLICY, ModificationLevel
from pyhanko.sign.diff_analysis.policy_api import SuspiciousModification

from referral.sheets.snapshot import SIGNERS, SheetKind
from tests.features.sheets.lasting_sheet import Desk, a_desk
from tests.features.sheets.test_verify import annotated, changed_by_update
from tests.peers.test_pdfsig import BYTE_RANGE, run

pytestmark = pytest.mark.enable_socket

DPI = 60
EDGE_PX = 2
"""Lines of a box are drawn half outside it, and blurred over a pixel."""
SIGNED, PROVED = "signed", "proved"


@dataclass(frozen=True)
class Grown:
    """A sheet as it grew: before any signature, then each signature and each one's proofs."""

    kind: SheetKind
    desk: Desk
    states: tuple[bytes, ...]
    added: tuple[tuple[str, int], ...]
    """What each state after the first adds: a signature or its proofs, and of which signer."""

    @property
    def whole(self) -> bytes:
        return self.states[-1]


def grown(desk: Desk) -> Grown:
    kind = desk.sheet.snapshot.kind
    states, added = [desk.sheet.unsigned], []
    for n, role in enumerate(SIGNERS[kind]):
        proved, lasts = desk.lasting(states[-1], role)
        assert lasts
        states += [proved[: end_of(proved, n)], proved]
        added += [(SIGNED, n), (PROVED, n)]
    return Grown(kind, desk, tuple(states), tuple(added))


def end_of(pdf: bytes, n: int) -> int:
    """Return where what a signature covers ends."""
    *_, start, length = map(int, list(BYTE_RANGE.finditer(pdf))[n].groups())
    return start + length


@pytest.fixture(scope="module", params=list(SheetKind))
def sheet(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory):
    with a_desk(tmp_path_factory.mktemp(request.param), kind=request.param) as desk:
        yield grown(desk)


def read(pdf: bytes) -> PdfFileReader:
    return PdfFileReader(io.BytesIO(pdf))


def judged(pdf: bytes, n: int):
    """Return what was done to a file since a signature, and whether the first one allows it."""
    signature = read(pdf).embedded_regular_signatures[n]
    signature.compute_integrity_info(diff_policy=DEFAULT_DIFF_POLICY)
    said = signature.summarise_integrity_info()
    return said["diff_result"], said["docmdp_ok"]


def expected(grown: Grown, signer: int, state: int) -> ModificationLevel:
    """Return how far a state may differ from what a signer signed: by what came in between."""
    since = grown.added[2 * signer + 1 : state]
    if any(what == SIGNED for what, _n in since):
        return ModificationLevel.FORM_FILLING
    return ModificationLevel.LTA_UPDATES if since else ModificationLevel.NONE


def test_each_state_is_the_beginning_of_the_next_and_adds_one_revision(sheet):
    assert len(sheet.states) == 1 + 2 * len(SIGNERS[sheet.kind])
    for before, after in pairwise(sheet.states):
        assert after.startswith(before)
        assert read(after).xrefs.total_revisions == read(before).xrefs.total_revisions + 1


def test_each_later_part_is_of_the_level_that_its_purpose_has_and_of_no_other(sheet):
    compared = 0
    for state, pdf in enumerate(sheet.states):
        for signer in range(len(read(pdf).embedded_regular_signatures)):
            found, is_allowed = judged(pdf, signer)
            assert found.modification_level is expected(sheet, signer, state), (signer, state)
            assert is_allowed
            compared += 1
    assert compared == {1: 2, 2: 6}[len(SIGNERS[sheet.kind])]


def test_only_the_fields_of_later_signers_are_changed(sheet):
    names = [f"Sig_{role.capitalize()}" for role in SIGNERS[sheet.kind]]
    for signer in range(len(names)):
        found, _is_allowed = judged(sheet.whole, signer)
        assert found.changed_form_fields == set(names[signer + 1 :])


def attached_otherwise(pdf: bytes) -> bytes:
    """Append a valid update in which the attached content says something else."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    stream = names[1]["/EF"]["/F"]
    stream._data = stream.data.replace(b"Quillon", b"Quillen")
    stream._encoded_data = None
    writer.update_container(stream)
    out = io.BytesIO()
    writer.write(out)
    with pikepdf.open(out) as document:
        assert b"Quillen" in document.attachments["handover.json"].get_file().read_bytes()
    return out.getvalue()


@pytest.mark.parametrize("change", [changed_by_update, annotated, attached_otherwise])
def test_any_other_part_is_caught_after_whichever_signature_it_comes(sheet, change):
    for pdf in sheet.states[1:]:
        changed = change(pdf)
        assert changed.startswith(pdf)
        for signer in range(len(read(pdf).embedded_regular_signatures)):
            found, is_allowed = judged(changed, signer)
            assert isinstance(found, SuspiciousModification)
            assert not is_allowed


@pytest.mark.parametrize(
    "sheet", [kind for kind, roles in SIGNERS.items() if len(roles) > 1], indirect=True
)
def test_a_part_slipped_in_before_the_second_signature_is_caught_by_the_first(sheet):
    _first, second = SIGNERS[sheet.kind]
    sneaked, _lasts = sheet.desk.lasting(changed_by_update(sheet.states[2]), second)
    found, is_allowed = judged(sneaked, 0)
    assert isinstance(found, SuspiciousModification)
    assert not is_allowed
    assert judged(sneaked, 1)[0].modification_level is ModificationLevel.LTA_UPDATES


def pictures(pdf: bytes, folder: Path, name: str) -> list[Image.Image]:
    (folder / f"{name}.pdf").write_bytes(pdf)
    run("pdftoppm", "-r", str(DPI), folder / f"{name}.pdf", folder / name)
    return [Image.open(page).convert("RGB") for page in sorted(folder.glob(f"{name}-*.ppm"))]


def boxes_of(pdf: bytes) -> Iterator[tuple[str, int, tuple[float, float, float, float]]]:
    """Yield each signature field's name, its page, and its box in pixels from the upper left."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        for n, page in enumerate(document.pages):
            top = float(page.mediabox[3])
            for each in page.obj.get("/Annots", ()):
                if each.get("/FT") == "/Sig":
                    left, low, right, high = (float(edge) for edge in each.Rect)
                    edges = left, top - high, right, top - low
                    yield str(each.T), n, tuple(edge * DPI / 72 for edge in edges)


def covered(picture: Image.Image, box: tuple[float, float, float, float]) -> Image.Image:
    """Return a picture with a box painted over."""
    out = picture.copy()
    left, top, right, bottom = box
    grown = (left - EDGE_PX, top - EDGE_PX, right + EDGE_PX, bottom + EDGE_PX)
    ImageDraw.Draw(out).rectangle(grown, fill="white")
    return out


def differing(
    before: list[Image.Image], after: list[Image.Image], boxes, names: set[str]
) -> list[tuple[int, ...] | None]:
    """Return where each page differs outside the boxes of those fields."""
    found = []
    for n, pages in enumerate(zip(before, after, strict=True)):
        for box in [box for name, page, box in boxes if page == n and name in names]:
            pages = tuple(covered(each, box) for each in pages)  # noqa: PLW2901 - box upon box
        found.append(ImageChops.difference(*pages).getbbox())
    return found


def test_each_signed_state_is_rendered_as_the_last_is_but_for_later_signatures(sheet, tmp_path):
    shown = [pictures(pdf, tmp_path, f"state{n}") for n, pdf in enumerate(sheet.states)]
    boxes = list(boxes_of(sheet.whole))
    fields = [f"Sig_{role.capitalize()}" for role in SIGNERS[sheet.kind]]
    assert [name for name, _page, _box in boxes] == fields
    for n, before in enumerate(shown[:-1]):
        later = {fields[signer] for what, signer in sheet.added[n:] if what == SIGNED}
        assert not any(differing(before, shown[-1], boxes, later)), n
        for field in later:  # and there it does differ: each signature is seen
            (page,) = [page for name, page, _box in boxes if name == field]
            assert differing(before, shown[-1], boxes, later - {field})[page]


def test_what_is_painted_over_a_page_later_is_seen(sheet, tmp_path):
    boxes, fields = list(boxes_of(sheet.whole)), {name for name, *_ in boxes_of(sheet.whole)}
    before = pictures(sheet.states[1], tmp_path, "signed")
    after = pictures(changed_by_update(sheet.whole), tmp_path, "painted")
    assert differing(before, after, boxes, fields)[0]
