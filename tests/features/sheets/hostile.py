"""PKCS#12 files that ask whoever opens them for more work than anybody should do."""

import subprocess
from pathlib import Path

from asn1crypto import algos, cms, core, keys
from asn1crypto import pkcs12 as asn1
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.pbkdf2 import PBKDF2HMAC

SALT, IV = b"salt and pepper!", b"sixteen letters."
VERY_MANY = 2**31 - 1


def derived(rounds: int) -> algos.EncryptionAlgorithm:
    """Return AES-256-CBC with a key of so many rounds of PBKDF2 (RFC 8018)."""
    kdf = {
        "salt": core.OctetString(SALT),
        "iteration_count": rounds,
        "prf": {"algorithm": "sha256"},
    }
    return algos.EncryptionAlgorithm(
        {
            "algorithm": "pbes2",
            "parameters": {
                "key_derivation_func": {"algorithm": "pbkdf2", "parameters": kdf},
                "encryption_scheme": {"algorithm": "aes256_cbc", "parameters": IV},
            },
        }
    )


def a_key_bag(rounds: int) -> asn1.SafeBag:
    """Return a bag with a key that opens after so many rounds; nobody will see that it does not."""
    key = keys.EncryptedPrivateKeyInfo(
        {"encryption_algorithm": derived(rounds), "encrypted_data": bytes(160)}
    )
    return asn1.SafeBag({"bag_id": "pkcs8_shrouded_key_bag", "bag_value": key})


def a_bag_of(*bags: asn1.SafeBag) -> asn1.SafeBag:
    return asn1.SafeBag({"bag_id": "safe_contents", "bag_value": asn1.SafeContents(bags)})


def in_the_open(*bags: asn1.SafeBag) -> cms.ContentInfo:
    content = core.OctetString(asn1.SafeContents(bags).dump())
    return cms.ContentInfo({"content_type": "data", "content": content})


def hidden(passphrase: str, *bags: asn1.SafeBag) -> cms.ContentInfo:
    """Return a part that shows its bags to whoever knows the passphrase, after one round."""
    plain = asn1.SafeContents(bags).dump()
    pad = 16 - len(plain) % 16
    key = PBKDF2HMAC(SHA256(), 32, SALT, 1).derive(passphrase.encode())
    cipher = Cipher(algorithms.AES(key), modes.CBC(IV)).encryptor()
    coded = cipher.update(plain + bytes([pad] * pad)) + cipher.finalize()
    held = {
        "content_type": "data",
        "content_encryption_algorithm": derived(1),
        "encrypted_content": coded,
    }
    content = {"version": "v0", "encrypted_content_info": held}
    return cms.ContentInfo({"content_type": "encrypted_data", "content": content})


def a_file(folder: Path, *parts: cms.ContentInfo, passphrase: str) -> bytes:
    """Return a file of these parts, with its proof made as RFC 7292 says, in one round."""
    safe = asn1.AuthenticatedSafe(parts).dump()
    digest = subprocess.run(
        ["openssl", "kdf", "-binary", "-keylen", "32", "-kdfopt", "digest:SHA256", "-kdfopt",
         f"hexpass:{(passphrase + chr(0)).encode('utf-16-be').hex()}", "-kdfopt",
         f"hexsalt:{SALT.hex()}", "-kdfopt", "iter:1", "-kdfopt", "id:3", "PKCS12KDF"],
        cwd=folder, check=True, capture_output=True,
    ).stdout  # fmt: skip
    mac = subprocess.run(
        ["openssl", "dgst", "-sha256", "-mac", "HMAC", "-macopt", f"hexkey:{digest.hex()}",
         "-binary"], input=safe, check=True, capture_output=True,
    ).stdout  # fmt: skip
    return asn1.Pfx(
        {
            "version": "v3",
            "auth_safe": {"content_type": "data", "content": core.OctetString(safe)},
            "mac_data": {
                "mac": {"digest_algorithm": {"algorithm": "sha256"}, "digest": mac},
                "mac_salt": SALT,
                "iterations": 1,
            },
        }
    ).dump()
