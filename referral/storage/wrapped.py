"""Secrets at rest: encrypted by the instance key, each bound to what it is for."""

import base64
import secrets

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from referral.errors import SettingsFault

NONCE_BYTES = 12


def wrap(secret: bytes, instance_key: bytes, purpose: str) -> str:
    """Return the secret encrypted with AES-256-GCM, bound to what it is for, in base64."""
    nonce = secrets.token_bytes(NONCE_BYTES)
    sealed = AESGCM(instance_key).encrypt(nonce, secret, purpose.encode())
    return base64.b64encode(nonce + sealed).decode()


def unwrap(wrapped: str, instance_key: bytes, purpose: str) -> bytes:
    """Return the secret that :func:`wrap` encrypted for this purpose.

    Raises
    ------
    SettingsFault
        If the instance key is another one, or the wrapped secret was changed.
    """
    sealed = base64.b64decode(wrapped)
    try:
        return AESGCM(instance_key).decrypt(
            sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], purpose.encode()
        )
    except InvalidTag:
        raise SettingsFault(
            "A key or secret cannot be opened: the instance key is not the one it was wrapped with."
        ) from None
