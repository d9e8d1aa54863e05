"""Checkpoints that were signed, and what others signed below them; nothing is ever changed."""

from typing import NamedTuple

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Connection, func, select
from sqlalchemy.dialects.postgresql import insert

from service.log.schema import checkpoint, cosignature
from service.log.tree import FrontierError, checked_head, read_proof
from service.proofs.checkpoints import Checkpoint, read_checkpoint
from service.proofs.notes import Key, Note, NoteError, Signature, read_key, read_signature
from service.proofs.paths import consistency, proves_consistency

COSIGNATURES_MAX = 50


class TooManyError(ValueError):
    """A checkpoint has as many cosignatures as are kept."""


class Signed(NamedTuple):
    """A checkpoint: its size, and the note with the log's own signatures and those of others."""

    size: int
    note: Note
    cosigners: tuple[Key, ...]


def sign_latest(
    connection: Connection, studio: str, origin: str, secret: Ed25519PrivateKey
) -> Signed:
    """The checkpoint of all that is recorded; signed and kept where it is not yet.

    Before it is signed the frontier is held against the rows of the log, and the tree against the
    last checkpoint that was kept. Raises FrontierError, and UnknownStudioError. The caller commits.
    """
    head = checked_head(connection, studio)
    latest = Checkpoint.of(origin, head.position, head.frontier)
    _check_goes_on(connection, studio, latest)
    note = latest.signed(secret)
    (signature,) = note.signatures
    named = {"studio": studio, "size": head.position, "key_id": signature.key_id}
    kept = insert(checkpoint).values(
        **named, made_at=func.now(), text=note.text, signature=str(signature)
    )
    connection.execute(kept.on_conflict_do_nothing())
    (signed,) = read_signed(connection, studio, [head.position])
    return signed


def _check_goes_on(connection: Connection, studio: str, latest: Checkpoint) -> None:
    """Raise FrontierError unless the tree goes on from the checkpoint that was kept last.

    By a proof of consistency out of the hashes beside the rows, O(log n) of them.
    """
    for size in sizes_signed(connection, studio, latest.size + 1, 1):
        if size == 0:
            return
        try:
            (signed,) = read_signed(connection, studio, [size])
            old = read_checkpoint(signed.note.text)
            proof = read_proof(connection, studio, consistency(size, latest.size))
        except (NoteError, LookupError) as error:
            raise FrontierError(studio, size, str(error)) from error
        if not proves_consistency(size, latest.size, old.root, latest.root, proof):
            raise FrontierError(
                studio, size, f"the record does not go on from the checkpoint of {size} signed here"
            )


def sizes_signed(connection: Connection, studio: str, below: int, limit: int) -> list[int]:
    """Sizes of checkpoints below a size, the largest first."""
    query = (
        select(checkpoint.c.size)
        .where(checkpoint.c.studio == studio, checkpoint.c.size < below)
        .distinct()
        .order_by(checkpoint.c.size.desc())
        .limit(limit)
    )
    return list(connection.execute(query).scalars())


def read_signed(connection: Connection, studio: str, sizes: list[int]) -> list[Signed]:
    """The checkpoints of some sizes, the largest first; sizes that were never signed are left out.

    Where one was signed under several origins, the last of them counts.
    """
    own = connection.execute(
        select(checkpoint)
        .where(checkpoint.c.studio == studio, checkpoint.c.size.in_(sizes))
        .order_by(checkpoint.c.size.desc(), checkpoint.c.made_at)
    ).all()
    others = connection.execute(
        select(cosignature)
        .where(cosignature.c.studio == studio, cosignature.c.size.in_(sizes))
        .order_by(cosignature.c.name, cosignature.c.key_id)
    ).all()
    found = []
    for size, text in {row.size: row.text for row in own}.items():
        below = [row.signature for row in own if (row.size, row.text) == (size, text)]
        cosigned = [row for row in others if row.size == size]
        below += [row.signature for row in cosigned]
        note = Note(text, tuple(read_signature(line) for line in below))
        found.append(Signed(size, note, tuple(read_key(row.key) for row in cosigned)))
    return found


def keep_cosignature(
    connection: Connection, studio: str, size: int, key: Key, signature: Signature
) -> bool:
    """Keep another party's signature of a checkpoint, checked by the caller; whether it is new.

    The caller commits. Raises TooManyError; the caller rolls back then.
    """
    kept = connection.execute(
        insert(cosignature)
        .values(
            studio=studio,
            size=size,
            key_id=key.id,
            name=key.name,
            key=str(key),
            signature=str(signature),
        )
        .on_conflict_do_nothing()
        .returning(cosignature.c.size)
    )
    if kept.first() is None:
        return False
    # after the insert, so that one that is there already may be said again at the limit
    query = select(func.count()).where(cosignature.c.studio == studio, cosignature.c.size == size)
    if connection.execute(query).scalar_one() > COSIGNATURES_MAX:
        raise TooManyError(f"checkpoint {size} has {COSIGNATURES_MAX} cosignatures already")
    return True
