"""Certificates with keys as people bring them, made by openssl."""

import subprocess
from pathlib import Path

ISSUER = "Green Gate Signing"
HOLDER = "Dr Ines Corvane"
PASSPHRASE = "open the gate"
FIT = "basicConstraints=critical,CA:false\nkeyUsage=critical,digitalSignature,nonRepudiation\n"
P256 = ("ec", "-pkeyopt", "ec_paramgen_curve:P-256")


def openssl(*words: str | Path) -> bytes:
    return subprocess.run(["openssl", *map(str, words)], capture_output=True, check=True).stdout


def an_issuer(folder: Path) -> Path:
    """Make an authority that this instance knows nothing of; return its certificate."""
    folder.mkdir(parents=True, exist_ok=True)
    root = folder / "issuer.pem"
    if not root.exists():
        openssl("req", "-x509", "-newkey", *P256, "-noenc", "-subj", f"/CN={ISSUER}",
                "-days", "3650", "-keyout", folder / "issuer.key", "-out", root)  # fmt: skip
    return root


def a_p12(
    folder: Path,
    *,
    key: tuple[str, ...] = P256,
    extensions: str = FIT,
    days: str = "300",
    writing: tuple[str, ...] = (),
    passphrase: str = PASSPHRASE,
    subject: str = f"/CN={HOLDER}",
) -> bytes:
    """Return a PKCS#12 file with a key, its certificate and the issuer's."""
    root = an_issuer(folder)
    (folder / "own.ext").write_text(extensions)
    own, request = folder / "own.key", folder / "own.csr"
    openssl("req", "-utf8", "-new", "-newkey", *key, "-noenc", "-subj", subject,
            "-keyout", own, "-out", request)  # fmt: skip
    openssl("x509", "-req", "-in", request, "-CA", root, "-CAkey", folder / "issuer.key",
            "-days", days, "-extfile", folder / "own.ext", "-out", folder / "own.pem")  # fmt: skip
    return packed(folder, writing, passphrase)


def packed(folder: Path, writing: tuple[str, ...] = (), passphrase: str = PASSPHRASE) -> bytes:
    out = folder / "own.p12"
    openssl("pkcs12", "-export", "-inkey", folder / "own.key", "-in", folder / "own.pem",
            "-certfile", folder / "issuer.pem", "-passout", f"pass:{passphrase}",
            "-out", out, *writing)  # fmt: skip
    return out.read_bytes()
