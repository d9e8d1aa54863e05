"""A backup of everything that cannot be made again: every studio's record, and its tokens' hashes.

Each table is a file in PostgreSQL's binary COPY format; all are of one moment, whatever is posted
meanwhile. `manifest.json` names them with their SHA-256, and has a signed checkpoint of each
studio's log; `manifest.note`, written last, has the manifest's SHA-256, signed with the key that
signs the checkpoints. Before both each record is held against what follows from it, as it is in the
backup, so that nothing is taken for good that could not be put back. The keys that sign are not
among it: a record and the key that vouches for it are kept apart.

Every table of `schema.metadata` but those in `DISPOSABLE` is in it, so a new table is without more.
All goes through the service's role, and no program of PostgreSQL's is needed.
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

from service.checking.findings import Finding, Kind
from service.checking.record import check_record
from service.log import schema
from service.log.engine import driver_connection
from service.log.migrate import revision_of
from service.log.studios import list_studios
from service.proofs.checkpoints import Checkpoint, read_checkpoint
from service.proofs.notes import Note, NoteError, read_note, sign

MANIFEST = "manifest.json"
SIGNED = "manifest.note"
SIGNER = "retake-ledger/backup"
"""The name under which a manifest is signed, with the key that signs all logs."""
FORMAT = 2
DISPOSABLE = frozenset({"snapshot", "projection", "trail"})
"""Tables that the service makes again by itself."""


NOTICED = frozenset({Kind.MISSING_TEXT, Kind.UNKNOWN})
"""What a backup cannot put right and is not worse for: it is told, and written all the same."""


class BackupError(RuntimeError):
    """The backup cannot be written; the message says why."""


class Progress(NamedTuple):
    """How far it has come: which table or check, and how many rows of how many, where known."""

    table: str
    rows: int
    rows_in_all: int | None


def tables() -> list[Table]:
    """The tables of a backup, in the order in which they are made."""
    return [table for table in schema.metadata.sorted_tables if table.name not in DISPOSABLE]


def back_up(
    engine: Engine,
    folder: Path,
    origin_of: Callable[[str], str],
    secret: Ed25519PrivateKey,
    notice: Callable[[str, Finding], None] = lambda studio, finding: None,
) -> Iterator[Progress]:
    """Write a backup into a new folder, readable by its owner alone. Raises BackupError.

    `origin_of` gives the name under which a studio's checkpoints are signed. `notice` is told, by
    studio, what of `NOTICED` was found. Anything else that differs from a record ends it, without a
    manifest, so that what was written cannot be taken for a backup.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=False)
    except OSError as error:
        raise BackupError(f"{folder} cannot be made: {error.strerror}") from error
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection:
        written: list[dict[str, Any]] = []
        for table in tables():
            rows = connection.execute(select(func.count()).select_from(table)).scalar_one()
            yield Progress(table.name, 0, rows)
            written.append(_copy_out(connection, table, folder) | {"rows": rows})
            yield Progress(table.name, rows, rows)
        studios: list[dict[str, str]] = []
        for studio in list_studios(connection):
            yield Progress(f"{studio.studio} checked", 0, None)
            note = _checked(connection, studio.studio, origin_of, secret, notice)
            studios.append({"studio": studio.studio, "checkpoint": str(note)})
            size = read_checkpoint(note.text).size
            yield Progress(f"{studio.studio} checked", size, size)
        manifest = {
            "format": FORMAT,
            "release": version("retake-ledger"),
            "revision": revision_of(connection),
            "taken_at": datetime.now(UTC).isoformat(),
            "tables": written,
            "studios": studios,
        }
    text = json.dumps(manifest, indent=2) + "\n"
    _write_whole(folder / MANIFEST, text)
    said = said_of(text)
    _write_whole(folder / SIGNED, str(Note(said, (sign(said, SIGNER, secret),))))


def said_of(manifest: str) -> str:
    """What is signed of a manifest. No checkpoint can be read from it."""
    return f"backup\nsha256 {sha256(manifest.encode()).hexdigest()}\n"


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


def _checked(
    connection: Connection,
    studio: str,
    origin_of: Callable[[str], str],
    secret: Ed25519PrivateKey,
    notice: Callable[[str, Finding], None],
) -> Note:
    """A checkpoint of a studio's log as it is in the backup, once all of it was held together.

    Raises BackupError.
    """
    record = check_record(connection, studio)
    for finding in record.findings:
        if finding.kind not in NOTICED:
            raise BackupError(
                f"{studio}: {finding}. No manifest was written, so that this is no backup: "
                f"`retake-ledger mend --studio {studio}` puts right what follows from the record "
                "and says what does not; for that restore a backup made before"
            )
        notice(studio, finding)
    note = Checkpoint.of(origin_of(studio), record.size, record.frontier).signed(secret)
    try:
        # earlier releases made studios of any name, and a restore reads it back
        read_note(str(note))
    except NoteError as error:
        raise BackupError(
            f"{studio}: its checkpoint cannot be read back ({error}), for its name is none that a "
            "signed note can bear. No manifest was written, so that this is no backup: keep the "
            "database by its own means (pg_dump)"
        ) from error
    return note


def _write_whole(path: Path, text: str) -> None:
    beside = path.with_name(f".{path.name}")
    with beside.open("x", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    beside.rename(path)
