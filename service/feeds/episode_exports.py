"""An episode's events as files, each with the proof that it is in the record.

`events.jsonl`, `personal.jsonl` and `checkpoint.txt` are as in an export of the whole record; the
checkpoint is of all of it. `proofs.jsonl` has on the same line an event's proof of inclusion. That
these are all of the episode's events cannot be proved so: that takes the whole record.
"""

from base64 import b64encode
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import IO

import orjson
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Connection, Engine, text

from service.feeds.exports import (
    CHECKPOINT,
    EVENTS,
    PERSONAL,
    ROWS_FETCHED,
    ExportError,
    begun,
    text_line,
)
from service.log.about import About, events_about
from service.log.tree import checked_head, derive_frontier, read_subtrees
from service.projections.diary import all_about
from service.proofs.checkpoints import Checkpoint
from service.proofs.paths import hashes, inclusion, wanted
from service.record.studios import real_clock_us
from service.studio import Studio

PROOFS = "proofs.jsonl"
AT_ONCE = 500


def export_episode(
    engine: Engine,
    studio: str,
    episode: str,
    folder: Path,
    origin: str,
    secret: Ed25519PrivateKey,
    *,
    personal: bool,
    seal_key: bytes | None = None,
    at_once: int = AT_ONCE,
) -> Iterator[int]:
    """Write what is recorded about an episode into a new folder; gives events written on the way.

    Events are written `at_once` at a time. With the key of seals it starts from a snapshot.
    Raises ExportError, and UnknownStudioError.
    """
    opened = Studio(studio, engine, real_clock_us, seal_key)
    view = opened.view()
    opened.history.snapshots.wait()
    if episode not in view.state.episodes:
        raise ExportError(f"{studio} has no episode {episode}")
    with begun(folder), engine.connect() as connection:
        checked_head(connection, studio)
        frontier = derive_frontier(connection, studio, view.position)
    with engine.connect() as connection:
        struck = opened.history.strikes_at(view.position)
        about = all_about(connection, studio, view.state, episode, struck)
        with (folder / EVENTS).open("xb") as events, (folder / PROOFS).open("xb") as proofs:
            yield from _write(connection, studio, about, view.position, events, proofs, at_once)
        if personal:
            with (folder / PERSONAL).open("xb") as texts:
                _write_texts(connection, studio, folder, texts)
    note = Checkpoint.of(origin, view.position, frontier).signed(secret)
    (folder / CHECKPOINT).write_text(str(note), encoding="utf-8")


def _write(
    connection: Connection,
    studio: str,
    about: About,
    size: int,
    events: IO[bytes],
    proofs: IO[bytes],
    at_once: int,
) -> Iterator[int]:
    after = written = 0
    more = True
    while more:
        rows, more = events_about(
            connection, studio, about, after=after, limit=at_once, until_position=size, without=()
        )
        ranges = {row.position: inclusion(row.position - 1, size) for row in rows}
        subtrees = chain.from_iterable(map(wanted, ranges.values()))
        hashes_of = read_subtrees(connection, studio, subtrees)
        for row in rows:
            proof = hashes(ranges[row.position], hashes_of)
            shown = {
                "position": row.position,
                "leaf_index": row.position - 1,
                "size": size,
                "hashes": [b64encode(one).decode() for one in proof],
            }
            events.write(row.body + b"\n")
            proofs.write(orjson.dumps(shown) + b"\n")
        after, written = max((row.position for row in rows), default=after), written + len(rows)
        yield written


def _write_texts(connection: Connection, studio: str, folder: Path, texts: IO[bytes]) -> None:
    lines = (folder / PROOFS).read_bytes().splitlines()
    positions = [orjson.loads(line)["position"] for line in lines]
    query = text(
        "SELECT position, salt, content FROM personal "
        "WHERE studio = :studio AND position = ANY(:positions) ORDER BY position"
    ).execution_options(yield_per=ROWS_FETCHED)
    for position, salt, content in connection.execute(
        query, {"studio": studio, "positions": positions}
    ):
        texts.write(text_line(position, salt, content))
