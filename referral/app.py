"""The web app: the one place that joins layers, features and pages."""

from dataclasses import replace
from pathlib import Path

from flask import Flask, Response, request
from werkzeug.routing import IntegerConverter, Map

from referral.accounts import practice_views as accounts_practice_views
from referral.accounts import second_factor_views as accounts_second_factor_views
from referral.accounts import views as accounts_views
from referral.accounts.actor import Actor
from referral.accounts.passwords import Passwords
from referral.accounts.sign_in import resume_session
from referral.assessments import views as assessments_views
from referral.assessments.photos import READ_PHOTO, photo_reader
from referral.cases import booking_views as cases_booking_views
from referral.cases import correcting_views as cases_correcting_views
from referral.cases import handing_views as cases_handing_views
from referral.cases import joining_views as cases_joining_views
from referral.cases import letter_views as cases_letter_views
from referral.cases import note_views as cases_note_views
from referral.cases import views as cases_views
from referral.cases.invitations import TELL_OF_SILENCE, WRITE_TO_ASKED
from referral.cases.lapses import TELL_OF_LAPSE, lapse_teller
from referral.cases.silence import silence_teller
from referral.desk import diary_views as desk_diary_views
from referral.desk import horse_views as desk_horse_views
from referral.desk import recording_views as desk_recording_views
from referral.desk import views as desk_views
from referral.erasing import views as erasing_views
from referral.erasing.sweeping import SWEEP_FILES, file_sweeper
from referral.films import repeat_views as films_repeat_views
from referral.films import views as films_views
from referral.films.intake import READ_FILM, film_reader
from referral.inbox import views as inbox_views
from referral.inbox.asking import asked_writer
from referral.inbox.gathering import SEND_LETTER, letter_maker
from referral.inbox.posting import letter_sender
from referral.notices.service import SEE_TO_MAIL
from referral.plans import shoe_views as plans_shoe_views
from referral.plans import trial_views as plans_trial_views
from referral.plans import views as plans_views
from referral.plans import window_views as plans_window_views
from referral.plans.contradictions import contradictions_of
from referral.plans.rule_notices import rule_teller
from referral.resets import recheck_views as resets_recheck_views
from referral.resets import views as resets_views
from referral.resets.rechecks import REMIND, recheck_reminder
from referral.rulebook.checking import checked_rulebook
from referral.rules import views as rules_views
from referral.rules.service import TELL_OF_RULE
from referral.settings import Settings
from referral.sheets import authority_views as sheets_authority_views
from referral.sheets import certificate_views as sheets_certificate_views
from referral.sheets import check_views as sheets_check_views
from referral.sheets import letter_views as sheets_letter_views
from referral.sheets import views as sheets_views
from referral.sheets.office import office_of
from referral.sheets.orders import RENDER_SHEET, sheet_maker
from referral.shoes import views as shoes_views
from referral.storage.blobs import BlobStore
from referral.storage.db import Database
from referral.storage.jobs import Worker
from referral.web import csrf, errors, filters, headers, login, wiring
from referral.web.wiring import Wiring

FEATURES = (
    accounts_views.blueprint,
    accounts_practice_views.blueprint,
    accounts_second_factor_views.blueprint,
    desk_recording_views.blueprint,
    shoes_views.blueprint,
    cases_views.blueprint,
    cases_note_views.blueprint,
    cases_booking_views.blueprint,
    cases_joining_views.blueprint,
    cases_letter_views.blueprint,
    cases_correcting_views.blueprint,
    cases_handing_views.blueprint,
    rules_views.blueprint,
    films_views.blueprint,
    films_repeat_views.blueprint,
    assessments_views.blueprint,
    plans_views.blueprint,
    plans_window_views.blueprint,
    plans_shoe_views.blueprint,
    plans_trial_views.blueprint,
    resets_views.blueprint,
    resets_recheck_views.blueprint,
    sheets_views.blueprint,
    inbox_views.blueprint,
    sheets_authority_views.blueprint,
    sheets_check_views.blueprint,
    sheets_certificate_views.blueprint,
    sheets_letter_views.blueprint,
    erasing_views.blueprint,
    desk_views.blueprint,
    desk_diary_views.blueprint,
    desk_horse_views.blueprint,
)
"""Every feature that has pages, in the order of the house."""

