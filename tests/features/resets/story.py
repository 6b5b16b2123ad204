"""Three people and one horse, taken round the loop a step at a time through the services."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

from referral.cases.access import CaseAccess
from referral.cases.queries import case_for
from referral.cases.service import SetProblem, Words, acknowledge, set_problem
from referral.films.phantom import Exposure, Foot, draw_phantom
from referral.films.service import AddFilm, MeasureFilm, TakenHow, add_film, measure_film
from referral.plans.agreement import must_be_answered
from referral.plans.consents import RecordConsent, record_consent
from referral.plans.queries import PlanView, plan_of
from referral.plans.service import AgreePlan, SubmitPlan, submit_plan
from referral.resets.service import CountersignReset, RecordReset
from referral.rulebook.loader import load_rulebook
from referral.sheets.authority import Authority
from referral.sheets.drafts import (
    Office,
    draft_agreed_plan,
    draft_as_fitted,
)
from referral.sheets.orders import keep_draft
from referral.sheets.queries import SheetView, latest_sheet
from referral.sheets.sealing import Sealed, first_to_seal, seal, second_to_seal
from referral.sheets.service import (
    SecondSignature,
    sign_agreed_plan,
    sign_countersign,
    sign_first,
)
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.decode.film import read_apart
from tests.factories import (
    NOW,
    Cast,
    a_case,
    a_cast,
    a_limit,
    a_referral,
    typed_readings,
)

SHOE = {
    "category": "straight_bar",
    "material": "steel",
    "thickness_mm": 10.0,
    "width_mm": 134.0,
    "length_mm": 146.0,
    "breakover_setback_mm": 20.0,
    "heel_extension_mm": 8.0,
}
PLAN = {
    "toe_trim_mm": 4.0,
    "heel_trim_mm": 0.0,
    "wedge_deg": 3.0,
    "wedge_mm": 7.6,
    "attachment": "nails",
    "nails": {"count": 6},
    "interval_weeks": 5.0,
    "shoe": SHOE,
}
RULEBOOK = load_rulebook()


@dataclass
class Story:
    """One case, its people, and a clock that the steps move on."""

    database: Database
    office: Office
    cast: Cast
    number: int
    now: datetime = NOW
    plan: dict = field(default_factory=lambda: dict(PLAN))

    def access(self, session, who: str) -> CaseAccess:
        return case_for(session, getattr(self.cast, who).id, self.number)

    def move(self, **by: float) -> None:
        self.now += timedelta(**by)

    @property
    def today(self) -> date:
        return self.now.date()

    def revision(self, who: str = "vet") -> int:
        with self.database.reading() as session:
            return self.access(session, who).revision

    def film(self, foot: Foot | None = None) -> None:
        """Add a film of a foot of known dimensions, drawn for the day, and measure it."""
        phantom = draw_phantom(foot or Foot(), Exposure(taken_on=self.today))
        with self.database.transaction() as session:
            vet = self.access(session, "vet")
            taken = TakenHow("LF", "lateromedial", self.today, "before", "no", True)
            original = self.office.blobs.put(phantom.dicom)
            read = read_apart(phantom.dicom, "film.dcm")
            command = AddFilm(original, "film.dcm", read, taken, self.today)
            film_id = add_film(session, vet, self.office.blobs, command, self.now)
            scale = {
                "kind": "marker",
                "length_mm": phantom.marker_length_mm,
                "ends_px": phantom.marker_ends_px,
                "plane": "sagittal",
            }
            self.move(minutes=3)
            measure = MeasureFilm(film_id, phantom.landmarks_px, scale, self.today)
            measure_film(session, vet, measure, self.now)

    def refer(self, *, with_film: bool = False) -> None:
        if with_film:
            self.film()
        with self.database.transaction() as session:
            vet = self.access(session, "vet")
            set_problem(
                session, vet, SetProblem("LF", "underrun_heels", "sure", None, self.today), self.now
            )
            if not with_film:
                typed_readings(session, vet, self.now)
            a_limit(session, vet, now=self.now)
            a_referral(session, self.access(session, "vet"), self.now)
        self.move(minutes=10)
        with self.database.transaction() as session:
            farrier = self.access(session, "farrier")
            acknowledge(session, farrier, Words(None, self.today), self.now)

    def submit(self, *, recheck: tuple[str, int] = ("vet", 5), **changed: object) -> PlanView:
        owner, weeks = recheck
        self.move(minutes=10)
        with self.database.transaction() as session:
            command = SubmitPlan(
                {"LF": {**self.plan, **changed}},
                "It is what this foot allows.",
                owner,
                self.today + timedelta(weeks=weeks),
                self.today,
                None,
            )
            view = submit_plan(
                session, self.access(session, "farrier"), command, RULEBOOK, self.now
            )
            session.expunge_all()
            return view

    def agreement(self, n: int, **changed: object) -> AgreePlan:
        with self.database.reading() as session:
            access = self.access(session, "vet")
            view = plan_of(session, access.case_id, n)
            asked = {each.id: must_be_answered(each) for each in view.findings}
            given = {
                "n": n,
                "seen_sha256": view.judgement.basis_sha256,
                "waivers": {
                    key: "Known, and worth it." for key, want in asked.items() if want == "waived"
                },
                "seen": frozenset(key for key, want in asked.items() if want == "seen"),
                "words": "Agreed.",
                "happened_on": self.today,
                "based_on": access.revision,
            }
        return AgreePlan(**{**given, **changed})

    def propose_agreement(self, command: AgreePlan, who: str = "vet"):
        """Return the id and the hash of the sheet to be signed."""
        with self.database.reading() as session:
            access = self.access(session, who)
            draft = draft_agreed_plan(session, access, self.office, command, self.now)
        return self._keep(draft, who)

    def propose_reset(self, command: RecordReset, who: str = "farrier"):
        with self.database.reading() as session:
            access = self.access(session, who)
            draft = draft_as_fitted(session, access, self.office, command, self.now)
        return self._keep(draft, who)

    def _keep(self, draft, who: str):
        with self.database.transaction() as session:
            kept = keep_draft(session, self.access(session, who), self.office, draft)
            return kept.id, kept.pdf_sha256

    def sign_first(self, who: str, proposal) -> SheetView:
        self.move(minutes=1)
        with self.database.transaction() as session:
            access = self.access(session, who)
            made = seal(
                self.office, first_to_seal(session, access, self.office, *proposal, self.now)
            )
            return sign_first(session, access, self.office, proposal[0], made, self.now)

    def sealed_second(self, session, access: CaseAccess, command: SecondSignature) -> Sealed:
        shown = command.sheet_id, command.pdf_sha256
        return seal(self.office, second_to_seal(session, access, self.office, *shown, self.now))

    def latest(self, kind: str) -> SheetView:
        with self.database.reading() as session:
            sheet = latest_sheet(session, self.access(session, "vet").case_id, kind)
            assert sheet is not None
            return sheet

    def second(self, kind: str) -> SecondSignature:
        sheet = self.latest(kind)
        return SecondSignature(sheet.sheet_id, sheet.pdf_sha256, self.today, self.revision())

    def sign_plan(self, who: str = "farrier") -> SheetView:
        self.move(minutes=5)
        command = self.second("agreed_plan")
        with self.database.transaction() as session:
            access = self.access(session, who)
            made = self.sealed_second(session, access, command)
            return sign_agreed_plan(session, access, self.office, command, made, self.now)

    def consent(self, n: int) -> None:
        self.move(minutes=5)
        with self.database.transaction() as session:
            owner = self.access(session, "owner")
            command = RecordConsent(
                n,
                "given",
                self.cast.owner.name,
                "owner",
                "on this page",
                self.today,
                "120 a reset",
                "3",
                "Loose shoe",
                "Better in a year",
                None,
            )
            record_consent(session, owner, command, RULEBOOK, self.now)

    def fitted(self, plan_n: int, reasons: dict | None = None, **changed: object) -> RecordReset:
        return RecordReset(
            plan_n=plan_n,
            limbs={"LF": {**self.plan, **changed}},
            reasons=reasons or {},
            fitted_on=self.today,
            interval_weeks=float(changed.get("interval_weeks", self.plan["interval_weeks"])),
            found="Dry frog, no seedy toe",
            comfort="Walked off level",
            advice="Soft ground for a week",
            based_on=self.revision(),
        )

    def countersign(self, n: int, who: str = "vet") -> SheetView:
        self.move(minutes=5)
        second = self.second("as_fitted")
        answer = CountersignReset(
            n=n,
            words="Seen.",
            recheck_on=self.today + timedelta(weeks=5),
            recheck_role="vet",
            recheck_owner_id=self.cast.vet.id,
            films_wanted="LF lateromedial",
            happened_on=self.today,
            based_on=second.based_on,
        )
        with self.database.transaction() as session:
            access = self.access(session, who)
            made = self.sealed_second(session, access, second)
            return sign_countersign(session, access, self.office, second, made, answer, self.now)

    def agree(self, n: int) -> SheetView:
        """Agree to plan n, accept it, consent to it."""
        self.sign_first("vet", self.propose_agreement(self.agreement(n)))
        sheet = self.sign_plan()
        self.consent(n)
        return sheet

    def fit(self, plan_n: int, **changed: object) -> SheetView:
        self.move(days=1)
        return self.sign_first("farrier", self.propose_reset(self.fitted(plan_n, **changed)))


def a_story(database: Database, folder: Path) -> Story:
    authority = Authority.load_or_create(folder / "authority", bytes(32), "A test yard", NOW)
    office = Office(
        BlobStore(folder / "files"), RULEBOOK, authority, "A test yard", "https://yard.example.org"
    )
    with database.transaction() as session:
        cast = a_cast(session)
        number = a_case(session, cast)
        session.flush()
        session.expunge_all()
    return Story(database, office, cast, number)
