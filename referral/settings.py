"""The only reader of the environment: an instance's folder, its `config.toml`, its two secrets."""

import base64
import os
import re
import secrets
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from referral.errors import SettingsFault

PREFIX = "REFERRAL_"
CONFIG_NAME = "config.toml"
MAIL_PASSWORD_NAME = "mail.password"  # noqa: S105 - a file's name
MAIL_TLS = ("starttls", "tls", "none")
MAIL_ADDRESS = re.compile(r"[^@\s<>,;:\"]+@[A-Za-z0-9.-]+")
WEB_ADDRESS = re.compile(r"https?://[A-Za-z0-9.-]+(:[0-9]{1,5})?")
SERVICE_ADDRESS = re.compile(rf"{WEB_ADDRESS.pattern}(/[A-Za-z0-9._~/-]*)?")
HOST = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?(:[0-9]{1,5})?")
INSTANCE_KEY_BYTES = 32
SHORTEST_SECRET = 32
LARGEST_PORT = 65535
LONGEST_NAME = 80
WORDS = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}


@dataclass(frozen=True, slots=True)
class Settings:
    """What one instance runs with, checked."""

    instance_dir: Path
    database_url: str = field(repr=False)
    files_dir: Path
    keys_dir: Path
    instance_name: str
    zone: str
    host: str
    port: int
    production: bool
    demo: bool
    secret_key: str = field(repr=False)
    instance_key: bytes = field(repr=False)
    address: str | None = None
    time_authority: str | None = None
    time_authority_root: bytes | None = None
    lookup_hosts: tuple[str, ...] = ()
    proofs_dir: Path | None = None
    mail_host: str | None = None
    mail_port: int = 587
    mail_tls: str = "starttls"
    mail_from: str | None = None
    mail_user: str | None = None
    mail_password: str | None = field(default=None, repr=False)
    rules_dir: Path | None = None

    @property
    def public_address(self) -> str:
        """Return where people reach this instance, as links in a mail begin."""
        return self.address or f"http://localhost:{self.port}"


def load_settings(
    instance: Path | None = None, environment: Mapping[str, str] | None = None
) -> Settings:
    """Return the settings of an instance; the environment goes before its ``config.toml``.

    The folder for its database, files and keys, and the two secrets, are made on first use.

    Raises
    ------
    SettingsFault
        With one line for everything that is missing or wrong.
    """
    environment = os.environ if environment is None else environment
    folder = _instance_folder(instance, environment)
    given = _read_config(folder / CONFIG_NAME)
    faults = [
        f"{CONFIG_NAME}: there is no setting called {name!r}; the settings are {', '.join(READERS)}"
        for name in given
        if name not in READERS
    ]
    read = _read_all(folder, given, environment, faults)
    if read["production"] and read["demo"]:
        faults.append("demo: an instance in production cannot be a demo")
    faults += _mail_faults(read) + _time_faults(read)
    if faults:
        raise _fault(folder, faults)
    return _with_secrets(folder, read, environment)


def instance_named(environment: Mapping[str, str] | None = None) -> Path | None:
    """Return the instance folder that the environment names, if it names one."""
    environment = os.environ if environment is None else environment
    named = environment.get(f"{PREFIX}INSTANCE")
    return Path(named) if named else None


def _instance_folder(instance: Path | None, environment: Mapping[str, str]) -> Path:
    named = instance or instance_named(environment)
    if not named:
        raise SettingsFault(f"Which instance? Name its folder: --instance or {PREFIX}INSTANCE.")
    folder = Path(named).resolve()
    if not (folder / CONFIG_NAME).is_file():
        raise SettingsFault(
            f"{folder} is not an instance: it holds no {CONFIG_NAME} (an empty one will do)."
        )
    return folder


