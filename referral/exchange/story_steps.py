"""The steps of a story, each one verb of a service."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.assessments.photos import AddPhotos, SentPhoto, add_photos
from referral.assessments.service import Assess, assess
from referral.cases.access import CaseAccess
from referral.cases.note_kinds import NOTES
from referral.cases.notes import KeepNote, keep_note
from referral.cases.remarks import (
    AddObservation,
    AnswerFlag,
    RaiseFlag,
    add_observation,
    answer_flag,
    raise_flag,
)
from referral.cases.service import (
    SendReferral,
    SetLimit,
    SetProblem,
    Words,
    acknowledge,
    answer_question,
    ask_question,
    send_referral,
    set_limit,
    set_problem,
)
from referral.core.measure.registry import MEASURES
from referral.errors import Invalid
from referral.films.phantom import Exposure, Foot, draw_phantom
from referral.films.phantom_sole import Sole, draw_sole
from referral.films.service import AddFilm, MeasureFilm, TakenHow, add_film, measure_film
from referral.plans.agreement import must_be_answered
from referral.plans.consents import RecordConsent, record_consent
from referral.plans.content import PAGE_EXECUTION
from referral.plans.queries import plan_of
from referral.plans.service import AgreePlan, SubmitPlan, send_back, submit_plan
from referral.resets.queries import latest_reset
from referral.resets.service import CountersignReset, RecordReset
from referral.sheets.drafts import (
    Draft,
    Office,
    draft_agreed_plan,
    draft_as_fitted,
)
from referral.sheets.orders import keep_draft
from referral.sheets.queries import latest_sheet
from referral.sheets.sealing import Sealed, first_to_seal, seal, second_to_seal
from referral.sheets.service import (
    SecondSignature,
    sign_agreed_plan,
    sign_countersign,
    sign_first,
)
from referral.sheets.snapshot import SheetKind
from referral.storage.canonical import sha256_hex
from referral.storage.decode.film import read_apart


@dataclass(frozen=True, slots=True)
class Telling:
    """One step as it is taken: where, by whom, when, and what the story says of it."""

    session: Session
    access: CaseAccess
    office: Office
    now: datetime
    today: date
    step: Mapping[str, Any]

    @property
    def on(self) -> date:
        """The day of the step."""
        return self.now.date()

    def day(self, name: str) -> date | None:
        """Return a day that the story counts from the day of telling."""
        offset = self.step.get(name)
        return None if offset is None else self.today + timedelta(days=offset)

    @property
    def words(self) -> Words:
        """The step's sentence, as a move takes it."""
        return Words(self.step.get("words"), self.on, self.access.revision)


def _problem(at: Telling) -> None:
    step = at.step
    command = SetProblem(
        step["limb"], step["condition"], step["certainty"], step.get("words"), at.on
    )
    set_problem(at.session, at.access, command, at.now)


def _film(at: Telling) -> None:
    step = at.step
    exposure = Exposure(limb=step["limb"], taken_on=at.on, seed=at.access.revision)
    phantom = draw_phantom(Foot(**step["foot"]), exposure)
    name = f"{step['limb']}-{at.on.isoformat()}.dcm"
    taken = TakenHow(
        limb=step["limb"],
        view="lateromedial",
        taken_on=at.on,
        trim=step.get("trim", "before"),
        shod="no",
        condyles_superimposed=True,
        cannon_vertical=True,
        on_blocks=True,
        beam_at_sole=True,
        days_since_trim=step.get("days_since_trim", 5),
    )
    original = at.office.blobs.put(phantom.dicom)
    command = AddFilm(original, name, read_apart(phantom.dicom, name), taken, at.on)
    film_id = add_film(at.session, at.access, at.office.blobs, command, at.now)
    scale = {
        "kind": "marker",
        "length_mm": phantom.marker_length_mm,
        "ends_px": phantom.marker_ends_px,
        "plane": "sagittal",
    }
    measure = MeasureFilm(film_id, phantom.landmarks_px, scale, at.on)
    measure_film(at.session, at.access, measure, at.now + timedelta(minutes=3))


