"""Sending by real worker processes: killed at the worst moment, two at once; TLS and a password."""

import dataclasses
import ipaddress
import signal
import smtplib
import ssl
import subprocess
import sys
import threading
from contextlib import contextmanager
from datetime import timedelta

import pytest
from aiosmtpd.smtp import AuthResult
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from sqlalchemy import update

from referral.clock import utc_now
from referral.inbox.posting import letter_sender
from referral.storage.jobs import Job
from tests.factories import Clock
from tests.features.notices.moves import flag, refer
from tests.features.notices.post import a_mail_server, letters, part_of, until, waiting_jobs


@pytest.fixture
def instance(tmp_path, database, box):
    """An instance's folder, joined to the test's database and mail server."""
    url = database.url.replace("postgresql+psycopg://", "postgresql://")
    (tmp_path / "config.toml").write_text(
        f'database_url = "{url}"\nmail_host = "127.0.0.1"\nmail_port = {box.port}\n'
        'mail_tls = "none"\nmail_from = "yard@example.org"\n'
    )
    return tmp_path


@contextmanager
def a_worker(instance):
    command = [sys.executable, "-m", "referral.cli", "worker", "--instance", str(instance)]
    process = subprocess.Popen(command)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def test_a_worker_killed_between_sending_and_writing_it_down_sends_the_same_mail_again(
    database, case, instance, box
):
    box.hold = threading.Event()
    refer(database, case, Clock(utc_now()))
    with a_worker(instance) as process:
        until(box.after_data.is_set)
        process.send_signal(signal.SIGKILL)
        process.wait()
    box.hold.set()
    assert [each.outcome for each in letters(database)] == [None]
    with database.transaction() as session:  # its time is up
        session.execute(update(Job).values(claimed_until=None))
    with a_worker(instance):
        until(lambda: not waiting_jobs(database))
    assert len(box.taken) == 2
    assert len(set(box.ids())) == 1
    assert box.raw[0] == box.raw[1]
    assert [each.outcome for each in letters(database)] == ["sent"]


def test_two_workers_send_each_letter_once(database, case, instance, box):
    refer(database, case, Clock(utc_now()))
    for _ in range(4):
        flag(database, case, Clock(utc_now()))
    with a_worker(instance), a_worker(instance):
        until(lambda: not waiting_jobs(database))
    assert len(box.ids()) == len(set(box.ids())) == len(letters(database))
    assert {each.outcome for each in letters(database)} == {"sent"}
    # the referral to the farrier, each flag to vet and farrier
    assert sum(part_of(mail, "plain").count("/cases/") for mail in box.taken) == 1 + 2 * 4


@pytest.fixture
def certificate(tmp_path):
    """A certificate of this machine's own address, signed by itself."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
    now = utc_now()
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]),
            critical=False,
        )
        .sign(key, hashes.SHA256())
    )
    path = tmp_path / "server.pem"
    path.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        + made.public_bytes(serialization.Encoding.PEM)
    )
    return path


@pytest.fixture
def safe_box(certificate):
    """A server that takes mail only under TLS and from who knows the password."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate)

    def check(server, session, envelope, mechanism, given):
        known = (given.login, given.password) == (b"yard", b"open sesame")
        return AuthResult(success=known, handled=known)

    with a_mail_server(
        tls_context=context, require_starttls=True, auth_required=True, authenticator=check
    ) as running:
        yield running


@pytest.fixture
def trusted(certificate, monkeypatch):
    """The server's certificate is one that this machine trusts."""
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate))


@pytest.mark.usefixtures("trusted")
def test_mail_goes_under_tls_with_the_password(
    database, case, clock, make_worker, settings, safe_box
):
    refer(database, case, clock)
    make_worker(safe(settings, safe_box)).run_waiting()
    assert safe_box.recipients == [[case[0].farrier.email]]


def safe(settings, box, **changed):
    said = {"mail_tls": "starttls", "mail_user": "yard", "mail_password": "open sesame"}
    return dataclasses.replace(settings, mail_port=box.port, **said, **changed)


@pytest.mark.usefixtures("trusted")
def test_mail_goes_to_a_server_that_speaks_tls_from_the_first_byte(
    database, case, clock, make_worker, settings, certificate
):
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate)
    refer(database, case, clock)
    with a_mail_server(ssl_context=context) as box:
        changed = {"mail_port": box.port, "mail_tls": "tls"}
        make_worker(dataclasses.replace(settings, **changed)).run_waiting()
    assert box.recipients == [[case[0].farrier.email]]


def test_a_server_that_cannot_prove_who_it_is_gets_neither_password_nor_mail(
    database, case, clock, settings, make_worker, safe_box
):
    refer(database, case, clock)
    make_worker(safe(settings, safe_box)).run_one()  # which letters
    (letter,) = letters(database)
    handler = letter_sender(safe(settings, safe_box), database, clock)
    with pytest.raises(ssl.SSLCertVerificationError):
        handler.prepare({"letter_id": str(letter.id)})
    assert safe_box.taken == []


@pytest.mark.usefixtures("trusted")
def test_a_wrong_password_is_the_operators_to_mend_so_it_is_tried_again(
    database, case, clock, make_worker, settings, safe_box
):
    refer(database, case, clock)
    wrong = dataclasses.replace(safe(settings, safe_box), mail_password="close sesame")
    make_worker(wrong).run_one()
    (letter,) = letters(database)
    with pytest.raises(smtplib.SMTPAuthenticationError):
        letter_sender(wrong, database, clock).prepare({"letter_id": str(letter.id)})
    make_worker(wrong).run_waiting()
    assert letters(database)[0].outcome is None
    clock.move(hours=1)
    make_worker(safe(settings, safe_box)).run_waiting()
    assert letters(database)[0].outcome == "sent"
