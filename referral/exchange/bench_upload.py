"""How long a film takes from being sent to being shown, through a real worker beside us."""

import io
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from sqlalchemy.orm import Session

from referral.accounts.passwords import LEAST_COST, Passwords
from referral.accounts.service import AddPerson, add_organisation, add_person
from referral.cases.access import CaseAccess
from referral.cases.queries import case_for
from referral.cases.service import Member, OpenCase, open_case
from referral.clock import utc_now
from referral.core.workflow import Role
from referral.exchange.timing import medians_ms
from referral.films.intake import SendFilm, is_settled, keep_upload
from referral.films.service import TakenHow
from referral.horses.service import RecordHorse, record_horse
from referral.settings import load_settings
from referral.storage import schema
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.decode.film import (
    JPEG_QUALITY,
    SERVED_LONGEST_PX,
    jpeg_bytes,
    read_apart,
    read_film,
)
from referral.storage.working import worker_beside

BETWEEN_LOOKS_S = 0.002
AT_MOST = 9
"""Runs of what takes long."""


@dataclass(frozen=True, slots=True)
class Place:
    """An instance of the bench's own, with one case on it."""

    database: Database
    blobs: BlobStore
    access: CaseAccess
    wake: Callable[[], None] = lambda: None


def upload_figures(data: bytes) -> Mapping[str, str]:
    """Return how long the libraries alone take, the worker's child, and from sent to shown."""
    with _place() as place:
        alone_ms, here_ms, apart_ms, whole_ms = medians_ms(
            [
                lambda: _libraries_alone(data),
                lambda: jpeg_bytes(read_film(data, "a.dcm"), SERVED_LONGEST_PX),
                lambda: read_apart(data, "a.dcm"),
                lambda: _send_and_wait(place, data),
            ],
            AT_MOST,
        )
    return {
        "7.2 megapixels: decode, window, JPEG, the libraries alone": f"{alone_ms:.0f} ms",
        "our own reading of it in this process, warm": f"{here_ms:.0f} ms",
        "in a fresh child under limits, as the worker does it": f"{apart_ms:.0f} ms",
        "worker's child over the libraries alone": f"{apart_ms / alone_ms:.2f}",
        "from sent to shown through a worker": f"{whole_ms:.0f} ms",
        "from sent to shown over the libraries alone": f"{whole_ms / alone_ms:.2f}",
        "handing over (whole less the worker's child)": f"{whole_ms - apart_ms:.0f} ms",
    }


def _libraries_alone(data: bytes) -> bytes:
    """Decode, window and encode as pydicom and Pillow do it with nothing else looked at."""
    import pydicom  # noqa: PLC0415 - heavy
    from pydicom.pixels.processing import apply_modality_lut, apply_voi_lut  # noqa: PLC0415 - heavy

    dataset = pydicom.dcmread(io.BytesIO(data))
    grey = apply_voi_lut(apply_modality_lut(dataset.pixel_array, dataset), dataset)
    least, most = float(grey.min()), float(grey.max())
    image = Image.fromarray(((grey - least) * (255.0 / (most - least))).astype(np.uint8))
    image.thumbnail((SERVED_LONGEST_PX, SERVED_LONGEST_PX), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()


def _send_and_wait(place: Place, data: bytes) -> None:
    now = utc_now()
    taken = TakenHow("LF", "lateromedial", now.date(), "before", "no")
    with place.database.transaction() as session:
        command = SendFilm(data, "a.dcm", taken, now.date())
        sent = keep_upload(session, place.access, place.blobs, command, now)
    place.wake()
    while True:
        with place.database.reading() as session:
            if is_settled(session, sent):
                return
        time.sleep(BETWEEN_LOOKS_S)


@contextmanager
def _place() -> Iterator[Place]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "config.toml").touch()
        settings = load_settings(folder, {})
        schema.upgrade(settings.database_url)
        database = Database(settings.database_url)
        with database.transaction() as session:
            access = a_case(session)
        with worker_beside(folder) as wake:
            yield Place(database, BlobStore(settings.files_dir), access, wake)
        database.dispose()


def a_case(session: Session) -> CaseAccess:
    """Open a case with a vet, a farrier and an owner, and return it as the vet sees it."""
    now, passwords = utc_now(), Passwords(LEAST_COST)
    members = {}
    for role, kind in ((Role.VET, "practice"), (Role.FARRIER, "forge"), (Role.OWNER, None)):
        house = add_organisation(session, kind, kind, now).id if kind else None
        person = AddPerson(
            name=role.value,
            email=f"{role.value}@example.org",
            role=role.value,
            organisation_id=house,
            password=None,
            registration_number="1",
            phone=None,
        )
        members[role] = Member(add_person(session, passwords, person, now).id, role, house)
    blank = dict.fromkeys(("chip", "ueln", "breed", "sex", "colour", "yard"))
    horse = RecordHorse(
        name="Bench",
        animal="adult_horse",
        born_year=None,
        weight_kg=None,
        owner_id=members[Role.OWNER].person_id,
        **blank,
    )
    vet = members[Role.VET]
    horse_id = record_horse(session, vet.person_id, horse, now, demo=False).id
    others = (members[Role.FARRIER], members[Role.OWNER])
    opened = open_case(session, OpenCase(horse_id, "GB", "UTC", vet, others, now.date()), now)
    return case_for(session, vet.person_id, opened.number)