def _read_config(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SettingsFault(f"{path} cannot be read: {error}") from None


def _read_all(
    folder: Path, given: Mapping[str, Any], environment: Mapping[str, str], faults: list[str]
) -> dict[str, Any]:
    """Return every setting by name, unusable ones as None with a line in ``faults``."""
    read: dict[str, Any] = {}
    for name, (reader, default) in READERS.items():
        variable = f"{PREFIX}{name.upper()}"
        value = environment.get(variable, given.get(name, default))
        try:
            read[name] = reader(folder, value)
        except ValueError as error:
            where = variable if variable in environment else f"{CONFIG_NAME}: {name}"
            faults.append(f"{where}: {error}, not {value!r}")
            read[name] = None
    return read


def _with_secrets(folder: Path, read: dict[str, Any], environment: Mapping[str, str]) -> Settings:
    keys_dir: Path = read["keys_dir"]
    faults: list[str] = []
    try:
        (folder / "var").mkdir(exist_ok=True)
        keys_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
        secret_key = _secret(environment, "SECRET_KEY", keys_dir / "secret.key", faults)
        instance_key = _secret(environment, "INSTANCE_KEY", keys_dir / "instance.key", faults)
    except OSError as error:
        raise _fault(folder, [f"keys_dir: {error.filename}: {error.strerror}"]) from None
    mail_password = _mail_password(environment, keys_dir, faults) if read["mail_user"] else None
    if len(secret_key) < SHORTEST_SECRET:
        faults.append(f"the secret key: at least {SHORTEST_SECRET} characters are needed")
    key = _decoded(instance_key)
    if len(key) != INSTANCE_KEY_BYTES:
        faults.append(f"the instance key: {INSTANCE_KEY_BYTES} bytes in base64 are needed")
    if faults:
        raise _fault(folder, faults)
    return Settings(
        instance_dir=folder,
        secret_key=secret_key,
        instance_key=key,
        mail_password=mail_password,
        **_fields(read),
    )


def _mail_faults(read: Mapping[str, Any]) -> list[str]:
    """Return what does not go together in the settings of the mail server."""
    faults = []
    if read["mail_host"] and not read["mail_from"]:
        faults.append("mail_from: with mail_host, the address that mail comes from is needed")
    if read["mail_host"] and read["production"] and not read["address"]:
        faults.append("address: with mail_host, the address that links in a mail begin with")
    if read["mail_user"] and read["mail_tls"] == "none":
        faults.append("mail_tls: a password is never sent without TLS; starttls or tls is needed")
    return faults


def _time_faults(read: Mapping[str, Any]) -> list[str]:
    """Return what is missing for a time authority whose answers others could write on the way."""
    address, root = read["time_authority"], read["time_authority_root"]
    if read["production"] and address and address.startswith("http://") and not root:
        said = "over http anybody on the way could answer; use https, or name the authority's"
        return [f"time_authority: {said} root certificate (PEM) in time_authority_root"]
    return []


def _mail_password(environment: Mapping[str, str], keys_dir: Path, faults: list[str]) -> str | None:
    """Return the mail server's password, from the environment or a file of its owner's alone."""
    given = environment.get(f"{PREFIX}MAIL_PASSWORD")
    if given:
        return given
    path = keys_dir / MAIL_PASSWORD_NAME
    if not path.exists():
        faults.append(f"mail_user: its password is needed in {PREFIX}MAIL_PASSWORD or {path}")
        return None
    if path.stat().st_mode & 0o077:
        faults.append(f"{path}: others may read it; run chmod 600 on it")
    return path.read_text(encoding="utf-8", errors="replace").strip()


def _fields(read: dict[str, Any]) -> dict[str, Any]:
    return {"instance_name" if name == "name" else name: value for name, value in read.items()}


def _secret(environment: Mapping[str, str], name: str, path: Path, faults: list[str]) -> str:
    """Return a secret from the environment or its file, which is made if it is not there."""
    given = environment.get(f"{PREFIX}{name}")
    if given is not None:
        return given
    if not path.exists():
        _write_new(path, base64.b64encode(secrets.token_bytes(INSTANCE_KEY_BYTES)) + b"\n")
    if path.stat().st_mode & 0o077:
        faults.append(f"{path}: others may read it; run chmod 600 on it")
    return path.read_bytes().decode("ascii", errors="replace").strip()


def _write_new(path: Path, content: bytes) -> None:
    """Write a file that only its owner may read, whole or not at all; the first of two wins."""
    draft = path.with_name(f"{path.name}.{secrets.token_hex(6)}")
    with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    try:
        path.hardlink_to(draft)
    except FileExistsError:
        pass
    finally:
        draft.unlink()


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except ValueError:
        return b""


def _fault(folder: Path, faults: list[str]) -> SettingsFault:
    lines = "\n".join(f"  - {each}" for each in faults)
    return SettingsFault(f"The settings of {folder} cannot be used:\n{lines}")


def _flag(_folder: Path, value: object) -> bool:
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.lower() in WORDS:
        return WORDS[value.lower()]
    raise ValueError("true or false is needed")


def _port(_folder: Path, value: object) -> int:
    if isinstance(value, str) and value.isascii() and value.isdigit():
        value = int(value)
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= LARGEST_PORT:
        return value
    raise ValueError(f"a number from 1 to {LARGEST_PORT} is needed")


def _words(_folder: Path, value: object) -> str:
    if isinstance(value, str) and 0 < len(value.strip()) <= LONGEST_NAME:
        return value.strip()
    raise ValueError(f"1 to {LONGEST_NAME} characters are needed")


def _zone(_folder: Path, value: object) -> str:
    try:
        return ZoneInfo(str(value)).key
    except (KeyError, ValueError, OSError):
        raise ValueError("an IANA time zone such as Europe/Dublin is needed") from None


def _folder(instance: Path, value: object) -> Path:
    if isinstance(value, str) and value.strip():
        return (instance / value).resolve()
    raise ValueError("a folder is needed")


def _folder_if_any(instance: Path, value: object) -> Path | None:
    if value is None:
        return None
    folder = _folder(instance, value)
    if not folder.is_dir():
        raise ValueError("a folder that is there is needed")
    return folder


def _words_if_any(folder: Path, value: object) -> str | None:
    return None if value is None else _words(folder, value)


def _mail_tls(_folder: Path, value: object) -> str:
    if value in MAIL_TLS:
        return str(value)
    raise ValueError(f"one of {', '.join(MAIL_TLS)} is needed")


def _mail_address(_folder: Path, value: object) -> str | None:
    if value is None or (isinstance(value, str) and MAIL_ADDRESS.fullmatch(value)):
        return value
    raise ValueError("an address such as yard@example.org is needed")


def _web_address(_folder: Path, value: object) -> str | None:
    if value is None or (isinstance(value, str) and WEB_ADDRESS.fullmatch(value)):
        return value
    raise ValueError("an address such as https://referral.example.org is needed")


def _service_address(_folder: Path, value: object) -> str | None:
    if value is None or (isinstance(value, str) and SERVICE_ADDRESS.fullmatch(value)):
        return value
    raise ValueError("an address such as https://time.example.org/stamp is needed")


def _certificate(instance: Path, value: object) -> bytes | None:
    """Return a file of one certificate or more, each of which can be read."""
    if value is None:
        return None
    from cryptography.x509 import load_pem_x509_certificates  # noqa: PLC0415 - where one is named

    try:
        data = (instance / str(value)).read_bytes()
        load_pem_x509_certificates(data)
    except (OSError, ValueError):
        raise ValueError("a file with a certificate in PEM form is needed") from None
    return data


def _hosts(_folder: Path, value: object) -> tuple[str, ...]:
    """Return hosts from a list, or from words with commas between them."""
    given = value.split(",") if isinstance(value, str) else value
    named = [str(each).strip().lower() for each in given] if isinstance(given, list) else [""]
    if all(HOST.fullmatch(each) for each in named):
        return tuple(named)
    raise ValueError('hosts such as ["crl.example.org", "ocsp.example.org:8080"] are needed')


def _database_url(instance: Path, value: object) -> str:
    if value is None:
        return f"sqlite:///{instance / 'var' / 'referral.db'}"
    text = str(value)
    if text.startswith("postgresql://"):
        return text.replace("postgresql://", "postgresql+psycopg://", 1)
    if text.startswith(("sqlite:///", "postgresql+psycopg://")):
        return text
    raise ValueError("an address beginning with sqlite:/// or postgresql:// is needed")


READERS: Mapping[str, tuple[Callable[[Path, object], Any], object]] = {
    "name": (_words, "Referral"),
    "zone": (_zone, "UTC"),
    "host": (_words, "127.0.0.1"),
    "port": (_port, 8000),
    "production": (_flag, False),
    "demo": (_flag, False),
    "database_url": (_database_url, None),
    "files_dir": (_folder, "var/files"),
    "keys_dir": (_folder, "var/keys"),
    "address": (_web_address, None),
    "time_authority": (_service_address, None),
    "time_authority_root": (_certificate, None),
    "lookup_hosts": (_hosts, []),
    "proofs_dir": (_folder_if_any, None),
    "mail_host": (_words_if_any, None),
    "mail_port": (_port, 587),
    "mail_tls": (_mail_tls, "starttls"),
    "mail_from": (_mail_address, None),
    "mail_user": (_words_if_any, None),
    "rules_dir": (_folder_if_any, None),
}
"""Each setting's reader and default; REFERRAL_<NAME> in the environment goes before the file."""
