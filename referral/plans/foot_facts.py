"""What the case knows of one foot beside its film and plan, as the rules ask for it."""

from collections.abc import Iterable, Mapping
from datetime import date
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from referral.assessments.choices import DAMAGED_HEELS, GIRTH
from referral.assessments.models import Assessment
from referral.cases.models import Entry
from referral.cases.notes import notes_of
from referral.cases.timeline import texts_of
from referral.core.ground import OPPOSITE
from referral.core.measure.readings import Measured, Reading
from referral.core.measure.stated import merge
from referral.core.rules.derived import has_bar, has_wedge
from referral.core.rules.facts import Lameness, Previous
from referral.core.workflow import Move
from referral.films.doubts import doubts_of
from referral.films.models import Film
from referral.films.queries import LimbBasis, is_guide, limb_basis, reading_sets
from referral.plans.content import plan_from_content
from referral.plans.fittings import fittings_of, reasoned_at
from referral.plans.subject import FootFacts

OBSERVING = (Move.ADD_OBSERVATION.value, Move.RECORD_READINGS.value)
"""Entries in which a farrier says what was seen."""

TO_THE_HEEL = frozenset({"plumb_to_heel_mm", "heel_to_frog_widest_mm"})
"""Readings that end at the heel: on a shod foot at the shoe's, which says nothing of the next."""


def foot_facts_of(session: Session, case_id: UUID, basis: LimbBasis) -> FootFacts:
    """Return what was seen and read on a limb, its visit before, and how long in its device."""
    film = basis.film
    heels, girth = _assessed(session, case_id, basis.limb)
    lameness, lameness_before = _graded(session, case_id, basis.limb)
    return FootFacts(
        observed=Measured({**_observed(session, case_id, basis.limb), **basis.front.readings}),
        film_doubts=tuple(each.code for each in doubts_of(session, film)) if film else None,
        previous=_previous(session, case_id, basis.limb, film.film.taken_on if film else None),
        heels_damaged=heels,
        girth_mm=girth,
        resets_in_device=_resets_in_device(session, case_id, basis.limb),
        lameness=lameness,
        lameness_before=lameness_before,
    )


def farrier_words_of(session: Session, case_id: UUID) -> tuple[str, ...]:
    """Return what farriers observed in words since the last reset on the case."""
    last = select(func.max(Entry.seq)).where(
        Entry.case_id == case_id, Entry.kind == Move.RECORD_RESET.value
    )
    written = session.scalars(
        select(Entry)
        .where(
            Entry.case_id == case_id,
            Entry.actor_role == "farrier",
            Entry.kind.in_(OBSERVING),
            Entry.seq > func.coalesce(last.scalar_subquery(), 0),
        )
        .order_by(Entry.seq)
    ).all()
    texts = texts_of(session, written)
    return tuple(each for entry in written for each in texts.get(entry.id, {}).values())


def others_of(session: Session, case_id: UUID, planned: Iterable[str]) -> Mapping[str, Measured]:
    """Return what each opposite foot for which nothing is planned would be judged on now.

    That is its newest film, its typed readings or both; guides from outside are none of it.
    """
    limbs = set(planned)
    others = sorted({OPPOSITE[each] for each in limbs} - limbs)
    read = {limb: _read(session, case_id, limb) for limb in others}
    return {limb: each for limb, each in read.items() if each.readings}


def _read(session: Session, case_id: UUID, limb: str) -> Measured:
    """Return the readings of a limb's basis: the film's, and typed ones beside and between them."""
    basis = limb_basis(session, case_id, limb)
    filmed = (
        measured
        for row, measured in reading_sets(session, case_id, limb)
        if row.film_id and row.id in basis.reading_set_ids
    )
    return merge(next(filmed, Measured()), basis.typed)


def _observed(session: Session, case_id: UUID, limb: str) -> dict[str, Reading]:
    """Return the newest reading of each kind taken on the outside of the foot."""
    shod = set(
        session.scalars(
            select(Film.id).where(Film.case_id == case_id, Film.limb == limb, Film.shod != "no")
        )
    )
    found: dict[str, Reading] = {}
    for row, measured in reading_sets(session, case_id, limb):
        for code, reading in measured.readings.items():
            if is_guide(code) and not (code in TO_THE_HEEL and row.film_id in shod):
                found.setdefault(code, reading)
    return found


def _previous(session: Session, case_id: UUID, limb: str, before: date | None) -> Previous | None:
    """Return the readings of the newest film of an earlier day than the one that is judged."""
    if before is None:
        return None
    for row, measured in reading_sets(session, case_id, limb):
        if row.film_id and row.taken_on < before and _is_filmed(measured):
            return Previous(row.taken_on, measured.readings)
    return None


def _is_filmed(measured: Measured) -> bool:
    return any(each.basis == "film" for each in measured.readings.values())


def _assessed(session: Session, case_id: UUID, limb: str) -> tuple[bool | None, float | None]:
    """Return whether the heels looked damaged, and the girth of the coronet, each as last seen."""
    rows = session.scalars(
        select(Assessment.answers)
        .where(Assessment.case_id == case_id, Assessment.limb == limb)
        .order_by(Assessment.seen_on.desc(), Assessment.id.desc())
    ).all()
    seen = next((each["distortion"] for each in rows if each.get("distortion")), None)
    girth = next((each[GIRTH] for each in rows if each.get(GIRTH)), None)
    return (None if seen is None else bool(DAMAGED_HEELS & set(seen)), girth)


def _graded(session: Session, case_id: UUID, limb: str) -> tuple[Lameness | None, Lameness | None]:
    """Return the newest grade of a limb's lameness, and the newest of an earlier day."""
    graded = notes_of(session, case_id, Move.GRADE_LAMENESS)
    mine = [each for each in graded if each.facts["limb"] == limb]
    earlier = [each for each in mine if each.entry.happened_on < mine[0].entry.happened_on]
    newest, before = (
        Lameness(each[0].facts["grade"], each[0].facts["scale"]) if each else None
        for each in (mine, earlier)
    )
    return newest, before


def _resets_in_device(session: Session, case_id: UUID, limb: str) -> int:
    """Count the last visits in a row with a wedge or bar since there was a reason given for it."""
    since = reasoned_at(session, case_id, limb)
    count = 0
    for fitting in reversed(fittings_of(session, case_id, limb)):
        plan = plan_from_content(fitting.content)
        if fitting.seq <= since or not (has_wedge(plan) or has_bar(plan)):
            break
        count += 1
    return count