def _sole_photo(at: Telling) -> None:
    step = at.step
    limb = step["limb"]
    drawn = draw_sole(Sole(**step["sole"]), lateral_right=limb[0] == "L", seed=at.access.revision)
    name = f"{limb}-sole-{at.on.isoformat()}.jpg"
    taken = TakenHow(limb=limb, view="sole_photo", taken_on=at.on, trim=step["trim"], shod="no")
    original = at.office.blobs.put(drawn.jpeg)
    command = AddFilm(original, name, read_apart(drawn.jpeg, name), taken, at.on)
    photo_id = add_film(at.session, at.access, at.office.blobs, command, at.now)
    scale = {"kind": "length", "length_mm": drawn.known_length_mm}
    measure = MeasureFilm(photo_id, drawn.landmarks_px, scale, at.on)
    measure_film(at.session, at.access, measure, at.now + timedelta(minutes=2))


def _limit(at: Telling) -> None:
    step = at.step
    command = SetLimit(
        measure=step["measure"],
        stage=step["stage"],
        at_least=step.get("at_least"),
        at_most=step.get("at_most"),
        unit=MEASURES[step["measure"]].unit,
        strength=step["strength"],
        limb=step.get("limb"),
        reason=step.get("words"),
        review_on=None,
        happened_on=at.on,
    )
    set_limit(at.session, at.access, command, at.now)


def _refer(at: Telling) -> None:
    command = SendReferral(
        limbs=tuple(at.step["limbs"]),
        urgency=at.step["urgency"],
        goals=at.step["goals"],
        open_to_farrier=at.step.get("open_to_farrier"),
        no_limits=False,
        happened_on=at.on,
        based_on=at.access.revision,
    )
    send_referral(at.session, at.access, command, at.now)


def _plan(at: Telling) -> None:
    fit_on = at.day("fit_day")
    limbs = {
        limb: {
            **content,
            "fit_on": fit_on.isoformat() if fit_on else None,
            "execution_u": dict(PAGE_EXECUTION),
        }
        for limb, content in at.step["limbs"].items()
    }
    command = SubmitPlan(
        limbs=limbs,
        words=at.step.get("words"),
        recheck_owner=at.step.get("recheck_owner"),
        recheck_on=at.day("recheck_day"),
        happened_on=at.on,
        based_on=at.access.revision,
    )
    submit_plan(at.session, at.access, command, at.office.rulebook, at.now)


def _agree(at: Telling) -> None:
    n = at.access.state.plan_n
    view = plan_of(at.session, at.access.case_id, n)
    reasons = at.step.get("waivers", {})
    asked = {each.id: (each, must_be_answered(each)) for each in view.findings}
    missing = [
        each.rule
        for each, wanted in asked.values()
        if wanted == "waived" and each.rule not in reasons
    ]
    if missing:
        raise Invalid(f"The story gives no waiver for {', '.join(missing)}.")
    command = AgreePlan(
        n=n,
        seen_sha256=view.judgement.basis_sha256,
        waivers={
            key: reasons[each.rule] for key, (each, wanted) in asked.items() if wanted == "waived"
        },
        seen=frozenset(key for key, (_each, wanted) in asked.items() if wanted == "seen"),
        words=at.step.get("words"),
        happened_on=at.on,
        based_on=at.access.revision,
    )
    _sign(at, draft_agreed_plan(at.session, at.access, at.office, command, at.now))


def _sign(at: Telling, draft: Draft) -> None:
    proposal = keep_draft(at.session, at.access, at.office, draft)
    shown = sha256_hex(draft.pdf)
    what = first_to_seal(at.session, at.access, at.office, proposal.id, shown, at.now)
    sign_first(at.session, at.access, at.office, proposal.id, seal(at.office, what), at.now)


def _second(at: Telling, kind: SheetKind) -> SecondSignature:
    sheet = latest_sheet(at.session, at.access.case_id, kind.value)
    if sheet is None:
        raise Invalid("There is no sheet to sign.")
    return SecondSignature(sheet.sheet_id, sheet.pdf_sha256, at.on, at.access.revision)


def _sealed(at: Telling, command: SecondSignature) -> Sealed:
    sheet_id, shown = command.sheet_id, command.pdf_sha256
    what = second_to_seal(at.session, at.access, at.office, sheet_id, shown, at.now)
    return seal(at.office, what)


def _accept(at: Telling) -> None:
    command = _second(at, SheetKind.AGREED_PLAN)
    made = _sealed(at, command)
    sign_agreed_plan(at.session, at.access, at.office, command, made, at.now)


def _consent(at: Telling) -> None:
    step = at.step
    command = RecordConsent(
        n=at.access.state.plan_n,
        decision="given",
        given_by=step["given_by"],
        authority=step.get("authority", "owner"),
        how=step["how"],
        given_on=at.on,
        cost=step.get("cost"),
        resets_expected=step.get("resets_expected"),
        risks=step.get("risks"),
        outlook=step.get("outlook"),
        based_on=at.access.revision,
    )
    record_consent(at.session, at.access, command, at.office.rulebook, at.now)


