"""Signed notes: text with signatures below, in the open format c2sp.org/signed-note.

A note's text ends with a line feed; an empty line divides it from its signatures, one a line:
em dash, blank, the key's name, blank, base64 of the key's id and the signature.
"""

import re
from base64 import b64decode, b64encode
from binascii import Error as Base64Error
from hashlib import sha256
from typing import NamedTuple

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)

ED25519 = 0x01
COSIGNATURE = 0x04  # of c2sp.org/tlog-cosignature: Ed25519 over the text and the time
KEY_BYTES = 32
SIGNATURE_BYTES = 64
ID_BYTES = 4
TIME_BYTES = 8
SIGNATURES_MAX = 100

_NAME = re.compile(r"[^\s+]{1,255}")
_LINE = re.compile(r"— ([^\s+]{1,255}) ([A-Za-z0-9+/]+={0,2})")


class NoteError(ValueError):
    """What was given is not a signed note, or not a key, of the formats above; it says why."""


class Key(NamedTuple):
    """A verifier's key: whose it is, how it signs (`ED25519` or `COSIGNATURE`), the public key."""

    name: str
    kind: int
    public: bytes

    @property
    def id(self) -> bytes:
        """Which key of this name: four bytes."""
        return sha256(b"%s\n%c%s" % (self.name.encode(), self.kind, self.public)).digest()[
            :ID_BYTES
        ]

    def __str__(self) -> str:
        """The text in which verifiers pass keys on: name, id and key, joined by plus signs."""
        key_text = b64encode(bytes([self.kind]) + self.public).decode()
        return f"{self.name}+{self.id.hex()}+{key_text}"


class Signature(NamedTuple):
    """One signature line: whose, by which key, and what follows the key's id."""

    name: str
    key_id: bytes
    signed: bytes

    def __str__(self) -> str:
        """The line, without its line feed."""
        return f"— {self.name} {b64encode(self.key_id + self.signed).decode()}"


class Note(NamedTuple):
    """A text that ends with a line feed, and its signatures."""

    text: str
    signatures: tuple[Signature, ...]

    def __str__(self) -> str:
        """The note as it is passed on."""
        return f"{self.text}\n" + "".join(f"{signature}\n" for signature in self.signatures)


def read_key(text: str) -> Key:
    """A verifier's key from its text. Raises NoteError."""
    name, _, rest = text.strip().partition("+")
    id_shown, _, packed = rest.partition("+")
    try:
        raw = b64decode(packed, validate=True)
        key_id = bytes.fromhex(id_shown)
    except (Base64Error, ValueError):
        raise NoteError("a key is NAME+ID+KEY: hexadecimal id, base64 key") from None
    if _NAME.fullmatch(name) is None or len(raw) != 1 + KEY_BYTES:
        raise NoteError(f"a key is NAME+ID+KEY with a key of {KEY_BYTES} bytes")
    key = Key(name, raw[0], raw[1:])
    if key.kind not in {ED25519, COSIGNATURE}:
        raise NoteError(f"keys of kind {key.kind} are not known here: Ed25519 is, plain or timed")
    if key.id != key_id:
        raise NoteError(f"the id of this key is {key.id.hex()}, not {id_shown}: it was changed")
    return key


def read_note(note: str) -> Note:
    """A note from its text. Raises NoteError."""
    text, divided, below = note.rpartition("\n\n")
    if not divided or not below.endswith("\n"):
        raise NoteError("a note is text, an empty line, and signature lines that end with a feed")
    if any(ord(letter) < 0x20 and letter != "\n" for letter in note):
        raise NoteError("a note has no control characters but line feeds")
    lines = below[:-1].split("\n")
    if len(lines) > SIGNATURES_MAX:
        raise NoteError(f"a note has at most {SIGNATURES_MAX} signatures here")
    return Note(text + "\n", tuple(read_signature(line) for line in lines))


def read_signature(line: str) -> Signature:
    """A signature line without its line feed. Raises NoteError."""
    found = _LINE.fullmatch(line)
    if found is None:
        raise NoteError("a signature line is an em dash, a key's name and base64")
    try:
        raw = b64decode(found[2], validate=True)
    except Base64Error:
        raise NoteError("the signature of a line is not base64") from None
    if len(raw) <= ID_BYTES:
        raise NoteError("a signature line holds a key's id and a signature")
    return Signature(found[1], raw[:ID_BYTES], raw[ID_BYTES:])


def public_key(name: str, secret: Ed25519PrivateKey, kind: int = ED25519) -> Key:
    """The verifier's key of a secret one."""
    return Key(name, kind, secret.public_key().public_bytes_raw())


def sign(text: str, name: str, secret: Ed25519PrivateKey) -> Signature:
    """A signature of a note's text; the same key and text give the same one (RFC 8032)."""
    return Signature(name, public_key(name, secret).id, secret.sign(text.encode()))


def is_by(signature: Signature, text: str, key: Key) -> bool:
    """Whether a key made a signature of a note's text."""
    if (signature.name, signature.key_id) != (key.name, key.id):
        return False
    signed, message = signature.signed, text.encode()
    if key.kind == COSIGNATURE:
        at_s = int.from_bytes(signed[:TIME_BYTES], "big")
        signed, message = signed[TIME_BYTES:], _timed(text, at_s)
    if len(signed) != SIGNATURE_BYTES:
        return False
    try:
        Ed25519PublicKey.from_public_bytes(key.public).verify(signed, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def signers(note: Note, keys: tuple[Key, ...]) -> tuple[Key, ...]:
    """Those of some keys that signed a note. Lines by other keys are passed over."""
    return tuple(
        key
        for key in keys
        if any(is_by(signature, note.text, key) for signature in note.signatures)
    )


def _timed(text: str, at_s: int) -> bytes:
    return f"cosignature/v1\ntime {at_s}\n{text}".encode()
