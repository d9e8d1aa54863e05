"""Signed notes: written, read, and what is refused."""

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from service.proofs.notes import (
    COSIGNATURE,
    ED25519,
    Key,
    Note,
    NoteError,
    is_by,
    public_key,
    read_key,
    read_note,
    read_signature,
    sign,
    signers,
)
from tests.proofs.witness import cosign

TEXT = "a text\nin two lines\n"
SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
OTHER = Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33)))
NAME = "kestrel.example/log"
KEY = public_key(NAME, SECRET)
WITNESS = public_key("witness.example/w", OTHER, COSIGNATURE)


def test_what_is_written_is_read() -> None:
    note = Note(TEXT, (sign(TEXT, NAME, SECRET), cosign(TEXT, WITNESS.name, OTHER, 1_930_000_000)))
    assert str(note).startswith("a text\nin two lines\n\n— kestrel.example/log ")
    assert read_note(str(note)) == note
    assert signers(note, (KEY, WITNESS)) == (KEY, WITNESS)


def test_a_key_is_read_back() -> None:
    assert read_key(str(KEY)) == KEY
    assert read_key(f"{WITNESS}\n") == WITNESS


@given(st.binary(min_size=32, max_size=32), st.text(min_size=1, max_size=80))
def test_every_text_is_signed_and_no_other(seed: bytes, text: str) -> None:
    secret = Ed25519PrivateKey.from_private_bytes(seed)
    key = public_key(NAME, secret)
    signature = sign(text, NAME, secret)
    assert is_by(signature, text, key)
    assert not is_by(signature, text + "\n", key)
    assert not is_by(signature, text, Key("another", ED25519, key.public))
    assert not is_by(signature._replace(signed=bytes(64)), text, key)
    assert not is_by(signature._replace(signed=signature.signed[:-1]), text, key)


def test_a_witness_signs_the_time_too() -> None:
    signature = cosign(TEXT, WITNESS.name, OTHER, 1_930_000_000)
    later = (1_930_000_001).to_bytes(8, "big") + signature.signed[8:]
    assert is_by(signature, TEXT, WITNESS)
    assert not is_by(signature._replace(signed=later), TEXT, WITNESS)
    plain = public_key(WITNESS.name, OTHER)
    assert plain.id != WITNESS.id
    assert not is_by(signature, TEXT, plain)


def test_signatures_by_keys_that_nobody_asked_for_are_passed_over() -> None:
    note = Note(TEXT, (sign(TEXT, "stranger", OTHER), sign(TEXT, NAME, SECRET)))
    assert signers(note, (KEY,)) == (KEY,)
    assert signers(note, (WITNESS,)) == ()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "no signature\n",
        "no feed at the end\n\n— a AAAAAAAA",
        "a hyphen\n\n- a AAAAAAAA\n",
        "no name\n\n— AAAAAAAA\n",
        "no base64\n\n— a ????\n",
        "an id alone\n\n— a AAAAAA==\n",
        "an empty line\n\n— a AAAAAAAA\n\n",
        "a return\r\n\n— a AAAAAAAA\n",
        "many\n\n" + "— a AAAAAAAA\n" * 101,
    ],
)
def test_what_is_not_a_note(text: str) -> None:
    with pytest.raises(NoteError):
        read_note(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "name",
        "name+00000000",
        f"{KEY}A",
        str(KEY).replace(KEY.id.hex(), "00000000"),
        str(KEY).replace("kestrel", "kestre"),
        str(Key(NAME, 0x02, KEY.public)),
        str(Key("two words", ED25519, KEY.public)),
        str(Key(NAME, ED25519, KEY.public[:-1])),
    ],
)
def test_what_is_not_a_key(text: str) -> None:
    with pytest.raises(NoteError):
        read_key(text)


def test_a_line_is_read_alone() -> None:
    signature = sign(TEXT, NAME, SECRET)
    assert read_signature(str(signature)) == signature
    with pytest.raises(NoteError, match="em dash"):
        read_signature(f"{signature}\n")
