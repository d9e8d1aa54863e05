"""Looking through a record that somebody hands over: whether it is what checkpoints say."""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import orjson

from service.proofs.canonical import SALT
from service.proofs.checkpoints import Checkpoint
from service.proofs.tree import Frontier, append, leaf_hash, root


class Difference(NamedTuple):
    """The first place where a record is not what it was: a position of the log, and why."""

    position: int
    what: str


class Examined(NamedTuple):
    """What a record comes to: its size, its root and the first fault.

    `salted_from` is the position from which on every body has a salt, None where the last has none.
    """

    size: int
    root: bytes
    difference: Difference | None
    salted_from: int | None


def examine(
    record: Iterable[tuple[bytes, bytes]], checkpoints: Sequence[Checkpoint] = ()
) -> Examined:
    """Grow the tree of a record and hold it against its own hashes and against checkpoints.

    `record` gives each event's recorded bytes and the hashes kept with it, in order of position;
    empty where none were kept. A byte that was altered, and an event that was taken out, put in or
    exchanged, is found where it lies if the hashes beside it were not made anew; else it lies at
    or before the size of the first checkpoint that does not agree, and behind the last that does.
    """
    due: dict[int, list[Checkpoint]] = {}
    for checkpoint in checkpoints:
        due.setdefault(checkpoint.size, []).append(checkpoint)
    frontier: Frontier = ()
    size, agreed, found, unsalted = 0, 0, None, 0
    if 0 in due:
        agreed, found = _agreed(due.pop(0), root(()), agreed)
    for body, kept in record:
        nodes, frontier = append(frontier, size, leaf_hash(body))
        size += 1
        if found is None and kept and nodes != kept:
            found = Difference(size, "its bytes are not those that were hashed")
        members = _members_of(body)
        if SALT not in members:
            unsalted = size
        if found is None and members.get("position") != size:
            found = Difference(size, f"the event here says it is at {members.get('position')}")
        if size in due:
            agreed, difference = _agreed(due.pop(size), root(frontier), agreed)
            found = found or difference
    if due and found is None:
        least = min(due)
        found = Difference(
            size + 1, f"the record ends at {size}, the checkpoint covers {least} events"
        )
    salted_from = unsalted + 1 if unsalted < size else None
    return Examined(size, root(frontier), found, salted_from)


def _agreed(due: Sequence[Checkpoint], here: bytes, before: int) -> tuple[int, Difference | None]:
    """The size of the last checkpoint that agrees, and what of those of one size differs.

    `here` is the root at their size, `before` the size of the last smaller one that agrees.
    """
    agreed = due[0].size if any(checkpoint.root == here for checkpoint in due) else before
    differing = next((checkpoint for checkpoint in due if checkpoint.root != here), None)
    if differing is None:
        return agreed, None
    return agreed, Difference(
        differing.size,
        f"the root is not the checkpoint's: the first difference lies behind {agreed}, "
        f"at or before {differing.size}",
    )


def position_of(body: bytes) -> object:
    """The position that an event's recorded bytes say; None for what is no event."""
    return _members_of(body).get("position")


def _members_of(body: bytes) -> Mapping[str, object]:
    try:
        members = orjson.loads(body)
    except orjson.JSONDecodeError:
        return {}
    return members if isinstance(members, dict) else {}


def first_difference(leaves: Sequence[bytes], others: Sequence[bytes]) -> int | None:
    """The first position (from 1) at which the leaves of two records differ.

    None where one of them begins with the other.
    """
    for position, (one, other) in enumerate(zip(leaves, others, strict=False), 1):
        if one != other:
            return position
    return None
