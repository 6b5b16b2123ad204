"""The case page's tables: films, readings over time, plans, resets, sheets."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from referral.assessments.choices import PHOTO_SUBJECTS
from referral.cases.access import CaseAccess
from referral.cases.note_kinds import LABELS
from referral.cases.notes import Note, was_with
from referral.core.measure.readings import Measured
from referral.core.measure.registry import MEASURES
from referral.core.workflow import Move, Role, Stage
from referral.desk.pages import (
    AssessmentLine,
    CallLine,
    FilmLine,
    MedicationLine,
    PhotoLine,
    PlanLine,
    ReadingCell,
    ReadingLine,
    ReadingTable,
    ResetLine,
    SheetLine,
)
from referral.films.conventions import convention_says
from referral.films.models import ReadingSet
from referral.films.queries import is_guide
from referral.sheets.queries import signature_says
from referral.sheets.snapshot import SIGNERS, TITLES, SheetKind
from referral.web.written import day

TOLD_OF_FETCHES = frozenset({Role.VET, Role.FARRIER})
"""Who is told how often a sheet was fetched."""

COLUMNS_SHOWN = 4
"""Sets of readings side by side on the case page; the rest is in the trends."""


def film_lines(films: Iterable[Any]) -> tuple[FilmLine, ...]:
    """Return the films of a case as it lists them."""
    return tuple(
        FilmLine(
            film_id=film.id,
            limb=film.limb,
            view=film.view,
            taken_on=film.taken_on,
            is_measured=film.is_measured,
            scale_state=film.scale_state,
            erased=film.erased,
        )
        for film in films
    )


def assessment_lines(assessments: Iterable[Any]) -> tuple[AssessmentLine, ...]:
    """Return the assessments of a case as it lists them."""
    return tuple(
        AssessmentLine(each.id, each.limb, each.seen_on, len(each.answers)) for each in assessments
    )


def photo_lines(photos: Iterable[Any]) -> Mapping[str, PhotoLine]:
    """Return the photos of a case's assessments by their ids."""
    says = dict(PHOTO_SUBJECTS)
    return {
        str(each.id): PhotoLine(each.id, each.assessment_id, says.get(each.about, each.about))
        for each in photos
    }


def photos_named(
    content: Mapping[str, Any], photos: Mapping[str, PhotoLine]
) -> tuple[PhotoLine, ...]:
    """Return the photos that an entry of the timeline names."""
    named = [each["photo"] for each in content.get("photos", ())]
    return tuple(photos[each] for each in named if each in photos)


def call_lines(
    calls: Iterable[Note], access: CaseAccess, names: Mapping[UUID, str]
) -> tuple[CallLine, ...]:
    """Return the call notes of a case as it lists them."""
    may = access.may(Move.CONFIRM_CALL_NOTE)
    return tuple(
        CallLine(
            call_id=each.entry.id,
            by=names.get(each.entry.actor_id, "somebody"),
            with_whom=LABELS.get(each.facts.get("with_whom", ""), "somebody"),
            happened_on=each.entry.happened_on,
            words=each.texts.get("words", ""),
            confirmed_by=names.get(each.confirmed_by, "somebody") if each.confirmed_by else "",
            may_confirm=may and each.confirmed_by is None and was_with(each, access),
        )
        for each in calls
    )


def medication_lines(notes: Iterable[Note]) -> tuple[MedicationLine, ...]:
    """Return the medication notes of a case as it lists them."""
    return tuple(
        MedicationLine(
            what=LABELS.get(each.facts.get("medication", ""), "Medication"),
            words=each.texts.get("words", ""),
            limb=each.facts.get("limb"),
            given_on=each.entry.happened_on,
            wears_off_on=each.facts.get("wears_off_on"),
        )
        for each in notes
    )


def reading_tables(taken: Sequence[tuple[ReadingSet, Measured]]) -> tuple[ReadingTable, ...]:
    """Return each limb's readings, a column a set, newest first; one set a film.

    What photos and the foot itself say stands in tables of its own.
    """
    limbs: dict[tuple[str, bool], list[tuple[ReadingSet, Measured]]] = {}
    seen: set[UUID] = set()
    for reading_set, measured in taken:
        if reading_set.film_id in seen:
            continue
        if reading_set.film_id is not None:
            seen.add(reading_set.film_id)
        outside = bool(measured.readings) and all(is_guide(code) for code in measured.readings)
        limbs.setdefault((reading_set.limb, outside), []).append((reading_set, measured))
    return tuple(
        _table(limb, sets[:COLUMNS_SHOWN], outside=outside)
        for (limb, outside), sets in sorted(limbs.items())
    )


