"""A case seen through the app's own pages by everybody it concerns, and by strangers."""

import io
import json
import re
from dataclasses import dataclass, field
from uuid import UUID

from flask import Flask
from PIL import Image
from sqlalchemy import func, select
from werkzeug.test import TestResponse

from referral.accounts.models import Organisation
from referral.cases.models import CaseMember
from referral.cases.queries import case_for
from referral.cases.service import SetProblem, Words, acknowledge, set_problem
from referral.storage.db import Base, Database
from referral.storage.ids import new_id
from tests.browser.sample import FOOT_PX, MARKER_PX
from tests.factories import (
    NOW,
    READINGS,
    Cast,
    a_case,
    a_cast,
    a_limit,
    a_person,
    a_referral,
    typed_readings,
)
from tests.web.browsing import Browser

TODAY = NOW.date().isoformat()
ORIGINAL_PX = (3000, 2400)
PLAN = {
    "LF-toe_trim_mm": "4",
    "LF-heel_trim_mm": "0",
    "LF-category": "straight_bar",
    "LF-material": "steel",
    "LF-thickness_mm": "10",
    "LF-width_mm": "134",
    "LF-length_mm": "146",
    "LF-breakover_setback_mm": "20",
    "LF-heel_extension_mm": "8",
    "LF-wedge_deg": "3",
    "LF-attachment": "nails",
    "LF-nail_count": "6",
    "LF-interval_weeks": "5",
    "fit_on": TODAY,
    "recheck_owner": "vet",
    "recheck_on": "2026-12-30",
    "words": "It is what this foot allows.",
}


@dataclass
class Yard:
    """One case of the cast's; every browser is signed in when it is first asked for."""

    app: Flask
    database: Database
    cast: Cast
    number: int
    browsers: dict[str, Browser] = field(default_factory=dict)
    emails: dict[str, str] = field(default_factory=dict)

    @property
    def home(self) -> str:
        return f"/cases/{self.number}"

    def browser(self, who: str) -> Browser:
        if who not in self.browsers:
            browser = Browser(self.app)
            assert browser.sign_in(self.emails[who]).status_code == 303
            self.browsers[who] = browser
        return self.browsers[who]

    def open(self, who: str, path: str = "") -> TestResponse:
        """Open a page below the case."""
        return self.browser(who).get(self.home + path)

    def send(self, who: str, form: str, path: str, data: dict) -> TestResponse:
        """Open a form below the case and send it as the page would, with what is typed."""
        page = self.open(who, form)
        fields = {**hidden_in(page, self.home + path), **data}
        answer = self.browser(who).post(self.home + path, fields)
        answer.request.environ["wsgi.input"].close()  # a large one is a file
        return answer

    def done(self, who: str, form: str, path: str, data: dict) -> str:
        """Send a form that must succeed and return where it leads."""
        answer = self.send(who, form, path, data)
        assert answer.status_code == 303, words_of(answer)
        return answer.location

    def rows(self) -> dict[str, int]:
        return rows_in(self.database)

    # steps of the loop, through its pages

    def refer(self) -> None:
        """Bring the case to the farrier's turn, through the services."""
        with self.database.transaction() as session:
            vet = case_for(session, self.cast.vet.id, self.number)
            problem = SetProblem("LF", "under_run_heels", "confirmed", None, NOW.date())
            set_problem(session, vet, problem, NOW)
            typed_readings(session, vet)
            a_limit(session, vet)
            a_referral(session, vet)
            farrier = case_for(session, self.cast.farrier.id, self.number)
            acknowledge(session, farrier, Words(None, NOW.date()), NOW)

    def refer_by_hand(self) -> None:
        """Bring the case to the farrier's turn, through its pages."""
        problem = {"limb": "LF", "condition": "under_run_heels", "certainty": "confirmed"}
        self.done("vet", "/problems/new", "/problems", problem)
        self.limit(measure="palmar_angle_deg", at_least="3")
        self.readings()
        goals = {"limbs": "LF", "urgency": "routine", "goals": "Palmar angle up to 3° by spring"}
        self.done("vet", "/referrals/new", "/referrals", goals)
        self.done("farrier", "", "/acknowledgements", {})

    def limit(self, **changed: str) -> str:
        limit = {"stage": "after_fit", "strength": "must", "limb": "LF", **changed}
        return self.done("vet", "/limits/new", "/limits", limit)

    def readings(self, **changed: str) -> str:
        typed = {code: str(value) for code, value in READINGS.items()} | changed
        said = {"limb": "LF", "taken_on": TODAY, "scale": "marker"}
        return self.done("vet", "/readings/new", "/readings", {**said, **typed})

    def submit(self, **changed: str) -> str:
        return self.done("farrier", "/plans/new", "/plans", {**PLAN, **changed})

    def film(self) -> str:
        """Add a film and return its address below the case."""
        answer = self.done("vet", "/films/new", "/films", film_form())
        return answer.removeprefix(self.home)

    def measure(self, film: str) -> str:
        return self.done("vet", film, f"{film}/landmarks", landmarks_form())


