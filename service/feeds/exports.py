"""The whole record as files that another can check without this program.

`events.jsonl` has each event's recorded bytes on a line of its own, in order of position: a
CloudEvent, and the leaf of the tree. `nodes.txt` has on the same line the hashes kept with it, in
base64. `personal.jsonl` (only where asked for) has the personal text with the salt of its
commitment. `contents.txt` has, of events with personal text, position and content hash, by which
a repeat is recognised: it cannot be had from the bytes alone. `checkpoint.txt` is the signed
checkpoint of just these events.
"""

from base64 import b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, NamedTuple

import orjson
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from psycopg import capabilities
from sqlalchemy import Engine

from service.log.engine import driver_cursor
from service.log.tree import FrontierError, checked_head
from service.proofs.canonical import MAY_COMMIT, commits
from service.proofs.checkpoints import Checkpoint

EVENTS, NODES, PERSONAL, CONTENTS, CHECKPOINT = (
    "events.jsonl",
    "nodes.txt",
    "personal.jsonl",
    "contents.txt",
    "checkpoint.txt",
)
AT_ONCE = 5000
ROWS_FETCHED = 50

_ROWS = """
SELECT e.position, e.body, e.nodes, e.content_hash, p.salt, p.content FROM event e
LEFT JOIN personal p ON %s AND p.studio = e.studio AND p.position = e.position
WHERE e.studio = %s AND e.position > %s AND e.position <= %s ORDER BY e.position
"""


class ExportError(RuntimeError):
    """The export cannot be written; the message says why."""


class _Files(NamedTuple):
    events: IO[bytes]
    nodes: IO[str]
    contents: IO[str]
    texts: IO[bytes] | None


def export(
    engine: Engine,
    studio: str,
    folder: Path,
    origin: str,
    secret: Ed25519PrivateKey,
    *,
    personal: bool,
    at_once: int = AT_ONCE,
) -> Iterator[tuple[int, int]]:
    """Write a studio's record into a new folder; gives (events written, events in all) on the way.

    Events are written `at_once` at a time. What is recorded meanwhile is left out. Raises
    ExportError, and UnknownStudioError.
    """
    with begun(folder), engine.connect() as connection:
        head = checked_head(connection, studio)
    with (
        (folder / EVENTS).open("xb") as events,
        (folder / NODES).open("x") as nodes,
        (folder / PERSONAL).open("xb") as texts,
        (folder / CONTENTS).open("x") as contents,
    ):
        files = _Files(events, nodes, contents, texts if personal else None)
        for at in range(0, head.position, at_once):
            until = min(at + at_once, head.position)
            _write(engine, studio, (at, until), files)
            yield until, head.position
    if not personal:
        (folder / PERSONAL).unlink()
    note = Checkpoint.of(origin, head.position, head.frontier).signed(secret)
    (folder / CHECKPOINT).write_text(str(note), encoding="utf-8")


@contextmanager
def begun(folder: Path) -> Iterator[None]:
    """Make the new folder of an export, after what is found out about the tree.

    Raises ExportError.
    """
    try:
        yield
    except FrontierError as error:
        raise ExportError(str(error)) from error
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=False)
    except OSError as error:
        raise ExportError(f"{folder} cannot be made: {error.strerror}") from error


def _write(engine: Engine, studio: str, span: tuple[int, int], files: _Files) -> None:
    with engine.connect() as connection, driver_cursor(connection) as cursor:
        # a few rows at a time: thousands of events may have much text
        few = ROWS_FETCHED if capabilities.has_stream_chunked() else 1
        parameters = (files.texts is not None, studio, *span)
        rows = cursor.stream(_ROWS, parameters, size=few, binary=True)
        for position, body, completed, hashed, salt, content in rows:
            files.events.write(body + b"\n")
            files.nodes.write(b64encode(completed).decode() + "\n")
            if MAY_COMMIT in body and commits(orjson.loads(body)):
                files.contents.write(f"{position} {b64encode(hashed).decode()}\n")
            if files.texts is not None and content is not None:
                files.texts.write(text_line(position, salt, content))


def text_line(position: int, salt: bytes, content: bytes) -> bytes:
    """A line of `personal.jsonl`; the text is written as it was kept."""
    line = {"position": position, "salt": salt.hex(), "personal": orjson.Fragment(content)}
    return orjson.dumps(line) + b"\n"
