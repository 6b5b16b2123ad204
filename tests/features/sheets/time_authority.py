"""A real RFC 3161 time authority on loopback: `openssl ts -reply` behind a small HTTP server."""

import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.features.sheets.issuing import Issuer

NAME = "Slow River Time"
CONFIG = """
[tsa]
default_tsa = here
[here]
dir = {folder}
serial = $dir/serial
crypto_device = builtin
signer_cert = $dir/tsa.pem
certs = $dir/root.pem
signer_key = $dir/tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha384, sha512
accuracy = secs:1
ess_cert_id_alg = sha256
"""
EXTENSIONS = """
basicConstraints = critical,CA:false
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
"""


def openssl(*words: str | Path) -> bytes:
    return subprocess.run(["openssl", *map(str, words)], capture_output=True, check=True).stdout


@dataclass
class TimeAuthority:
    """Where it is, its root, what it was asked, and how it misbehaves if it is told to."""

    folder: Path
    address: str = ""
    asked: list[bytes] = field(default_factory=list)
    misbehave: Callable[["TimeAuthority", BaseHTTPRequestHandler, bytes], None] | None = None
    meanwhile: Callable[[], None] | None = None

    @property
    def root(self) -> Path:
        return self.folder / "root.pem"

    def reply(self, query: bytes) -> bytes:
        asked = self.folder / f"{len(self.asked)}.tsq"
        asked.write_bytes(query)
        answer = asked.with_suffix(".tsr")
        config = self.folder / "ts.conf"
        openssl("ts", "-reply", "-config", config, "-queryfile", asked, "-out", answer)
        return answer.read_bytes()


def _make(folder: Path) -> None:
    folder.mkdir(parents=True)
    (folder / "ts.conf").write_text(CONFIG.format(folder=folder))
    (folder / "tsa.ext").write_text(EXTENSIONS)
    (folder / "serial").write_text("01\n")
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-noenc")
    root, key = folder / "root.pem", folder / "root.key"
    request = folder / "tsa.csr"
    openssl("req", "-x509", *curve, "-subj", "/CN=Slow River Root", "-days", "30",
            "-keyout", key, "-out", root)  # fmt: skip
    openssl("req", "-new", *curve, "-subj", f"/O=Slow River/CN={NAME}",
            "-keyout", folder / "tsa.key", "-out", request)  # fmt: skip
    openssl("x509", "-req", "-in", request, "-CA", root, "-CAkey", key, "-days", "30",
            "-extfile", folder / "tsa.ext", "-out", folder / "tsa.pem")  # fmt: skip


def _made_by(issuer: "Issuer", folder: Path, named: str) -> None:
    """Make a time authority whose certificate an issuer that answers for it gave."""
    folder.mkdir(parents=True)
    (folder / "ts.conf").write_text(CONFIG.format(folder=folder))
    (folder / "serial").write_text("01\n")
    made = issuer.issue("tsa", EXTENSIONS + named, f"/O=Slow River/CN={NAME}")
    for name, file in (("tsa.pem", made), ("tsa.key", made.with_suffix(".key"))):
        (folder / name).write_bytes(file.read_bytes())
    (folder / "root.pem").write_bytes(issuer.root.read_bytes())


@contextmanager
def a_time_authority(
    folder: Path, issuer: "Issuer | None" = None, named: str = ""
) -> Iterator[TimeAuthority]:
    """Run one; ``named`` is what its certificate says of where its issuer is asked."""
    if issuer is None:
        _make(folder)
    else:
        _made_by(issuer, folder, named)
    authority = TimeAuthority(folder)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            query = self.rfile.read(int(self.headers["Content-Length"]))
            authority.asked.append(query)
            if authority.meanwhile is not None:
                authority.meanwhile()
            if authority.misbehave is not None:
                authority.misbehave(authority, self, query)
            else:
                send(self, authority.reply(query))

        def log_message(self, *_words: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    authority.address = f"http://127.0.0.1:{server.server_port}/stamp"
    try:
        yield authority
    finally:
        server.shutdown()
        server.server_close()


def send(
    handler: BaseHTTPRequestHandler,
    body: bytes,
    *,
    status: int = 200,
    kind: str = "application/timestamp-reply",
) -> None:
    handler.send_response(status)
    handler.send_header("Content-Type", kind)
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    handler.wfile.write(body)


def is_silent(_authority, _handler, _query) -> None:
    time.sleep(1.0)


def drips(_authority, handler, _query) -> None:
    """Send a byte now and then: each comes in time, the whole never does."""
    handler.send_response(200)
    handler.send_header("Content-Type", "application/timestamp-reply")
    handler.end_headers()
    for _ in range(20):
        try:
            handler.wfile.write(b"0")
        except OSError:
            return
        time.sleep(0.1)


def is_endless(_authority, handler, _query) -> None:
    send(handler, bytes(200_000))


def is_a_page(_authority, handler, _query) -> None:
    send(handler, b"<p>Welcome</p>", kind="text/html")


def is_nonsense(_authority, handler, _query) -> None:
    send(handler, b"\x30\x03\x02\x01")


def sends_elsewhere(authority, handler, _query) -> None:
    handler.send_response(307)
    handler.send_header("Location", f"{authority.address}/elsewhere")
    handler.send_header("Content-Length", "0")
    handler.end_headers()


def refuses(authority, handler, _query) -> None:
    """Answer a query that names a hash the authority does not take: openssl refuses it."""
    unknown = authority.folder / "md5.tsq"
    openssl("ts", "-query", "-digest", "0" * 32, "-md5", "-out", unknown)
    send(handler, authority.reply(unknown.read_bytes()))


def repeats_itself(authority, handler, _query) -> None:
    """Answer with a sound stamp of something else."""
    other = authority.folder / "other.tsq"
    openssl("ts", "-query", "-digest", "ab" * 32, "-sha256", "-cert", "-out", other)
    send(handler, authority.reply(other.read_bytes()))


def lies_about_the_hash(authority, handler, query) -> None:
    """Answer our nonce over another digest."""
    from asn1crypto import tsp

    asked = tsp.TimeStampReq.load(query)
    asked["message_imprint"]["hashed_message"] = b"\x01" * 32
    send(handler, authority.reply(asked.dump(force=True)))


MISBEHAVIOURS = (
    is_silent,
    drips,
    is_endless,
    is_a_page,
    is_nonsense,
    sends_elsewhere,
    refuses,
    repeats_itself,
    lies_about_the_hash,
)
