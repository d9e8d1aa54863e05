"""A backup put into an empty database: in one transaction, and verified before it is kept."""

from collections.abc import Iterator
from hashlib import file_digest
from pathlib import Path

import msgspec
from msgspec import Struct
from psycopg import sql
from sqlalchemy import Connection, Engine, select

from service.checking.record import check_record
from service.feeds.backups import (
    FORMAT,
    MANIFEST,
    NOTICED,
    SIGNED,
    SIGNER,
    Progress,
    said_of,
    tables,
)
from service.log.engine import driver_connection
from service.log.migrate import revision_of
from service.log.studios import list_studios, seal_clock
from service.proofs.checkpoints import Checkpoint, read_checkpoint
from service.proofs.notes import Key, NoteError, read_note, signers

_AT_ONCE_BYTES = 1 << 20


class RestoreError(ValueError):
    """The backup cannot be taken; the message says why, and nothing was kept."""


class _Table(Struct):
    """What a manifest says of one table."""

    table: str
    file: str
    columns: tuple[str, ...]
    sha256: str
    rows: int


class _Logged(Struct):
    """What it says of one studio."""

    studio: str
    checkpoint: str


class _Manifest(Struct):
    """A manifest as it is read."""

    format: int
    revision: str | None
    tables: list[_Table]
    studios: list[_Logged]
    release: str = "unknown"


def restore(
    engine: Engine, folder: Path, keys: tuple[Key, ...] = (), seal_key: bytes | None = None
) -> Iterator[Progress]:
    """Put a backup into an empty migrated database.

    The files must be what the manifest says, which one of `keys` must have signed if any are given,
    and of the database's own migration; each studio's log must come to its checkpoint in the
    backup, and its personal text to the commitments in it. Clocks are sealed anew: the key of seals
    may be another here than where the backup was made. Raises RestoreError; nothing was kept then.
    """
    manifest = _manifest(folder, keys)
    checkpoints = _checkpoints(manifest)
    with engine.connect() as connection, connection.begin():
        _refuse_other(connection, manifest)
        _refuse_changed(folder, manifest)
        for table in manifest.tables:
            yield Progress(table.table, 0, table.rows)
            _copy_in(connection, folder, table)
            yield Progress(table.table, table.rows, table.rows)
        _check_studios(connection, checkpoints)
        for studio in list_studios(connection):
            seal_clock(connection, studio, seal_key)


def _manifest(folder: Path, keys: tuple[Key, ...]) -> _Manifest:
    path = folder / MANIFEST
    try:
        text = path.read_text(encoding="utf-8")
        manifest = msgspec.json.decode(text, type=_Manifest)
    except OSError as error:
        raise RestoreError(f"{path} cannot be read: {error.strerror}; is it whole?") from error
    except (UnicodeDecodeError, msgspec.DecodeError) as error:
        raise RestoreError(f"{path} is not the manifest of a backup: {error}") from error
    if manifest.format != FORMAT:
        raise RestoreError(
            f"{path} is of format {manifest.format}, not {FORMAT}: restore it with the release "
            f"that wrote it ({manifest.release!r}), and back up anew"
        )
    if any(Path(one.file).name != one.file for one in manifest.tables):
        raise RestoreError(f"{path} names files outside its folder")
    _refuse_unsigned(folder / SIGNED, text, keys)
    return manifest


def _refuse_unsigned(path: Path, manifest: str, keys: tuple[Key, ...]) -> None:
    """Raise RestoreError unless a note says of a manifest what is so, signed by one of the keys."""
    try:
        note = read_note(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise RestoreError(f"{path} cannot be read ({error}); is the backup whole?") from error
    if note.text != said_of(manifest):
        raise RestoreError(f"{MANIFEST} was changed: {path.name} says something else of it")
    # one key signs all logs, each under its own name, and the manifest under another
    named = tuple(key._replace(name=SIGNER) for key in keys)
    if keys and not signers(note, named):
        raise RestoreError(f"none of the keys given signed {path}")


def _checkpoints(manifest: _Manifest) -> dict[str, Checkpoint]:
    found = {}
    for entry in manifest.studios:
        try:
            note = read_note(entry.checkpoint)
            found[entry.studio] = read_checkpoint(note.text)
        except NoteError as error:
            raise RestoreError(f"{MANIFEST} has a checkpoint that cannot be read") from error
    return found


def _refuse_other(connection: Connection, manifest: _Manifest) -> None:
    """Raise RestoreError unless the database is empty and of the backup's migration."""
    here = revision_of(connection)
    if here != manifest.revision:
        raise RestoreError(
            f"the backup is of migration {manifest.revision}, the database of {here}: restore "
            f"it with release {manifest.release!r} and migrate then"
        )
    there = sorted((one.table, one.columns) for one in manifest.tables)
    if there != sorted((one.name, tuple(one.columns.keys())) for one in tables()):
        raise RestoreError("the backup has other tables or columns than the database")
    for table in tables():
        if connection.execute(select(1).select_from(table).limit(1)).first() is not None:
            raise RestoreError(f"the database is not empty: {table.name} has rows; take a new one")


def _refuse_changed(folder: Path, manifest: _Manifest) -> None:
    for table in manifest.tables:
        path = folder / table.file
        try:
            with path.open("rb") as file:
                hashed = file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise RestoreError(f"{path} cannot be read: {error.strerror}") from error
        if hashed != table.sha256:
            raise RestoreError(f"{path} was changed: its SHA-256 is not what the manifest says")


def _copy_in(connection: Connection, folder: Path, table: _Table) -> None:
    statement = sql.SQL("COPY {} ({}) FROM STDIN (FORMAT binary)").format(
        sql.Identifier(table.table),
        sql.SQL(", ").join(map(sql.Identifier, table.columns)),
    )
    with (
        (folder / table.file).open("rb") as file,
        driver_connection(connection) as raw,
        raw.cursor() as cursor,
    ):
        with cursor.copy(statement) as copy:
            while part := file.read(_AT_ONCE_BYTES):
                copy.write(part)
        if cursor.rowcount != table.rows:
            raise RestoreError(
                f"{table.table}: {cursor.rowcount} rows, the manifest says {table.rows}"
            )


def _check_studios(connection: Connection, checkpoints: dict[str, Checkpoint]) -> None:
    """Raise RestoreError unless every studio is what its checkpoint in the backup says."""
    studios = [studio.studio for studio in list_studios(connection)]
    if sorted(checkpoints) != sorted(studios):
        raise RestoreError("the backup has other studios than its manifest names")
    for studio in studios:
        checkpoint = checkpoints[studio]
        record = check_record(connection, studio, [checkpoint])
        for finding in record.findings:
            if finding.kind not in NOTICED:
                raise RestoreError(f"{studio}: NOT what it was: {finding}")
        if record.size != checkpoint.size:
            raise RestoreError(f"{studio}: {record.size} events, not {checkpoint.size}")
