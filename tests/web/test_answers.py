"""Headers on every answer, and one page or problem for whatever went wrong."""

import json
import logging
import re

import pytest
from flask import Blueprint, abort, request

from referral.app import create_app, page_folder
from referral.core.errors import ImpossiblePlan
from referral.errors import (
    Invalid,
    NotAllowed,
    NotFound,
    OutOfDate,
    ReferralError,
    SettingsFault,
    TooLarge,
    WrongState,
)
from tests.factories import a_settings

ERRORS = {
    "not-found": (NotFound("There is no such case."), 404),
    "not-allowed": (NotAllowed("Only the vet may do this."), 403),
    "wrong-state": (WrongState("The plan is not agreed yet."), 409),
    "out-of-date": (OutOfDate(), 409),
    "too-large": (TooLarge(), 413),
    "invalid": (Invalid("Some fields.", {"heel_trim_mm": ["Between 0 and 30 mm."]}), 422),
    "core": (ImpossiblePlan("No foot has this much heel.", at="plan.heel_trim_mm"), 422),
}


def faulty_pages():
    pages = Blueprint("faulty", __name__)

    @pages.get("/raise/<name>", endpoint="raise")
    @pages.get("/api/raise/<name>", endpoint="api_raise")
    def _raise(name):
        raise ERRORS[name][0]

    @pages.get("/break/<what>", endpoint="break")
    @pages.get("/api/break/<what>", endpoint="api_break")
    def _break(what):
        raise {"zero": ZeroDivisionError(what), "setting": SettingsFault("a secret path")}[what]

    @pages.get("/abort/<int:status>")
    def _abort(status):
        abort(status)

    @pages.post("/take")
    def _take():
        return str(len(request.form))

    @pages.get("/own-policy")
    def _own_policy():
        return "", {"Content-Security-Policy": "sandbox"}

    return pages


@pytest.fixture
def client(make_app):
    app = make_app()
    app.register_blueprint(faulty_pages())
    return app.test_client()


@pytest.mark.parametrize("name", ERRORS)
def test_an_error_of_ours_is_a_page_with_its_sentence(client, name):
    error, status = ERRORS[name]
    answer = client.get(f"/raise/{name}")
    assert answer.status_code == status
    assert answer.mimetype == "text/html"
    assert error.message in answer.text


@pytest.mark.parametrize("name", ERRORS)
def test_the_same_error_is_a_problem_for_a_program(client, name):
    error, status = ERRORS[name]
    for answer in (
        client.get(f"/api/raise/{name}"),
        client.get(f"/raise/{name}", headers={"Accept": "application/json"}),
    ):
        assert answer.status_code == status
        assert answer.content_type == "application/problem+json"
        problem = json.loads(answer.text)
        assert problem["status"] == status
        assert problem["detail"] == error.message
        assert problem["title"]
        assert problem["type"] == "about:blank"


def test_faults_are_listed_by_field(client):
    assert "Between 0 and 30 mm." in client.get("/raise/invalid").text
    problem = json.loads(client.get("/api/raise/invalid").text)
    assert problem["errors"] == {"heel_trim_mm": ["Between 0 and 30 mm."]}
    problem = json.loads(client.get("/api/raise/core").text)
    assert list(problem["errors"]) == ["plan.heel_trim_mm"]


@pytest.mark.parametrize("what", ["zero", "setting"])
def test_a_fault_of_ours_shows_a_number_and_nothing_else(client, caplog, what):
    with caplog.at_level(logging.ERROR):
        answer = client.get(f"/break/{what}")
    assert answer.status_code == 500
    [log_id] = re.findall(r"report it: ([0-9a-f]{8})\.", answer.text)
    assert any(log_id in each.getMessage() and each.exc_info for each in caplog.records)
    for hidden in ("Traceback", "ZeroDivisionError", "a secret path"):
        assert hidden not in answer.text
    assert json.loads(client.get(f"/api/break/{what}").text)["status"] == 500


def test_a_broken_database_is_one_sentence_too(make_app, database):
    app = make_app()
    client = app.test_client()
    client.set_cookie("referral-session", "x", domain="localhost")
    with database.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE session RENAME TO session_gone")
    try:
        answer = client.get("/account")
        problem = client.get("/account", headers={"Accept": "application/json"})
    finally:
        with database.engine.begin() as connection:
            connection.exec_driver_sql("ALTER TABLE session_gone RENAME TO session")
    assert answer.status_code == 500
    assert "nothing was saved" in answer.text
    assert problem.status_code == 500
    assert "Traceback" not in answer.text


