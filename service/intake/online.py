"""A running service, held against checkpoints that were kept elsewhere."""

from base64 import b64decode
from collections.abc import Sequence
from http import HTTPStatus

import orjson

from service.client import Client, RefusedError
from service.proofs.canonical import CanonicalError, commitment
from service.proofs.checkpoints import Checkpoint, read_checkpoint
from service.proofs.examining import Difference, position_of
from service.proofs.notes import Key, NoteError, read_note, signers
from service.proofs.paths import proves_consistency, subtrees
from service.proofs.tree import leaf_hash, node_hash, root


class OnlineError(ValueError):
    """What the service answers cannot be taken; the message says why."""


def read_latest(service: Client, keys: tuple[Key, ...]) -> Checkpoint:
    """The service's checkpoint of all it has, signed by one of some keys if any are given.

    Raises OnlineError, RefusedError, and httpx.TransportError.
    """
    try:
        note = read_note(service.get_text("/checkpoints/latest"))
        checkpoint = read_checkpoint(note.text)
    except NoteError as error:
        raise OnlineError(f"the service's checkpoint: {error}") from error
    if keys and not signers(note, keys):
        raise OnlineError("the service's checkpoint: none of the keys given has signed it")
    return checkpoint


def goes_on_from(service: Client, old: Checkpoint, latest: Checkpoint) -> Difference | None:
    """Whether the service proves that its record goes on from an older checkpoint's.

    Raises OnlineError, RefusedError, and httpx.TransportError.
    """
    if old.origin != latest.origin:
        raise OnlineError(
            f"the checkpoint is of {old.origin}, the service's log is {latest.origin}"
        )
    if old.size > latest.size:
        what = f"the record ends at {latest.size}, the checkpoint covers {old.size} events"
        return Difference(latest.size + 1, what)
    if old.size == 0:
        return None
    proof = service.get("/proofs/consistency", **{"from": old.size, "to": latest.size})
    hashes = [b64decode(text) for text in proof["hashes"]]
    if proves_consistency(old.size, latest.size, old.root, latest.root, hashes):
        return None
    return Difference(old.size, f"the first difference lies at or before {old.size}")


def parts_from(service: Client, leaves: Sequence[bytes]) -> Difference | None:
    """The first event that the service has otherwise than an older record; None if it goes on.

    `leaves` are the older record's. Asks for some twenty roots of a million events. Raises
    OnlineError, RefusedError, and httpx.TransportError.
    """
    older = _Tree(leaves)
    latest = read_latest(service, ())
    size = min(len(leaves), latest.size)
    if size == 0 or _root(service, size) == older.root(size):
        if latest.size >= len(leaves):
            return None
        return Difference(
            latest.size + 1, f"the record ends at {latest.size}, the older one at {len(leaves)}"
        )
    same, other = 0, size
    while other - same > 1:
        middle = (same + other) // 2
        if _root(service, middle) == older.root(middle):
            same = middle
        else:
            other = middle
    return Difference(other, "the event here is not the older record's")


def altered(service: Client) -> Difference | None:
    """The first event that the service shows otherwise than it stands in the service's own tree.

    Personal text too, where the service still has it. Reads every event by itself. Raises
    OnlineError, RefusedError, and httpx.TransportError.
    """
    leaves: list[bytes] = []
    text = None
    for position in range(1, read_latest(service, ()).size + 1):
        body = _fetched(service, f"/events/{position}/recorded")
        if body is None:
            return Difference(position, "the service has no event here")
        if position_of(body) != position:
            return Difference(position, f"the event here says it is at {position_of(body)}")
        leaves.append(leaf_hash(body))
        if text is None and _wrong_text(service, position, body):
            text = Difference(position, "its personal text is not what was committed to")
    found = parts_from(service, leaves)
    if found is not None:
        found = Difference(found.position, "its bytes are not those that were hashed")
    if found is None or (text is not None and text.position < found.position):
        return text
    return found


def _wrong_text(service: Client, position: int, body: bytes) -> bool:
    """Whether there is personal text that the event's commitment does not hold."""
    committed = orjson.loads(body).get("personal")
    answer = _fetched(service, f"/events/{position}/personal")
    if answer is None:
        return False  # none, or erased
    kept = orjson.loads(answer)
    try:
        return bool(committed != commitment(bytes.fromhex(kept["salt"]), kept["personal"]))
    except (CanonicalError, ValueError):
        return True


def _fetched(service: Client, path: str) -> bytes | None:
    """What the service answers, None where there is nothing."""
    try:
        return service.get_text(path).encode()
    except RefusedError as refused:
        if refused.status != HTTPStatus.NOT_FOUND:
            raise
        return None


class _Tree:
    """Every perfect subtree over some leaves, so that any root is a few hashes away."""

    def __init__(self, leaves: Sequence[bytes]) -> None:
        self._levels = [list(leaves)]
        while len(below := self._levels[-1]) > 1:
            halves = zip(below[::2], below[1::2], strict=False)
            self._levels.append([node_hash(left, right) for left, right in halves])

    def root(self, size: int) -> bytes:
        """The root over the first `size` leaves."""
        return root(tuple(self._levels[level][number] for level, number in subtrees(0, size)))


def _root(service: Client, size: int) -> bytes:
    root_text: str = service.get("/proofs/consistency", **{"from": size, "to": size})["from_root"]
    return b64decode(root_text)