def plain_jpeg(size_px: tuple[int, int] = ORIGINAL_PX, grey: int = 90) -> bytes:
    """Return an even grey picture: places on it mean what they are said to mean."""
    out = io.BytesIO()
    Image.new("L", size_px, grey).save(out, "JPEG")
    return out.getvalue()


def film_form(data: bytes | None = None, name: str = "foot.jpg", **changed: str) -> dict:
    said = {"limb": "LF", "view": "lateromedial", "taken_on": TODAY, "trim": "before"}
    file = (io.BytesIO(plain_jpeg() if data is None else data), name)
    return {**said, "shod": "no", "superimposed": "yes", "film": file, **changed}


def landmarks_form(**changed: str) -> dict:
    return {
        "landmarks": json.dumps(FOOT_PX),
        "marker_ends": json.dumps(MARKER_PX),
        "marker_length_mm": "60",
        "marker_plane": "sagittal",
        "natural_width": "2400",
        "natural_height": "1920",
        **changed,
    }


MUTABLE = frozenset({"session", "sign_in", "notice", "idempotency_key", "sheet_fetch"})


def rows_in(database: Database) -> dict[str, int]:
    """Return how many rows each table holds, but for sessions and the like."""
    with database.reading() as session:
        return {
            table.name: session.scalar(select(func.count()).select_from(table)) or 0
            for table in Base.metadata.sorted_tables
            if table.name not in MUTABLE
        }


HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)"')
WHERE_IT_GOES = re.compile(r'(?:form)?action="([^"]*)"')


def hidden_in(page: TestResponse, action: str) -> dict[str, str]:
    """Return the hidden fields of the form that is sent there, without the token."""
    for form in page.text.split("<form")[1:]:
        part = form.split("</form>")[0]
        if action in WHERE_IT_GOES.findall(part):
            return {name: value for name, value in HIDDEN.findall(part) if name != "csrf_token"}
    raise AssertionError(f"no form leads to {action}: {words_of(page)}")


def words_of(page: TestResponse) -> str:
    """Return what a page says, in one line."""
    main = page.text.partition("<main")[2].partition("</main>")[0] or page.text
    return " ".join(re.sub(r"<[^>]+>", " ", main).split())


def a_yard(app: Flask, database: Database) -> Yard:
    """Open a case of the cast's, with an apprentice and a coordinator on it too."""
    with database.transaction() as session:
        cast = a_cast(session)
        number = a_case(session, cast)
        case_id = case_for(session, cast.vet.id, number).case_id
        more = {
            "apprentice": a_person(session, "apprentice", session.get(Organisation, cast.forge_id)),
            "coordinator": a_person(
                session, "coordinator", session.get(Organisation, cast.practice_id)
            ),
        }
        for role, person in more.items():
            session.add(_member(case_id, person.id, role))
        names = ("vet", "farrier", "owner", "other_vet", "other_farrier")
        emails = {name: getattr(cast, name).email for name in names}
        emails |= {role: person.email for role, person in more.items()}
        session.flush()
        session.expunge_all()
    return Yard(app, database, cast, number, emails=emails)


def _member(case_id: UUID, person_id: UUID, role: str) -> CaseMember:
    return CaseMember(
        id=new_id(NOW),
        case_id=case_id,
        person_id=person_id,
        organisation_id=None,
        role=role,
        since=NOW,
        until=None,
    )