def _fit(at: Telling) -> None:
    n = at.access.state.plan_n
    plan = plan_of(at.session, at.access.case_id, n)
    limbs = {limb: _fitted(at, limb, content) for limb, content in plan.limbs.items()}
    weeks = next(iter(limbs.values())).get("interval_weeks", 5)
    command = RecordReset(
        plan_n=n,
        limbs=limbs,
        reasons=at.step.get("reasons", {}),
        fitted_on=at.on,
        interval_weeks=weeks,
        found=at.step.get("found"),
        comfort=at.step.get("comfort"),
        advice=at.step.get("advice"),
        based_on=at.access.revision,
    )
    _sign(at, draft_as_fitted(at.session, at.access, at.office, command, at.now))


def _fitted(at: Telling, limb: str, planned: Mapping[str, Any]) -> dict[str, Any]:
    changes = dict(at.step.get("changes", {}).get(limb, {}))
    shoe = {**(planned.get("shoe") or {}), **changes.pop("shoe", {})}
    content = {**planned, **changes, "fit_on": at.on.isoformat(), "execution_u": None}
    return {**content, "shoe": shoe or None}


def _countersign(at: Telling) -> None:
    n = at.access.state.reset_n
    reset = latest_reset(at.session, at.access.case_id, n)
    answer = CountersignReset(
        n=n,
        words=at.step.get("words"),
        recheck_on=at.day("recheck_day") or reset.due_on,
        recheck_role="vet",
        recheck_owner_id=at.access.actor_id,
        films_wanted=at.step.get("films_wanted"),
        happened_on=at.on,
        based_on=at.access.revision,
    )
    command = _second(at, SheetKind.AS_FITTED)
    made = _sealed(at, command)
    sign_countersign(at.session, at.access, at.office, command, made, answer, at.now)


def _observe(at: Telling) -> None:
    step = at.step
    command = AddObservation(step.get("limb"), step["about"], step["words"], at.on)
    add_observation(at.session, at.access, command, at.now)


def _flag(at: Telling) -> None:
    step = at.step
    command = RaiseFlag(step["sign"], step.get("limb"), step.get("words"), at.on)
    raise_flag(at.session, at.access, command, at.now)


def _answer_flag(at: Telling) -> None:
    flag = UUID(next(iter(at.access.state.live_flags)))
    command = AnswerFlag(flag, at.step["answer"], at.step["words"], at.day("until_day"), at.on)
    answer_flag(at.session, at.access, command, at.now)


def _assess(at: Telling) -> None:
    step = at.step
    command = Assess(
        limb=step["limb"],
        seen_on=at.on,
        answers=step.get("answers", {}),
        numbers=step.get("numbers", {}),
        words=step.get("words"),
        happened_on=at.on,
    )
    assessment = assess(at.session, at.access, command, at.now)
    for about, sole in step.get("photos", {}).items():
        drawn = SentPhoto(draw_sole(Sole(**sole)).jpeg, f"{about}.jpg")
        photos = AddPhotos(assessment, about, [drawn], at.on)
        add_photos(at.session, at.access, at.office.blobs, photos, at.now + timedelta(minutes=1))


def _note(at: Telling) -> None:
    answers = at.step["answers"]
    keep_note(at.session, at.access, KeepNote(NOTES[at.step["kind"]], answers, at.on), at.now)


STEPS: Mapping[str, Callable[[Telling], None]] = {
    "problem": _problem,
    "film": _film,
    "sole_photo": _sole_photo,
    "limit": _limit,
    "refer": _refer,
    "acknowledge": lambda at: acknowledge(at.session, at.access, at.words, at.now),
    "ask": lambda at: ask_question(at.session, at.access, at.words, at.now),
    "answer": lambda at: answer_question(at.session, at.access, at.words, at.now),
    "plan": _plan,
    "send_back": lambda at: send_back(
        at.session, at.access, at.access.state.plan_n, at.words, at.now
    ),
    "agree": _agree,
    "accept": _accept,
    "consent": _consent,
    "fit": _fit,
    "countersign": _countersign,
    "observe": _observe,
    "assess": _assess,
    "note": _note,
    "flag": _flag,
    "answer_flag": _answer_flag,
}
