"""Checking a record from end to end: an export, or a running service."""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from service.client import Client
from service.feeds.exports import CHECKPOINT
from service.intake import exported, online
from service.proofs.checkpoints import Checkpoint
from service.proofs.examining import Difference, examine, first_difference
from service.proofs.notes import Key
from service.proofs.paths import proves_inclusion
from service.proofs.tree import leaf_hash


class Verified(NamedTuple):
    """How many events a record has, and the first place where it is not what it was.

    `salted_from` is the position from which on every body has a salt; None where none has, or
    where the bodies were not read.
    """

    size: int
    difference: Difference | None
    salted_from: int | None = None


def verify_export(
    folder: Path,
    checkpoints: Sequence[Checkpoint],
    keys: tuple[Key, ...] = (),
    against: Path | None = None,
) -> Verified:
    """What an export comes to.

    It is held against the checkpoint in its folder, which is of its last event and signed by one of
    `keys` if any are given, against those kept elsewhere, and against an older export (`against`).
    Raises ExportedError.
    """
    if against is not None:
        older, newer = exported.read_leaves(against), exported.read_leaves(folder)
        position = first_difference(older, newer)
        if position is not None:
            return Verified(
                len(newer), Difference(position, "the event here is not the older export's")
            )
        if len(newer) < len(older):
            what = f"the record ends at {len(newer)}, the older export at {len(older)}"
            return Verified(len(newer), Difference(len(newer) + 1, what))
    own = exported.read_signed_checkpoint(folder / CHECKPOINT, keys)
    examined = examine(exported.read_record(folder), [own, *checkpoints])
    size, difference = examined.size, examined.difference
    if difference is None and size != own.size:
        what = f"the checkpoint in the folder covers {own.size} events, there are {size}"
        difference = Difference(own.size + 1, what)
    return Verified(size, difference or exported.wrong_text(folder), examined.salted_from)


def verify_episode(
    folder: Path, checkpoints: Sequence[Checkpoint], keys: tuple[Key, ...] = ()
) -> Verified:
    """The same of an episode's export: whether each of its events is in the record.

    Each is held against the checkpoint in the folder, signed by one of `keys` if any are given; and
    that against those kept elsewhere, which must be of the same size. Raises ExportedError.
    """
    own = exported.read_signed_checkpoint(folder / CHECKPOINT, keys)
    for checkpoint in checkpoints:
        if checkpoint.size != own.size:
            raise exported.ExportedError(
                f"an episode's export of {own.size} events cannot be held against a checkpoint of "
                f"{checkpoint.size}: take the one of {own.size}, or export the whole record"
            )
        if checkpoint.root != own.root:
            what = "the root is not the checkpoint's"
            return Verified(0, Difference(own.size, what))
    count, last = 0, 0
    for body, leaf, size, hashes in exported.read_proven(folder):
        count += 1
        position = leaf + 1
        if size != own.size:
            what = f"its proof is of {size} events, not of {own.size}"
            return Verified(count, Difference(position, what))
        if not proves_inclusion(leaf_hash(body), leaf, size, hashes, own.root):
            return Verified(count, Difference(position, "its bytes are not those in the record"))
        if position <= last:
            return Verified(count, Difference(position, "it is there twice, or out of order"))
        last = position
    return Verified(count, exported.wrong_text(folder))


def verify_service(
    service: Client,
    keys: tuple[Key, ...],
    checkpoints: Sequence[Checkpoint],
    against: Path | None = None,
    *,
    every_event: bool = False,
) -> Verified:
    """What the record of a running service comes to.

    `against` is an older export. `every_event` also reads each event and holds it against the
    tree, and its personal text against the commitment. Raises ExportedError, OnlineError,
    RefusedError, and httpx.TransportError.
    """
    if every_event:
        found = online.altered(service)
        if found is not None:
            return Verified(online.read_latest(service, keys).size, found)
    if against is not None:
        found = online.parts_from(service, exported.read_leaves(against))
        if found is not None:
            return Verified(online.read_latest(service, keys).size, found)
    latest = online.read_latest(service, keys)
    for checkpoint in sorted(checkpoints, key=lambda one: one.size):
        found = online.goes_on_from(service, checkpoint, latest)
        if found is not None:
            return Verified(latest.size, found)
    return Verified(latest.size, None)
