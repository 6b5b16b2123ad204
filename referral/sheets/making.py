"""Rows to a sheet's snapshot: what is frozen, printed, attached and signed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from referral.accounts.models import Organisation, Person
from referral.cases.access import CaseAccess
from referral.cases.models import CaseMember
from referral.cases.queries import current_problems, people_on
from referral.cases.ringing import contacts_on
from referral.core.measure.readings import Measured
from referral.films.queries import LimbBasis, MeasuredFilm, limb_basis, reading_sets
from referral.films.scale_words import (
    CONFLICT_SAYS,
    correction_says,
    marker_of,
    overlay_of,
    plane_says,
)
from referral.horses.identity import shown_chip
from referral.horses.models import Horse as HorseRow
from referral.horses.queries import owner_name_of
from referral.plans.cautions import acknowledged_on
from referral.plans.models import FindingRow
from referral.plans.queries import PlanView, case_limits
from referral.plans.record import measured_record
from referral.plans.rows import plan_lines, reading_rows
from referral.sheets.rows import drawn_plan, finding_shown
from referral.sheets.snapshot import (
    Agreement,
    ConsentShown,
    FilmShown,
    Horse,
    LimbPart,
    NextStep,
    Party,
    SheetKind,
    Snapshot,
    WaiverShown,
)
from referral.sheets.texts import AFTERCARE, CAUTIONS, DANGER_SIGNS, HOW_SAYS, SCALE_SAYS
from referral.storage.blobs import BlobStore
from referral.web.written import day


@dataclass(frozen=True, slots=True)
class Fitted:
    """What was done, for an as-fitted sheet: by limb, with reasons, and its own judging."""

    limbs: Mapping[str, Mapping[str, Any]]
    reasons: Mapping[str, str]
    predictions: Mapping[str, Any]
    findings: Sequence[FindingRow | Any]
    fitted_on: date
    due_on: date
    notes: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Frame:
    """What a sheet says of itself, the rules in force, and words that stand on it."""

    sheet_id: UUID
    kind: SheetKind
    replaces: str | None
    instance: str
    check_url: str | None
    made_at: datetime
    rulebook_sha256: str
    words: str | None = None


@dataclass(frozen=True, slots=True)
class SheetWanted:
    """What a sheet is to hand over, and how it is called."""

    sheet_id: UUID
    kind: SheetKind
    plan: PlanView
    waivers: Mapping[UUID, str]
    agreements: tuple[Agreement, ...]
    replaces: str | None
    instance: str
    check_url: str | None
    made_at: datetime
    fitted: Fitted | None = None


def make_snapshot(
    session: Session, access: CaseAccess, blobs: BlobStore, wanted: SheetWanted
) -> tuple[Snapshot, Mapping[str, bytes]]:
    """Return the snapshot and the pictures it names, by hash."""
    members = people_on(session, access.case_id)
    pictures: dict[str, bytes] = {}
    limbs = tuple(
        _limb_part(session, access, blobs, wanted, limb, pictures)
        for limb in sorted(wanted.plan.limbs)
    )
    snapshot = framed(
        session,
        access,
        _frame(wanted),
        limbs=limbs,
        about=tuple(sorted(wanted.plan.limbs)),
        agreements=wanted.agreements,
        consent=_consent(wanted.plan, members),
        aftercare=AFTERCARE,
        danger_signs=DANGER_SIGNS,
        next_steps=_next_steps(wanted, members),
        notes=wanted.fitted.notes if wanted.fitted else (),
    )
    return snapshot, pictures


def _frame(wanted: SheetWanted) -> Frame:
    return Frame(
        wanted.sheet_id,
        wanted.kind,
        wanted.replaces,
        wanted.instance,
        wanted.check_url,
        wanted.made_at,
        wanted.plan.judgement.rulebook_sha256,
    )


def framed(
    session: Session,
    access: CaseAccess,
    frame: Frame,
    **content: Any,  # noqa: ANN401 - fields of a snapshot
) -> Snapshot:
    """Return a snapshot of this content with horse, owner, people, contacts and cautions."""
    horse = session.get_one(HorseRow, access.horse_id)
    members = people_on(session, access.case_id)
    common = {
        "horse": _horse(horse),
        "owner": _owner(session, horse),
        "people": tuple(_party(*each) for each in members if each[0].role in ("vet", "farrier")),
        "limbs": (),
        "agreements": (),
        "consent": None,
        "aftercare": (),
        "danger_signs": (),
        "emergency_contacts": _contacts(session, access),
        "next_steps": (),
        "cautions": CAUTIONS,
    }
    return Snapshot(
        sheet_id=str(frame.sheet_id),
        kind=frame.kind,
        instance=frame.instance,
        case_number=str(access.number),
        revision=access.revision,
        made_at=frame.made_at,
        replaces=frame.replaces,
        check_url=frame.check_url,
        rulebook=frame.rulebook_sha256,
        **{**common, **content},
    )


def _horse(row: HorseRow) -> Horse:
    said = (
        row.sex,
        row.colour,
        row.breed,
        f"born {row.born_year}" if row.born_year else None,
        f"{row.weight_kg:g} kg" if row.weight_kg else None,
    )
    return Horse(
        name=row.name,
        chip=shown_chip(row.chip) if row.chip else None,
        ueln=row.ueln,
        description=", ".join(each for each in said if each),
    )


def _owner(session: Session, horse: HorseRow) -> Party:
    name = owner_name_of(session, horse)
    return Party(str(horse.owner_id or ""), name or "not recorded", "owner", None)


def _party(member: CaseMember, person: Person, organisation: Organisation | None) -> Party:
    return Party(
        person_id=str(person.id),
        name=person.name,
        role=member.role,
        organisation=organisation.name if organisation is not None else None,
        registration=person.registration_number,
    )


def _contacts(session: Session, access: CaseAccess) -> tuple[str, ...]:
    return tuple(
        f"{each.name} ({each.role}): {each.phone}" if each.role else f"{each.name}: {each.phone}"
        for each in contacts_on(session, access.case_id)
    )


def _consent(
    plan: PlanView, members: Sequence[tuple[CaseMember, Person, Organisation | None]]
) -> ConsentShown | None:
    given = [each for each in plan.consents if each.decision == "given"]
    if not given:
        return None
    names = {person.id: person.name for _member, person, _organisation in members}
    last = given[-1]
    return ConsentShown(
        by=last.given_by,
        authority=last.authority,
        how=HOW_SAYS.get(last.how, last.how),
        on=last.given_on,
        recorded_by=names.get(last.recorded_by, "a former member of the case"),
    )


def _next_steps(
    wanted: SheetWanted, members: Sequence[tuple[CaseMember, Person, Organisation | None]]
) -> tuple[NextStep, ...]:
    # of several in one part, the one who came first
    names = {member.role: person.name for member, person, _organisation in reversed(members)}
    steps = []
    plan = wanted.plan.plan
    if wanted.fitted:
        steps.append(NextStep("Next reset", wanted.fitted.due_on, names.get("farrier", "farrier")))
    if plan.recheck_on and plan.recheck_owner:
        owner = names.get(plan.recheck_owner, plan.recheck_owner)
        steps.append(NextStep("Recheck", plan.recheck_on, owner))
    return tuple(sorted(steps, key=lambda each: each.on))


def _limb_part(
    session: Session,
    access: CaseAccess,
    blobs: BlobStore,
    wanted: SheetWanted,
    limb: str,
    pictures: dict[str, bytes],
) -> LimbPart:
    basis = limb_basis(session, access.case_id, limb)
    fitted = wanted.fitted
    stored = fitted.findings if fitted else wanted.plan.findings
    findings = [each for each in stored if each.limb == limb]
    limits = [each for each in case_limits(session, access.case_id) if each.limb in (None, limb)]
    known = acknowledged_on(session, access.case_id)
    predictions = wanted.plan.judgement.predictions[limb]
    done = fitted.predictions[limb] if fitted else None
    return LimbPart(
        limb=limb,
        problem=_problem_says(session, access, limb),
        film=_film(basis, blobs, pictures),
        film_absent=_absent(basis, "judged on readings stated by hand."),
        readings=reading_rows(predictions, done, findings, limits),
        findings=tuple(
            finding_shown(limb, each, known) for each in findings if not each.folded_under
        ),
        waivers=_waivers(wanted, limb),
        plan_lines=plan_lines(
            wanted.plan.limbs[limb],
            fitted.limbs[limb] if fitted else None,
            {
                key.removeprefix(f"{limb}."): reason
                for key, reason in (fitted.reasons if fitted else {}).items()
                if key.startswith(f"{limb}.")
            },
        ),
        drawn=drawn_plan(
            limb, fitted.limbs[limb] if fitted else wanted.plan.limbs[limb], predictions
        ),
    )


def referred_limb(
    session: Session, access: CaseAccess, blobs: BlobStore, limb: str, pictures: dict[str, bytes]
) -> LimbPart:
    """Return a limb as it is referred: its problem, its film, its readings beside the limits."""
    basis = limb_basis(session, access.case_id, limb)
    limits = [each for each in case_limits(session, access.case_id) if each.limb in (None, limb)]
    now = {"now": measured_record(_measured_now(session, access, basis)), "after_fit": NOTHING_YET}
    return LimbPart(
        limb=limb,
        problem=_problem_says(session, access, limb),
        film=_film(basis, blobs, pictures),
        film_absent=_absent(basis, "measured by readings stated by hand."),
        readings=tuple(replace(row, note=None) for row in reading_rows(now, None, (), limits)),
        findings=(),
        waivers=(),
        plan_lines=(),
        drawn=None,
    )


NOTHING_YET: Mapping[str, Any] = {"readings": {}}


def _measured_now(session: Session, access: CaseAccess, basis: LimbBasis) -> Measured:
    """Return what was last measured on a limb, on its film and by hand; else the guides."""
    found = [
        measured
        for reading_set, measured in reading_sets(session, access.case_id, basis.limb)
        if reading_set.id in basis.reading_set_ids
    ]
    readings = {code: each for measured in found for code, each in measured.readings.items()}
    return Measured(readings) if readings else basis.stated


def _problem_says(session: Session, access: CaseAccess, limb: str) -> str:
    problems = [each for each in current_problems(session, access.case_id) if each.limb == limb]
    said = [f"{each.condition.replace('_', ' ')} ({each.certainty})" for each in problems]
    return "; ".join(said) or "no problem recorded"


def _waivers(wanted: SheetWanted, limb: str) -> tuple[WaiverShown, ...]:
    by = next((each for each in wanted.agreements if each.role == "vet"), None)
    return tuple(
        WaiverShown(
            rule=finding.rule,
            title=finding.title,
            reason=wanted.waivers[finding.id],
            by=by.by if by else "vet",
            on=by.at.date() if by else wanted.made_at.date(),
        )
        for finding in wanted.plan.findings
        if finding.limb == limb and finding.id in wanted.waivers
    )


def _scale_says(film: MeasuredFilm) -> str:
    """Return where the scale comes from: its state or its conflict, the marker's plane, doubts."""
    scale, marker = film.scale, marker_of(film)
    said = CONFLICT_SAYS if scale.conflict else SCALE_SAYS[scale.state]
    return " ".join((said, *plane_says(marker), *correction_says(film, marker), *scale.warnings))


def _absent(basis: LimbBasis, by_hand: str) -> str | None:
    """Return why no film is shown of a limb: there is none, or its file was erased."""
    if basis.film is None:
        return by_hand
    if basis.film.erased is None:
        return None
    return (
        f"measured on its film of {day(basis.film.film.taken_on)}, "
        f"which was erased on {day(basis.film.erased)}; the readings stand."
    )


def _film(basis: LimbBasis, blobs: BlobStore, pictures: dict[str, bytes]) -> FilmShown | None:
    if basis.film is None or basis.film.erased is not None:
        return None
    film = basis.film.film
    pictures[film.picture_sha256] = blobs.get(film.picture_sha256)
    return FilmShown(
        view=film.view,
        taken_on=film.taken_on,
        size_px=basis.film.size_px,
        picture_sha256=film.picture_sha256,
        overlay_svg=overlay_of(basis.film, marker_of(basis.film)),
        scale_state=basis.film.scale.state,
        scale_says=_scale_says(basis.film),
        shod=film.shod,
        trim=film.trim,
        pixel_aspect=basis.film.scale.aspect,
    )
