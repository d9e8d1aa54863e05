"""An exported record, read back to be looked through."""

from base64 import b64decode
from binascii import Error as Base64Error
from collections.abc import Iterator, Mapping
from itertools import zip_longest
from pathlib import Path

import orjson

from service.feeds.episode_exports import PROOFS
from service.feeds.exports import EVENTS, NODES, PERSONAL
from service.proofs.canonical import CanonicalError, commitment
from service.proofs.checkpoints import Checkpoint, read_checkpoint
from service.proofs.examining import Difference
from service.proofs.notes import Key, NoteError, read_note, signers
from service.proofs.tree import leaf_hash


class ExportedError(ValueError):
    """A file is not what an export has; the message names it and says why."""


def read_record(folder: Path) -> Iterator[tuple[bytes, bytes]]:
    """Each event's bytes and the hashes beside it, in the order of the file. Raises ExportedError.

    Without `nodes.txt` the hashes are empty.
    """
    nodes = folder / NODES
    try:
        with (folder / EVENTS).open("rb") as events:
            if not nodes.exists():
                for line in events:
                    yield line.removesuffix(b"\n"), b""
                return
            with nodes.open("rb") as kept:
                for line, row_hash in zip_longest(events, kept, fillvalue=b""):
                    yield line.removesuffix(b"\n"), b64decode(row_hash.strip(), validate=True)
    except OSError as error:
        raise ExportedError(f"{error.filename} cannot be read: {error.strerror}") from error
    except Base64Error as error:
        raise ExportedError(f"{nodes} holds a line that is not base64") from error


def read_leaves(folder: Path) -> list[bytes]:
    """The leaf of each event of an export. Raises ExportedError."""
    return [leaf_hash(body) for body, _ in read_record(folder)]


def read_signed_checkpoint(path: Path, keys: tuple[Key, ...]) -> Checkpoint:
    """The checkpoint of a file, signed by one of some keys if any are given.

    Raises ExportedError.
    """
    try:
        note = read_note(path.read_text(encoding="utf-8"))
        checkpoint = read_checkpoint(note.text)
    except (OSError, UnicodeDecodeError) as error:
        raise ExportedError(f"{path} cannot be read: {error}") from error
    except NoteError as error:
        raise ExportedError(f"{path}: {error}") from error
    if keys and not signers(note, keys):
        raise ExportedError(f"{path}: none of the keys given has signed it")
    return checkpoint


def wrong_text(folder: Path) -> Difference | None:
    """The first personal text that its event's commitment does not hold, if any.

    None too where the export has no personal text. Raises ExportedError.
    """
    texts = read_texts(folder)
    for position, body in _placed(folder):
        if position in texts:
            salt, personal = texts.pop(position)
            event = orjson.loads(body)
            try:
                holds = event.get("personal") == commitment(salt, personal)
            except CanonicalError:
                holds = False
            if not holds:
                return Difference(position, "its personal text is not what was committed to")
    if texts:
        return Difference(min(texts), "there is personal text of an event that is not there")
    return None


def _placed(folder: Path) -> Iterator[tuple[int, bytes]]:
    """Positions and bytes of the events of either sort of export."""
    if is_of_episode(folder):
        yield from ((leaf + 1, body) for body, leaf, _, _ in read_proven(folder))
    else:
        yield from enumerate((body for body, _ in read_record(folder)), 1)


def is_of_episode(folder: Path) -> bool:
    """Whether an export is of an episode, each event with its proof, and not of a whole record."""
    return (folder / PROOFS).exists()


def read_proven(folder: Path) -> Iterator[tuple[bytes, int, int, list[bytes]]]:
    """Of an episode's export, each event's bytes, leaf index (from 0), size of the tree, and proof.

    Raises ExportedError.
    """
    path = folder / PROOFS
    try:
        with (folder / EVENTS).open("rb") as events, path.open("rb") as proofs:
            for line, proof in zip_longest(events, proofs, fillvalue=b""):
                parts = orjson.loads(proof)
                hashes = [b64decode(one, validate=True) for one in parts["hashes"]]
                yield line.removesuffix(b"\n"), int(parts["leaf_index"]), int(parts["size"]), hashes
    except OSError as error:
        raise ExportedError(f"{error.filename} cannot be read: {error.strerror}") from error
    except (ValueError, KeyError, TypeError) as error:
        raise ExportedError(f"{path} holds a line that is not a proof: {error}") from error


def read_texts(folder: Path) -> dict[int, tuple[bytes, Mapping[str, object]]]:
    """Salt and personal text (members by JSON pointer) by position, as far as an export has them.

    Raises ExportedError.
    """
    path = folder / PERSONAL
    found: dict[int, tuple[bytes, Mapping[str, object]]] = {}
    if not path.exists():
        return found
    try:
        with path.open("rb") as lines:
            for line in lines:
                text = orjson.loads(line)
                found[int(text["position"])] = (bytes.fromhex(text["salt"]), text["personal"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise ExportedError(f"{path} holds a line that is not personal text: {error}") from error
    return found
