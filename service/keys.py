"""The keys of an installation: files in a folder of their own, outside the database.

Those that checkpoints are signed with: the newest signs, and one that was replaced leaves its
public half behind, so that what it signed can still be told from a forgery. And the one that seals
what the service keeps in the database for itself; it is the service's alone.
"""

import os
import secrets
import stat
from pathlib import Path
from tempfile import mkstemp
from typing import NamedTuple

from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from service.proofs.seals import KEY_BYTES

_SECRET, _PUBLIC = ".pem", ".public.pem"
_SEALS = "seals.key"


class KeysError(RuntimeError):
    """The folder of keys cannot be used; the message says why and the remedy."""


class OpenKeyError(KeysError):
    """Others may read a secret key or put one in its place: nothing is signed or sealed with it."""


class Keys(NamedTuple):
    """The key that signs now, and the public halves of those before it, the oldest first."""

    secret: Ed25519PrivateKey
    past: tuple[bytes, ...]

    @property
    def public(self) -> bytes:
        """The public half of the key that signs now."""
        return self.secret.public_key().public_bytes_raw()


def ensure_keys(folder: Path) -> Keys:
    """The keys of a folder; made if there are none yet. Raises KeysError."""
    if not _numbered(folder):
        _make(folder, 1)
    return read_keys(folder)


def ensure_seal_key(folder: Path) -> bytes:
    """The key of seals of a folder; made if there is none yet. Raises KeysError."""
    found = read_seal_key(folder)
    if found is None:
        _write_once(folder / _SEALS, f"{secrets.token_hex(KEY_BYTES)}\n".encode())
        found = read_seal_key(folder)
    if found is None:
        raise KeysError(f"{folder / _SEALS} is gone again: put back what was there")
    return found


def read_seal_key(folder: Path) -> bytes | None:
    """The key of seals of a folder, None if there is none. Raises KeysError."""
    path = folder / _SEALS
    _refuse_writable(folder)
    try:
        _refuse_open(path)
        key = bytes.fromhex(path.read_text(encoding="ascii"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise KeysError(
            f"{path} cannot be read as a key ({error}): put back what was there"
        ) from error
    if len(key) != KEY_BYTES:
        raise KeysError(f"{path} does not hold {KEY_BYTES} bytes in hex: put back what was there")
    return key


def rotate(folder: Path) -> Keys:
    """Make a new key, and keep of the one before it what it takes to check signatures.

    Raises KeysError where there is none to replace.
    """
    secret, path = _latest(folder)
    public = secret.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    # the public half first: wherever this ends early, what the key signed can still be checked
    _write_once(path.with_name(path.name.removesuffix(_SECRET) + _PUBLIC), public)
    _make(folder, int(path.name.partition(".")[0].rpartition("-")[2]) + 1)
    try:
        path.unlink(missing_ok=True)  # another that rotates may have been there before
    except OSError as error:
        raise KeysError(f"{path} cannot be removed ({error}): remove it") from error
    return read_keys(folder)


def read_keys(folder: Path) -> Keys:
    """The keys of a folder. Raises KeysError."""
    secret, _ = _latest(folder)
    past = []
    for path in sorted(folder.glob(f"checkpoint-*{_PUBLIC}")):
        try:
            key = load_pem_public_key(path.read_bytes())
        except (OSError, ValueError) as error:
            raise KeysError(
                f"{path} cannot be read as a key ({error}): put back what was there"
            ) from error
        if not isinstance(key, Ed25519PublicKey):
            raise KeysError(f"{path} is not an Ed25519 key: put back what was there")
        past.append(key.public_bytes_raw())
    signs = secret.public_key().public_bytes_raw()
    return Keys(secret, tuple(public for public in past if public != signs))


def _numbered(folder: Path) -> list[Path]:
    _refuse_writable(folder)
    return sorted(
        path for path in folder.glob(f"checkpoint-*{_SECRET}") if not path.name.endswith(_PUBLIC)
    )


def _latest(folder: Path) -> tuple[Ed25519PrivateKey, Path]:
    found = _numbered(folder)
    if not found:
        raise KeysError(
            f"there is no key in {folder}: make one with `retake-ledger signing-key make`"
        )
    try:
        _refuse_open(found[-1])
        secret = load_pem_private_key(found[-1].read_bytes(), None)
    except (OSError, ValueError, TypeError) as error:
        raise KeysError(
            f"{found[-1]} cannot be read as a key ({error}): put back what was there"
        ) from error
    if not isinstance(secret, Ed25519PrivateKey):
        raise KeysError(f"{found[-1]} is not an Ed25519 key: put back what was there")
    return secret, found[-1]


def others_may_read(path: Path) -> bool:
    """Whether the rights of a file let others than its owner do anything with it."""
    return bool(path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO))


def others_may_write(path: Path) -> bool:
    """Whether somebody else than this user and root may change a file, or what a folder has."""
    found = path.stat()
    foreign = found.st_uid not in {os.geteuid(), 0}
    return foreign or bool(found.st_mode & (stat.S_IWGRP | stat.S_IWOTH))


def _others_may_put(path: Path) -> bool:
    """The same of keys, where root may be working for whoever owns them."""
    if os.geteuid() == 0:
        return bool(path.stat().st_mode & (stat.S_IWGRP | stat.S_IWOTH))
    return others_may_write(path)


def _refuse_open(path: Path) -> None:
    """Raise OpenKeyError where others than its owner may read a secret key, or put it there."""
    if others_may_read(path):
        raise OpenKeyError(
            f"others may read the key {path}: run chmod 600 on it, and replace it if"
            " somebody may have read it"
        )
    if _others_may_put(path):
        raise OpenKeyError(f"the key {path} belongs to another user: put back what was there")


def _refuse_writable(folder: Path) -> None:
    """Raise OpenKeyError where others may put a key into a folder; it need not be there yet."""
    try:
        is_open = _others_may_put(folder)
    except (FileNotFoundError, NotADirectoryError):
        return  # who wants to make it says so
    except OSError as error:
        raise KeysError(
            f"{folder} cannot be looked at ({error.strerror}): open the way to it"
        ) from error
    if is_open:
        raise OpenKeyError(
            f"others may put keys into {folder}: give it to this user with chown and run chmod 700"
            " on it, and look whether the keys in it are yours"
        )


def _make(folder: Path, number: int) -> None:
    secret = Ed25519PrivateKey.generate()
    packed = secret.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    _write_once(folder / f"checkpoint-{number:04d}{_SECRET}", packed)


def _write_once(path: Path, packed: bytes) -> None:
    """Write a file for its owner alone, whole or not at all; one that is there stays.

    So two processes that begin at once agree on one key. Raises KeysError.
    """
    folder = path.parent
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        descriptor, beside = mkstemp(prefix=".", dir=folder)
        with os.fdopen(descriptor, "wb") as file:
            file.write(packed)
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(beside, path)
        except FileExistsError:
            pass
        finally:
            os.unlink(beside)
    except OSError as error:
        raise KeysError(f"no key can be made in {folder}: {error}") from error
