"""The folder of keys."""

import os
import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from service import keys
from service.keys import (
    KeysError,
    OpenKeyError,
    ensure_keys,
    ensure_seal_key,
    read_keys,
    read_seal_key,
    rotate,
)
from service.proofs.seals import KEY_BYTES


def test_the_key_of_seals_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    folder = tmp_path / "keys"
    assert read_seal_key(folder) is None
    key = ensure_seal_key(folder)
    assert len(key) == KEY_BYTES
    assert ensure_seal_key(folder) == read_seal_key(folder) == key
    (path,) = folder.iterdir()
    assert path.stat().st_mode & 0o77 == 0
    assert ensure_keys(folder).public  # the others lie beside it
    assert read_seal_key(folder) == key
    for spoilt in (b"none", b"ab", b"\xff"):
        path.write_bytes(spoilt)
        with pytest.raises(KeysError, match="put back what was there"):
            ensure_seal_key(folder)


def test_a_key_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "keys"
    made = ensure_keys(folder)
    assert ensure_keys(folder).public == made.public == read_keys(folder).public
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    (path,) = folder.iterdir()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o666])
def test_a_secret_key_that_others_may_read_is_refused(tmp_path: Path, mode: int) -> None:
    ensure_keys(tmp_path)
    ensure_seal_key(tmp_path)
    (secret,) = tmp_path.glob("checkpoint-*.pem")
    seals = next(path for path in tmp_path.iterdir() if path != secret)
    secret.chmod(mode)
    with pytest.raises(KeysError, match="chmod 600"):
        read_keys(tmp_path)
    seals.chmod(mode)
    with pytest.raises(KeysError, match="chmod 600"):
        read_seal_key(tmp_path)


def test_those_that_begin_at_once_agree(tmp_path: Path) -> None:
    with ThreadPoolExecutor(8) as pool:
        made = list(pool.map(lambda _: ensure_keys(tmp_path).public, range(8)))
    assert len(set(made)) == 1
    assert len(list(tmp_path.iterdir())) == 1


def test_a_key_that_is_replaced_leaves_its_public_half(tmp_path: Path) -> None:
    first = ensure_keys(tmp_path)
    second = rotate(tmp_path)
    third = rotate(tmp_path)
    assert third.past == (first.public, second.public)
    assert read_keys(tmp_path).public == third.public
    contents = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert contents.count(b"PRIVATE KEY") == 2  # begin and end of one


def test_a_rotation_cut_short_loses_no_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = ensure_keys(tmp_path)
    with monkeypatch.context() as patched:
        patched.setattr(Path, "unlink", _full)
        with pytest.raises(KeysError, match="cannot be removed"):
            rotate(tmp_path)
    second = read_keys(tmp_path)
    assert second.past == (first.public,)
    with monkeypatch.context() as patched:
        patched.setattr(Ed25519PrivateKey, "generate", _full)
        with pytest.raises(OSError, match="full"):
            rotate(tmp_path)
    assert read_keys(tmp_path).public == second.public
    assert read_keys(tmp_path).past == (first.public,)
    assert rotate(tmp_path).past == (first.public, second.public)


def _full(*_: object, **__: object) -> None:
    raise OSError("the disk is full")


def test_a_public_half_that_cannot_be_read_is_reported(tmp_path: Path) -> None:
    ensure_keys(tmp_path)
    rotate(tmp_path)
    (tmp_path / "checkpoint-0001.public.pem").write_text("nothing")
    with pytest.raises(KeysError, match=r"checkpoint-0001.*put back"):
        read_keys(tmp_path)


def test_what_is_missing_or_no_key_is_reported(tmp_path: Path) -> None:
    with pytest.raises(KeysError, match="signing-key make"):
        read_keys(tmp_path)
    with pytest.raises(KeysError, match="signing-key make"):
        rotate(tmp_path)
    path = tmp_path / "checkpoint-0001.pem"
    path.write_text("nothing")
    path.chmod(0o600)
    with pytest.raises(KeysError, match="cannot be read"):
        read_keys(tmp_path)
    other = generate_private_key(SECP256R1())
    path.write_bytes(other.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    with pytest.raises(KeysError, match="not an Ed25519 key"):
        read_keys(tmp_path)


def test_a_folder_that_cannot_be_made_is_reported(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(KeysError, match="no key can be made"):
        ensure_keys(tmp_path / "file" / "keys")


def test_a_key_that_somebody_else_put_there_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ensure_keys(tmp_path)
    ensure_seal_key(tmp_path)
    if os.geteuid() == 0:  # what is root's is anybody's to use
        for path in tmp_path.iterdir():
            os.chown(path, 4321, -1)
    monkeypatch.setattr(os, "geteuid", lambda: 1234)
    monkeypatch.setattr(keys, "_refuse_writable", lambda _: None)
    with pytest.raises(OpenKeyError, match="belongs to another user"):
        read_keys(tmp_path)
    with pytest.raises(OpenKeyError, match="belongs to another user"):
        read_seal_key(tmp_path)


@pytest.mark.parametrize("mode", [0o770, 0o707, 0o777])
def test_a_folder_that_others_may_put_keys_into_is_refused(tmp_path: Path, mode: int) -> None:
    ensure_keys(tmp_path)
    tmp_path.chmod(mode)
    for ask in (ensure_keys, read_keys, ensure_seal_key, read_seal_key):
        with pytest.raises(OpenKeyError, match="others may put keys into"):
            ask(tmp_path)