PACKAGE = Path(__file__).resolve().parent
LARGEST_REQUEST_BYTES = 96 * 1024 * 1024
LARGEST_FORM_BYTES = 1024 * 1024
MOST_FORM_PARTS = 2000
LARGEST_NUMBER = 2**31 - 1
VISIT_COOKIE = "referral-visit"
LOCAL_NAMES = ("localhost", "127.0.0.1", "[::1]")


def create_app(settings: Settings, wired: Wiring | None = None) -> Flask:
    """Return the app for an instance; ``wired`` is made from the settings if not given."""
    app = Flask(
        "referral",
        template_folder=str(page_folder("templates")),
        static_folder=str(page_folder("static")),
        static_url_path="/static",
    )
    app.url_map.converters["int"] = _Number
    _configure(app, settings)
    joined = replace(wired or wire(settings), contradictions=contradictions_of)
    wiring.install(app, joined)
    login.install(app, lambda token: _resume(joined, token))
    app.before_request(_limit_body)
    for part in (headers, csrf, errors, filters):
        part.install(app)
    for blueprint in FEATURES:
        app.register_blueprint(blueprint)
    app.add_url_rule("/healthz", "healthz", _healthz)
    return app


def wire(settings: Settings) -> Wiring:
    """Return the wiring an instance's settings ask for."""
    return Wiring(
        settings=settings,
        database=Database(settings.database_url),
        blobs=BlobStore(settings.files_dir),
        rulebook=checked_rulebook(settings.rules_dir),
        passwords=Passwords(),
    )


def worker_of(wired: Wiring) -> Worker:
    """Return what does an instance's waiting work; every kind of work is named here."""
    handlers = {
        READ_FILM: film_reader(wired.database, wired.blobs, wired.now),
        READ_PHOTO: photo_reader(wired.database, wired.blobs),
        SEE_TO_MAIL: letter_maker(wired.settings, wired.now),
        WRITE_TO_ASKED: asked_writer(wired.settings, wired.now),
        SEND_LETTER: letter_sender(wired.settings, wired.database, wired.now),
        REMIND: recheck_reminder(wired.now),
        TELL_OF_SILENCE: silence_teller(wired.now),
        TELL_OF_LAPSE: lapse_teller(wired.now),
        TELL_OF_RULE: rule_teller(wired.database, wired.rulebook, wired.now),
        SWEEP_FILES: file_sweeper(wired.database, wired.blobs, wired.now),
        RENDER_SHEET: sheet_maker(wired.database, lambda: office_of(wired)),
    }
    return Worker(wired.database, handlers, wired.now)


def page_folder(name: str) -> Path:
    """Return the folder of templates or static files, in a checkout or in an installed wheel."""
    installed = PACKAGE / f"_{name}"
    return installed if installed.is_dir() else PACKAGE.parent / name


def _resume(joined: Wiring, token: str) -> Actor | None:
    return resume_session(joined.database, token, joined.now())


def _configure(app: Flask, settings: Settings) -> None:
    secure = settings.production
    app.config.update(
        SECRET_KEY=settings.secret_key,
        MAX_CONTENT_LENGTH=LARGEST_REQUEST_BYTES,
        MAX_FORM_MEMORY_SIZE=LARGEST_FORM_BYTES,
        MAX_FORM_PARTS=MOST_FORM_PARTS,
        SESSION_COOKIE_NAME=f"__Host-{VISIT_COOKIE}" if secure else VISIT_COOKIE,
        SESSION_COOKIE_SECURE=secure,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_PATH="/",
        TRUSTED_HOSTS=None if secure else [*LOCAL_NAMES, settings.host],
    )
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True


class _Number(IntegerConverter):
    """A number in an address, no larger than a column of the database holds."""

    def __init__(self, url_map: Map) -> None:
        super().__init__(url_map, max=LARGEST_NUMBER)


def _limit_body() -> None:
    """Only an upload may be large; the library limits other forms by nothing else."""
    if request.mimetype != "multipart/form-data":
        request.max_content_length = LARGEST_FORM_BYTES


def _healthz() -> Response:
    return Response("ok\n", content_type="text/plain; charset=utf-8")
