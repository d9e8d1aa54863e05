"""Checkpoints: what a log says of itself, in the open format c2sp.org/tlog-checkpoint.

The text of a signed note: the log's origin, how many leaves, the root in base64, a line each.
"""

import re
from base64 import b64decode, b64encode
from binascii import Error as Base64Error
from typing import NamedTuple

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from service.proofs.notes import Note, NoteError, sign
from service.proofs.tree import HASH_BYTES, Frontier, root

_SIZE = re.compile(r"0|[1-9][0-9]{0,17}", re.ASCII)


class Checkpoint(NamedTuple):
    """A log's name, its size, and the root of its tree at that size."""

    origin: str
    size: int
    root: bytes

    @staticmethod
    def of(origin: str, size: int, frontier: Frontier) -> "Checkpoint":
        """The checkpoint of a tree of `size` leaves, by its frontier."""
        return Checkpoint(origin, size, root(frontier))

    def __str__(self) -> str:
        """The text that is signed."""
        return f"{self.origin}\n{self.size}\n{b64encode(self.root).decode()}\n"

    def signed(self, secret: Ed25519PrivateKey) -> Note:
        """Its signed note, under its origin as the key's name."""
        text = str(self)
        return Note(text, (sign(text, self.origin, secret),))


def read_checkpoint(text: str) -> Checkpoint:
    """The checkpoint that a note's text says; further lines are passed over. Raises NoteError."""
    lines = text.split("\n")
    if len(lines) < 4 or lines[-1] or not lines[0]:
        raise NoteError("a checkpoint is three lines: origin, size, root")
    if _SIZE.fullmatch(lines[1]) is None:
        raise NoteError("the second line of a checkpoint is the size, a decimal number")
    try:
        found = b64decode(lines[2], validate=True)
    except Base64Error:
        found = b""
    if len(found) != HASH_BYTES:
        raise NoteError(f"the third line of a checkpoint is the root, {HASH_BYTES} bytes in base64")
    return Checkpoint(lines[0], int(lines[1]), found)
