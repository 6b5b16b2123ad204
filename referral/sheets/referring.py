"""The referral as a sheet: what is asked, within which limits, and what was measured."""

from sqlalchemy.orm import Session

from referral.cases.access import CaseAccess
from referral.cases.choices import CONDITIONS, SIGNS, URGENCIES
from referral.cases.models import Limit, Referral
from referral.cases.queries import current_limits, current_problems, flags_of, latest_referral
from referral.cases.words import STAGES, bound_says
from referral.core.measure.registry import MEASURES
from referral.errors import Invalid
from referral.sheets.making import Frame, framed, referred_limb
from referral.sheets.snapshot import LimitShown, Snapshot, Told
from referral.sheets.texts import DANGER_SIGNS
from referral.sheets.wording import LIMBS
from referral.storage.blobs import BlobStore
from referral.web.written import day

NO_LIMITS = "The vet set no limits of their own on purpose; the rules that ship with this apply."


def referral_snapshot(
    session: Session,
    access: CaseAccess,
    blobs: BlobStore,
    frame: Frame,
    pictures: dict[str, bytes],
) -> Snapshot:
    """Return the referral in force, frozen.

    Raises
    ------
    Invalid
        If none was sent.
    """
    referral = latest_referral(session, access.case_id)
    if referral is None:
        raise Invalid("No referral has been sent yet.")
    limits = current_limits(session, access.case_id)
    asked = Told("What is asked", _asked(referral, frame.words), () if limits else (NO_LIMITS,))
    told = (asked, *_problems(session, access), *_live_flags(session, access))
    return framed(
        session,
        access,
        frame,
        about=tuple(referral.limbs),
        limbs=tuple(
            referred_limb(session, access, blobs, limb, pictures) for limb in referral.limbs
        ),
        told=told,
        limits=tuple(_limit(row) for row in limits),
        danger_signs=DANGER_SIGNS,
    )


def _asked(referral: Referral, words: str | None) -> tuple[tuple[str, str], ...]:
    said = (
        ("Referral", f"Number {referral.n}, sent {day(referral.sent_at)}"),
        ("Limbs", ", ".join(LIMBS[limb] for limb in referral.limbs)),
        ("Urgency", dict(URGENCIES).get(referral.urgency, referral.urgency)),
        ("Goals", referral.goals),
        ("Left to the farrier", referral.open_to_farrier),
        ("Limits that contradict each other", _contradictions(referral)),
        ("Sent all the same, because", referral.contradiction_reason),
        ("From the vet", words),
    )
    return tuple((label, value) for label, value in said if value)


def _contradictions(referral: Referral) -> str:
    said = referral.contradictions or ()
    return ". ".join(f"{each['limb']}: {'; '.join(each['limits'])}" for each in said)


def _problems(session: Session, access: CaseAccess) -> tuple[Told, ...]:
    facts = tuple(
        (
            LIMBS[each.limb],
            f"{dict(CONDITIONS).get(each.condition, each.condition)}, {each.certainty}"
            + (f". {each.words}" if each.words else ""),
        )
        for each in current_problems(session, access.case_id)
    )
    return (Told("The vet’s diagnosis", facts),) if facts else ()


def _live_flags(session: Session, access: CaseAccess) -> tuple[Told, ...]:
    says = tuple(
        dict(SIGNS).get(flag.sign, flag.sign)
        for flag, _answer in flags_of(session, access.case_id)
        if str(flag.id) in access.state.live_flags
    )
    return (Told("Red flags that are not answered yet", (), says),) if says else ()


def _limit(row: Limit) -> LimitShown:
    return LimitShown(
        limb=row.limb,
        name=MEASURES[row.measure].name if row.measure in MEASURES else row.measure,
        says=bound_says(row.at_least, row.at_most, row.unit),
        stage=STAGES[row.stage],
        strength=row.strength,
        reason=row.reason,
    )
