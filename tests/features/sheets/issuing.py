"""A certificate authority of openssl's that says, on loopback, which certificates it withdrew.

It publishes its list (CRL) and answers about single ones (OCSP), with `openssl ca` and `openssl
ocsp`; its root is the same that issued.
"""

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from referral.clock import utc_now
from tests.features.sheets.time_authority import openssl

CURVE = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-noenc")
CONFIG = """
[ca]
default_ca = here
[here]
database = {folder}/index.txt
new_certs_dir = {folder}
serial = {folder}/ca.srl
certificate = {folder}/root.pem
private_key = {folder}/root.key
default_md = sha256
default_days = 30
default_crl_days = 7
crlnumber = {folder}/crlnumber
policy = any
copy_extensions = none
unique_subject = no
[any]
commonName = supplied
organizationName = optional
"""


@dataclass
class Issuer:
    """Where it is, what it was asked, and what it answers to be asked in vain."""

    folder: Path
    address: str = ""
    asked: list[str] = field(default_factory=list)
    broken: bool = False
    published: bytes | None = None
    """Its list (DER) as it was made once, in place of a new one each time."""

    @property
    def root(self) -> Path:
        return self.folder / "root.pem"

    @property
    def host(self) -> str:
        return self.address.removeprefix("http://")

    def issue(self, name: str, extensions: str, subject: str, *, days: int = 30) -> Path:
        """Return a new certificate; its key lies beside it."""
        key, request = self.folder / f"{name}.key", self.folder / f"{name}.csr"
        (self.folder / f"{name}.ext").write_text(extensions)
        openssl("req", "-new", *CURVE, "-subj", subject, "-keyout", key, "-out", request)
        made = self.folder / f"{name}.pem"
        openssl("ca", "-batch", "-notext", "-config", self.folder / "ca.conf", "-in", request,
                "-days", str(days), "-extfile", self.folder / f"{name}.ext", "-out", made,
                "-rand_serial")  # fmt: skip
        return made

    def revoke(self, certificate: Path) -> None:
        """Withdraw a certificate as of a minute ago, so that no test runs in that very second."""
        openssl("ca", "-config", self.folder / "ca.conf", "-revoke", certificate,
                "-crl_reason", "affiliationChanged")  # fmt: skip
        index = self.folder / "index.txt"
        at = f"{utc_now() - timedelta(minutes=1):%y%m%d%H%M%SZ}"
        index.write_text(re.sub(r"\t\d{12}Z,", f"\t{at},", index.read_text()))

    def named_list(self) -> str:
        return f"crlDistributionPoints = URI:{self.address}/list.crl\n"

    def named_answers(self) -> str:
        return f"authorityInfoAccess = OCSP;URI:{self.address}/ocsp\n"

    def crl(self, form: str = "PEM") -> bytes:
        """Return the list as it is now."""
        made = self.folder / "list.pem"
        made.write_bytes(openssl("ca", "-config", self.folder / "ca.conf", "-gencrl"))
        return openssl("crl", "-in", made, "-outform", form)

    def publish(self, others: int) -> bytes:
        """Publish and return a list on which so many certificates of others stand too."""
        index = self.folder / "index.txt"
        kept = index.read_text()
        at, until = (f"{utc_now() + timedelta(days=n):%y%m%d%H%M%SZ}" for n in (-2, 20))
        line = f"R\t{until}\t{at}\t{{serial:X}}\tunknown\t/CN=other\n"
        index.write_text(kept + "".join(line.format(serial=2**100 + n) for n in range(others)))
        self.published = self.crl("DER")
        index.write_text(kept)
        return self.published

    def answer(self, query: bytes) -> bytes:
        asked = self.folder / f"{len(self.asked)}.ocsp"
        asked.write_bytes(query)
        said = asked.with_suffix(".answer")
        openssl("ocsp", "-index", self.folder / "index.txt", "-CA", self.root, "-rsigner",
                self.root, "-rkey", self.folder / "root.key", "-reqin", asked, "-ndays", "1",
                "-respout", said)  # fmt: skip
        return said.read_bytes()


def _make(folder: Path, name: str) -> None:
    folder.mkdir(parents=True)
    (folder / "ca.conf").write_text(CONFIG.format(folder=folder))
    (folder / "index.txt").touch()
    (folder / "crlnumber").write_text("01\n")
    openssl("req", "-x509", *CURVE, "-subj", f"/CN={name}", "-days", "3650",
            "-keyout", folder / "root.key", "-out", folder / "root.pem")  # fmt: skip


@contextmanager
def an_issuer_that_answers(folder: Path, name: str = "Weir Issuing") -> Iterator[Issuer]:
    _make(folder, name)
    issuer = Issuer(folder)

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            issuer.asked.append("list")
            self._send(issuer.published or issuer.crl("DER"), "application/pkix-crl")

        def do_POST(self) -> None:
            query = self.rfile.read(int(self.headers["Content-Length"]))
            issuer.asked.append("answer")
            self._send(issuer.answer(query), "application/ocsp-response")

        def _send(self, body: bytes, kind: str) -> None:
            self.send_response(503 if issuer.broken else 200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_words: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    issuer.address = f"http://127.0.0.1:{server.server_port}"
    try:
        yield issuer
    finally:
        server.shutdown()
        server.server_close()
