"""What an instance makes its sheets with, from its settings."""

from datetime import datetime
from pathlib import Path
from threading import Lock

from referral.settings import Settings
from referral.sheets.authority import Authority
from referral.sheets.drafts import Lookups, Office
from referral.web.wiring import Wiring

AUTHORITY_FOLDER = "authority"
LIST_PATH = "/authority/withdrawn.crl"
"""Where the list of withdrawn certificates is found: certificates name it, so it stays."""

_one_root = Lock()
"""Two first requests at once must not make two roots."""


def office_of(wired: Wiring) -> Office:
    """Return the office of a running instance; its authority is made when it is first needed.

    Raises
    ------
    SettingsFault
        If the authority's key cannot be opened with this instance's key.
    """
    settings = wired.settings
    return Office(
        blobs=wired.blobs,
        rulebook=wired.rulebook,
        authority=authority_of(settings, wired.now()),
        instance=settings.instance_name,
        address=settings.address,
        time_authority=settings.time_authority,
        time_authority_root=settings.time_authority_root,
        lookups=Lookups(settings.lookup_hosts, settings.proofs_dir),
    )


def authority_of(settings: Settings, now: datetime) -> Authority:
    """Return the instance's own authority, made on first use."""
    with _one_root:
        authority = Authority.load_or_create(
            authority_folder(settings), settings.instance_key, settings.instance_name, now
        )
    authority.list_address = f"{settings.address}{LIST_PATH}" if settings.address else None
    return authority


def authority_folder(settings: Settings) -> Path:
    """Return where the authority's root and list of withdrawn certificates lie."""
    return settings.keys_dir / AUTHORITY_FOLDER