def _table(
    limb: str, sets: Sequence[tuple[ReadingSet, Measured]], *, outside: bool
) -> ReadingTable:
    present = [
        code for code in MEASURES if any(code in measured.readings for _set, measured in sets)
    ]
    return ReadingTable(
        limb=limb,
        outside=outside,
        taken_on=tuple(each.taken_on for each, _measured in sets),
        source=tuple(_source(each, outside=outside) for each, _measured in sets),
        lines=tuple(
            ReadingLine(
                code=code,
                name=MEASURES[code].name,
                unit=MEASURES[code].unit,
                cells=tuple(_cell(measured, code) for _set, measured in sets),
                defined=_defined([measured for _set, measured in sets], code),
            )
            for code in present
        ),
    )


def _defined(sets: Sequence[Measured], code: str) -> tuple[str, ...]:
    """Return the definitions that a reading's values were taken by, the newest's first."""
    taken = [measured.readings[code] for measured in sets if code in measured.readings]
    return tuple(dict.fromkeys(convention_says(each.convention) for each in taken))


def _source(reading_set: ReadingSet, *, outside: bool) -> str:
    if reading_set.film_id is None:
        return "on the foot" if outside else "typed"
    return "photo" if outside else "film"


def _cell(measured: Measured, code: str) -> ReadingCell | None:
    reading = measured.readings.get(code)
    if reading is None:
        return None
    return ReadingCell(reading.value, 2 * reading.u, reading.unit, reading.scale_state)


def plan_lines(
    plans: Iterable[Any],
    summaries: Mapping[UUID, str],
    access: CaseAccess,
    names: Mapping[UUID, str],
) -> tuple[PlanLine, ...]:
    """Return plans of a case, with how each stands; ``summaries`` stand by their judgement."""
    return tuple(
        PlanLine(
            n=plan.n,
            author=names.get(plan.author_id, plan.author_role),
            submitted_at=plan.submitted_at,
            summary=summaries[plan.judgement_id],
            status=_plan_status(plan.n, plan.decision, access),
        )
        for plan in plans
    )


def _plan_status(n: int, decision: str | None, access: CaseAccess) -> str:
    is_last = n == access.state.plan_n
    if is_last and access.state.stage is Stage.REVIEW and decision == "agreed":
        return "to be agreed again: its ground changed"
    if decision is not None:
        return decision.replace("_", " ")
    return "waits for review" if is_last else "replaced"


def reset_lines(resets: Iterable[Any], said: Mapping[UUID, str]) -> tuple[ResetLine, ...]:
    """Return resets of a case, each in its record in force, which stands first.

    ``said`` is what is told of each judgement.
    """
    latest: dict[int, ResetLine] = {}
    for each in resets:
        if each.n not in latest:
            latest[each.n] = ResetLine(
                n=each.n,
                plan_n=each.plan_n,
                fitted_on=each.fitted_on,
                due_on=each.due_on,
                summary=said[each.judgement_id],
                status=(each.decision or "waits for countersign").replace("_", " "),
            )
    return tuple(latest.values())


def sheet_lines(
    sheets: Iterable[Any], signatures: Iterable[Any], access: CaseAccess
) -> tuple[SheetLine, ...]:
    """Return sheets of a case, each with who signed it."""
    signed: dict[UUID, list[str]] = {}
    for each in signatures:
        signed.setdefault(each.sheet_id, []).append(signature_says(each))
    return tuple(
        SheetLine(
            sheet_id=each.id,
            kind=TITLES[SheetKind(each.kind)],
            made_at=each.made_at,
            signed_by=tuple(signed.get(each.id, ())),
            is_complete=len(signed.get(each.id, ())) >= len(SIGNERS[SheetKind(each.kind)]),
            is_replaced=each.replaced_by is not None,
            erased=each.erased,
            fetched=_fetched_says(each) if TOLD_OF_FETCHES & set(access.roles) else "",
        )
        for each in sheets
    )


def _fetched_says(sheet: Any) -> str:  # noqa: ANN401 - a row of the case page's
    """Return how often a sheet was fetched or checked, and when last; nothing if never."""
    if not sheet.fetches:
        return ""
    times = "once" if sheet.fetches == 1 else f"{sheet.fetches} times"
    return f"Fetched or checked {times}, last on {day(sheet.fetched_last)}"
