"""The inbox, what mail a person wants, and the pages that end mail without signing in."""

from uuid import UUID

from flask import Blueprint, flash, make_response, render_template, request, url_for
from flask.typing import ResponseReturnValue

from referral.accounts.idempotency import do_once, new_key
from referral.errors import Invalid
from referral.inbox.queries import inbox_page, roles_of
from referral.inbox.schemas import HOURS, ZONES, Nothing, WishesForm
from referral.inbox.service import (
    Choose,
    choose,
    end_mail,
    has_ended,
    mark_all_read,
    mark_one_read,
    resume_mail,
)
from referral.inbox.stopping import address_asked, allow_letters, is_stopped, stop_letters
from referral.inbox.tokens import ending_of, stopping_of
from referral.notices.policy import TOPIC_NAMES, Topic, must_have
from referral.notices.queries import unread_count, wishes_of
from referral.web.csrf import proven_by_address
from referral.web.forms import FormState, load_form, state_of_form
from referral.web.login import current_actor, is_signed_in, sign_in_required
from referral.web.wiring import wiring

blueprint = Blueprint("inbox", __name__)

UNUSABLE = 422
LONGEST_PAGE_NUMBER = 5


@blueprint.app_template_global()
def unread_notices() -> int:
    """Return how many notices whoever is signed in has not read."""
    if not is_signed_in():
        return 0
    with wiring().database.reading() as session:
        return unread_count(session, current_actor().person_id)


@blueprint.get("/notices")
@sign_in_required
def notices() -> ResponseReturnValue:
    """Show what this person was told, newest first."""
    asked = request.args.get("page", "1")
    is_number = asked.isascii() and asked.isdigit() and len(asked) <= LONGEST_PAGE_NUMBER
    number = int(asked) if is_number else 1
    with wiring().database.reading() as session:
        page = inbox_page(session, current_actor().person_id, max(number, 1))
    return render_template("inbox/notices.html", page=page, key=new_key())


@blueprint.post("/notices/read")
@sign_in_required
def read_all() -> ResponseReturnValue:
    """Mark everything read."""
    load_form(Nothing(), request.form)
    wired = wiring()
    person_id = current_actor().person_id

    def act() -> str:
        mark_all_read(session, person_id, wired.now())
        return url_for("inbox.notices")

    with wired.database.transaction() as session:
        return do_once(session, person_id, wired.now(), act)


@blueprint.post("/notices/<uuid:notice_id>/read")
@sign_in_required
def read_one(notice_id: UUID) -> ResponseReturnValue:
    """Mark one notice read."""
    load_form(Nothing(), request.form)
    wired = wiring()
    person_id = current_actor().person_id

    def act() -> str:
        mark_one_read(session, person_id, notice_id, wired.now())
        return url_for("inbox.notices")

    with wired.database.transaction() as session:
        return do_once(session, person_id, wired.now(), act)


@blueprint.get("/account/mail")
@sign_in_required
def wishes() -> ResponseReturnValue:
    """Show what mail this person gets and when."""
    return _wishes_page(FormState())


@blueprint.post("/account/mail")
@sign_in_required
def new_wishes() -> ResponseReturnValue:
    """Keep what mail this person wants."""
    wired = wiring()
    person_id = current_actor().person_id

    def act() -> str:
        wanted = load_form(WishesForm(), request.form)
        choose(session, person_id, Choose(wanted), wired.now())
        return url_for("inbox.wishes")

    try:
        with wired.database.transaction() as session:
            answer = do_once(session, person_id, wired.now(), act)
    except Invalid as error:
        return _wishes_page(state_of_form(request.form, error), UNUSABLE)
    flash("Kept. Mail comes so from now on.")
    return answer


@blueprint.get("/unsubscribe/<token>")
def unsubscribing(token: str) -> ResponseReturnValue:
    """Show what an address in a mail would end; opening it changes nothing."""
    return _ending_page(token)


@blueprint.post("/unsubscribe/<token>")
@proven_by_address
def unsubscribe(token: str) -> ResponseReturnValue:
    """End mail on the topics of an address in a mail, or begin it again; for a mail program too."""
    wired = wiring()
    ending = ending_of(wired.settings.secret_key, token)
    with wired.database.transaction() as session:
        if request.form.get("again") == "yes":
            resume_mail(session, ending, wired.settings.zone, wired.now())
        else:
            end_mail(session, ending, wired.settings.zone, wired.now())
    return _ending_page(token)


def _ending_page(token: str) -> ResponseReturnValue:
    wired = wiring()
    ending = ending_of(wired.settings.secret_key, token)
    with wired.database.reading() as session:
        done = has_ended(session, ending, wired.settings.zone)
    names = [TOPIC_NAMES[topic] for topic in Topic if topic in ending.topics]
    return render_template("inbox/unsubscribe.html", names=names, token=token, done=done)


@blueprint.get("/no-letters/<token>")
def stopping(token: str) -> ResponseReturnValue:
    """Show which letters an address in one of them would end; opening it changes nothing."""
    return _stopping_page(token)


@blueprint.post("/no-letters/<token>")
@proven_by_address
def stop(token: str) -> ResponseReturnValue:
    """End letters to the address that one asked, for its owner or for their mail program."""
    wired = wiring()
    invitation_id = stopping_of(wired.settings.secret_key, token)
    with wired.database.transaction() as session:
        email = address_asked(session, invitation_id)
        if request.form.get("again") == "yes":
            allow_letters(session, email)
        else:
            stop_letters(session, email, wired.now())
    return _stopping_page(token)


def _stopping_page(token: str) -> ResponseReturnValue:
    wired = wiring()
    invitation_id = stopping_of(wired.settings.secret_key, token)
    with wired.database.reading() as session:
        email = address_asked(session, invitation_id)
        stopped = is_stopped(session, email)
    return render_template("inbox/no_letters.html", email=email, token=token, stopped=stopped)


def _wishes_page(state: FormState, status: int = 200) -> ResponseReturnValue:
    wired = wiring()
    actor = current_actor()
    with wired.database.reading() as session:
        present = wishes_of(session, actor.person_id, wired.settings.zone)
        roles = roles_of(session, actor.person_id)
    page = render_template(
        "inbox/wishes.html",
        form=state,
        key=new_key(),
        actor=actor,
        wishes=present,
        topics=[(topic.value, TOPIC_NAMES[topic]) for topic in Topic],
        flags_stay=must_have(Topic.RED_FLAG, roles),
        hours=[(str(hour), f"{hour:02}:00") for hour in HOURS],
        zones=[(zone, zone) for zone in ZONES],
        has_server=wired.settings.mail_host is not None,
    )
    return make_response(page, status)
