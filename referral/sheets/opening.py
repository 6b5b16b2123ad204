"""Opens one PKCS#12 file in a process of its own, which may not go on for longer than it should.

How long a file takes is partly said where only its passphrase leads. Run as a module: what to open
comes as JSON on standard input, what was in it goes as JSON to standard output.
"""

import base64
import json
import resource
import subprocess
import sys
from dataclasses import dataclass, field

LONGEST_CPU_S = 5
LONGEST_S = 20
"""The second is of the clock on the wall, for a machine with much else to do."""
MOST_MEMORY_BYTES = 1 << 30


class TakesTooLong(Exception):
    """The file was not open when its time was over."""


@dataclass(frozen=True, slots=True)
class Contents:
    """What is in a file, as DER: the key, checked, its certificate, and the other certificates."""

    key: bytes | None = field(repr=False)
    certificate: bytes | None
    others: tuple[bytes, ...]


def open_pkcs12(data: bytes, passphrase: str) -> Contents:
    """Return what is in a PKCS#12 file.

    Raises
    ------
    ValueError
        If it does not open.
    TakesTooLong
        If it takes more than a few seconds of computing.
    """
    asked = json.dumps({"file": base64.b64encode(data).decode(), "passphrase": passphrase})
    command = [sys.executable, "-m", "referral.sheets.opening", str(LONGEST_CPU_S)]
    try:
        done = subprocess.run(  # noqa: S603 - our own module, nothing of anybody's in the command
            command, input=asked.encode(), capture_output=True, check=False, timeout=LONGEST_S
        )
    except subprocess.TimeoutExpired as late:
        raise TakesTooLong from late
    if done.returncode < 0:
        raise TakesTooLong
    if done.returncode > 0:
        raise ValueError("It does not open.")
    key, certificate, *others = json.loads(done.stdout)
    return Contents(_bytes(key), _bytes(certificate), tuple(map(base64.b64decode, others)))


def _bytes(coded: str | None) -> bytes | None:
    return None if coded is None else base64.b64decode(coded)


def _main() -> None:
    from cryptography.hazmat.primitives import serialization as form  # noqa: PLC0415 - limits first
    from cryptography.hazmat.primitives.serialization.pkcs12 import load_pkcs12  # noqa: PLC0415 - likewise

    asked = json.load(sys.stdin)
    held = load_pkcs12(base64.b64decode(asked["file"]), asked["passphrase"].encode())
    plain = form.Encoding.DER, form.PrivateFormat.PKCS8, form.NoEncryption()
    certificates = [each and each.certificate for each in (held.cert, *held.additional_certs)]
    parts = [
        held.key and held.key.private_bytes(*plain),
        *(each and each.public_bytes(form.Encoding.DER) for each in certificates),
    ]
    json.dump([part and base64.b64encode(part).decode() for part in parts], sys.stdout)


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_CPU, (int(sys.argv[1]), int(sys.argv[1])))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    _main()
