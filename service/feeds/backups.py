"""A backup of everything that cannot be made again: every studio's record, and its tokens' hashes.

Each table is a file in PostgreSQL's binary COPY format; all are of one moment, whatever is posted
meanwhile. `manifest.json`, written last, names them with their SHA-256, and has a signed checkpoint
of each studio's log. The keys that sign are not among it: a record and the key that vouches for it
are kept apart.
"""

import json
import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from psycopg import sql
from sqlalchemy import Connection, Engine, Table, func, select

from service.log import schema
from service.log.append import read_head
from service.log.engine import driver_connection
from service.log.migrate import revision_of
from service.log.studios import list_studios
from service.proofs.checkpoints import Checkpoint
from service.proofs.notes import Note, sign
from service.proofs.tree import root

MANIFEST = "manifest.json"
FORMAT = 1
DISPOSABLE = frozenset({"snapshot", "projection", "trail"})
"""Tables that the service makes again by itself."""


class BackupError(RuntimeError):
    """The backup cannot be written; the message says why."""


class Progress(NamedTuple):
    """How far it has come: which table, and how many rows of how many."""

    table: str
    rows: int
    rows_in_all: int


def tables() -> list[Table]:
    """The tables of a backup, in the order in which they are made."""
    return [table for table in schema.metadata.sorted_tables if table.name not in DISPOSABLE]


def back_up(
    engine: Engine,
    folder: Path,
    origin_of: Callable[[str], str],
    secret: Ed25519PrivateKey,
) -> Iterator[Progress]:
    """Write a backup into a new folder, readable by its owner alone. Raises BackupError.

    `origin_of` gives the name under which a studio's checkpoints are signed.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=False)
    except OSError as error:
        raise BackupError(f"{folder} cannot be made: {error.strerror}") from error
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection:
        told: list[dict[str, Any]] = []
        for table in tables():
            rows = connection.execute(select(func.count()).select_from(table)).scalar_one()
            yield Progress(table.name, 0, rows)
            told.append(_copy_out(connection, table, folder) | {"rows": rows})
            yield Progress(table.name, rows, rows)
        manifest = {
            "format": FORMAT,
            "release": version("retake-ledger"),
            "revision": revision_of(connection),
            "taken_at": datetime.now(UTC).isoformat(),
            "tables": told,
            "studios": _studios(connection, origin_of, secret),
        }
    _write_whole(folder / MANIFEST, json.dumps(manifest, indent=2) + "\n")


def _copy_out(connection: Connection, table: Table, folder: Path) -> dict[str, Any]:
    columns = [column.name for column in table.columns]
    statement = sql.SQL("COPY (SELECT {} FROM {} ORDER BY {}) TO STDOUT (FORMAT binary)").format(
        sql.SQL(", ").join(map(sql.Identifier, columns)),
        sql.Identifier(table.name),
        sql.SQL(", ").join(sql.Identifier(column.name) for column in table.primary_key),
    )
    hashed, name = sha256(), f"{table.name}.copy"
    with (
        (folder / name).open("xb") as file,
        driver_connection(connection) as raw,
        raw.cursor() as cursor,
        cursor.copy(statement) as copy,
    ):
        for part in copy:
            hashed.update(part)
            file.write(part)
        file.flush()
        os.fsync(file.fileno())
    return {"table": table.name, "file": name, "columns": columns, "sha256": hashed.hexdigest()}


def _studios(
    connection: Connection, origin_of: Callable[[str], str], secret: Ed25519PrivateKey
) -> list[dict[str, str]]:
    """Each studio with a checkpoint of its log as it is in the backup."""
    told = []
    for studio in list_studios(connection):
        head, origin = read_head(connection, studio.studio), origin_of(studio.studio)
        text = str(Checkpoint(origin, head.position, root(head.frontier)))
        note = Note(text, (sign(text, origin, secret),))
        told.append({"studio": studio.studio, "checkpoint": str(note)})
    return told


def _write_whole(path: Path, text: str) -> None:
    beside = path.with_name(f".{path.name}")
    with beside.open("x", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    beside.rename(path)