def test_an_address_that_is_not_there_is_not_found(client):
    answer = client.get("/no/such/page")
    assert answer.status_code == 404
    assert "nothing that you may see" in answer.text


def test_a_wrong_method_says_which_are_allowed(client):
    answer = client.delete("/sign-in")
    assert answer.status_code in {403, 405}
    answer = client.get("/sign-out")
    assert answer.status_code == 405
    assert set(answer.headers["Allow"].split(", ")) == {"OPTIONS", "POST"}
    assert "buttons" in answer.text


@pytest.mark.parametrize("status", [400, 401, 413, 415, 418, 429])
def test_every_status_has_its_sentence(client, status):
    answer = client.get(f"/abort/{status}")
    assert answer.status_code == status
    assert answer.mimetype == "text/html"
    assert re.search(r"<h1[^>]*>[^<]+</h1>", answer.text)


def test_more_than_a_form_may_hold_is_too_large(client):
    answer = client.post("/take", data={"words": "x" * (2 * 1024 * 1024)})
    assert answer.status_code == 413
    assert "larger than this page takes" in answer.text


@pytest.mark.parametrize(
    "path", ["/sign-in", "/no/such/page", "/break/zero", "/healthz", "/account"]
)
def test_every_answer_carries_the_headers(client, path):
    headers = client.get(path).headers
    policy = headers["Content-Security-Policy"]
    for part in (
        *("default-src 'self'", "object-src 'none'", "base-uri 'none'", "form-action 'self'"),
        "frame-ancestors 'none'",
    ):
        assert part in policy
    assert "unsafe" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cache-Control"] == "private, no-store"
    assert "Strict-Transport-Security" not in headers


def test_only_static_files_may_be_kept(client):
    assert "Set-Cookie" in client.get("/sign-in").headers
    answer = client.get("/static/css/site.css")
    assert answer.status_code == 200
    assert "no-store" not in answer.headers["Cache-Control"]
    assert "Set-Cookie" not in answer.headers
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    answer.close()


def test_each_answer_has_its_own_nonce(client):
    nonces = {
        re.search(r"'nonce-([^']+)'", client.get("/sign-in").headers["Content-Security-Policy"])[1]
        for _ in range(3)
    }
    assert len(nonces) == 3


def test_a_view_may_set_a_stricter_policy(client):
    assert client.get("/own-policy").headers["Content-Security-Policy"] == "sandbox"


def test_https_is_remembered(client):
    answer = client.get("/sign-in", base_url="https://localhost")
    assert "max-age=31536000" in answer.headers["Strict-Transport-Security"]


def test_another_host_name_is_refused(client):
    answer = client.get("/sign-in", base_url="http://rebound.evil.test")
    assert answer.status_code == 400
    assert answer.mimetype == "text/plain"


def test_no_page_has_inline_handlers(client):
    assert not re.search(r"<[^>]+\son[a-z]+=", client.get("/sign-in").text)


def test_a_program_that_has_not_signed_in_is_told_so(client):
    answer = client.get("/account", headers={"Accept": "application/json"})
    assert answer.status_code == 401
    assert answer.content_type == "application/problem+json"


@pytest.mark.parametrize("name", ["templates", "static"])
def test_pages_are_found_in_a_checkout_and_in_an_installed_package(name, tmp_path, monkeypatch):
    assert (page_folder("templates") / "errors" / "error.html").is_file()
    monkeypatch.setattr("referral.app.PACKAGE", tmp_path / "referral")
    assert page_folder(name) == tmp_path / name
    (tmp_path / "referral" / f"_{name}").mkdir(parents=True)
    assert page_folder(name) == tmp_path / "referral" / f"_{name}"


def test_an_app_is_wired_from_its_settings_alone(tmp_path, database):
    app = create_app(a_settings(tmp_path, database.url))
    wired = app.extensions["referral"]
    assert app.test_client().get("/sign-in").status_code == 200
    assert wired.database.url == database.url
    wired.database.dispose()


def test_health_is_answered_without_signing_in(client):
    answer = client.get("/healthz")
    assert (answer.status_code, answer.text) == (200, "ok\n")


def test_an_error_without_a_row_in_the_table_is_our_fault():
    from referral.web.errors import status_of

    assert status_of(ReferralError("?")) == 500
