"""Putting right what follows from a studio's record, as the owner of the tables.

What is written follows from the bytes of the events: the hashes of the tree over them, the columns
beside them, the head. The bytes themselves, personal text and checkpoints are never touched, and
nothing is mended beside bytes that are not those that were hashed: whatever were made to agree with
them would hide that they were altered.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, Engine, bindparam, delete, select, text, update

from service.checking.clock import check_clock, wrong_by_itself
from service.checking.columns import Columns
from service.checking.findings import Finding, Kind
from service.checking.record import Derived, Record, Stored, check_record, stored_columns
from service.log.append import lock_head
from service.log.schema import checkpoint, event, head, projection, snapshot, trail
from service.log.schema import studio as studio_table
from service.log.studios import Clock, clock_seal, find_studio
from service.proofs.checkpoints import Checkpoint, read_checkpoint
from service.proofs.notes import NoteError
from service.proofs.tree import pack
from service.vocabulary.instants import format_instant, instant, instant_us

_FREE = "ALTER TABLE event DISABLE TRIGGER event_stays"
_GUARD = "ALTER TABLE event ENABLE ALWAYS TRIGGER event_stays"
_LEFT = frozenset({Kind.TEXT, Kind.MISSING_TEXT, Kind.UNKNOWN})


class MendingError(ValueError):
    """Nothing was changed: what differs does not follow from the record; the message says what."""


@dataclass
class Mended:
    """What was done, a sentence each, and what is left that cannot be derived."""

    done: list[str] = field(default_factory=list)
    left: list[Finding] = field(default_factory=list)


@dataclass
class _Wrong:
    """Rows beside whose bytes something else stands than follows from them."""

    hashes: list[tuple[int, bytes]] = field(default_factory=list)
    columns: list[tuple[int, Columns]] = field(default_factory=list)
    contents: list[tuple[int, bytes]] = field(default_factory=list)

    def note(self, row: Stored, derived: Derived) -> None:
        """Keep what is to be written beside a row."""
        if row.nodes != derived.nodes:
            self.hashes.append((row.position, derived.nodes))
        if derived.columns is not None and stored_columns(row) != derived.columns:
            self.columns.append((row.position, derived.columns))
        if derived.content_hash not in {None, row.content_hash}:
            self.contents.append((row.position, derived.content_hash or b""))


def mend(engine: Engine, studio: str, seal_key: bytes | None = None) -> Mended:
    """Put right what follows from the bytes of a studio's events, in one transaction.

    Snapshots and trail are cleared: the service makes them again, and nobody need know whether they
    were right. A clock that was set otherwise than by the service is put at the record's end.

    `engine` connects as the owner. The record must come to every checkpoint that is kept of it.
    Raises MendingError, and UnknownStudioError; nothing was changed then.
    """
    mended, wrong = Mended(), _Wrong()
    with engine.begin() as connection:
        before = lock_head(connection, studio)
        record = check_record(
            connection, studio, kept_checkpoints(connection, studio), differs=wrong.note
        )
        for finding in record.findings:
            if finding.kind is Kind.RECORD:
                raise MendingError(
                    f"{studio}: position {finding.position}: {finding.what}. What was recorded "
                    "follows from nothing else: restore a backup made before, or take in an export"
                )
        if before.position > record.size:
            raise MendingError(
                f"{studio}: position {record.size + 1}: there is no event here, and the head is at "
                f"{before.position}. What was recorded follows from nothing else: restore a backup"
            )
        mended.left = [finding for finding in record.findings if finding.kind in _LEFT]
        _mend_rows(connection, studio, wrong, mended.done)
        _mend_head(connection, studio, record, mended.done)
        _mend_clock(connection, studio, record.recorded_at_us, seal_key, mended.done)
        _clear(connection, studio, mended.done)
    return mended


def _mend_clock(
    connection: Connection,
    studio: str,
    recorded_at_us: int,
    seal_key: bytes | None,
    done: list[str],
) -> None:
    """Put a wrong clock where the record ends; a clock without a seal is sealed as it stands."""
    made = find_studio(connection, studio)
    if made is None:
        return
    wrong = check_clock(connection, made, recorded_at_us, seal_key)
    if wrong is None:
        return
    clock_at, sealed = connection.execute(
        select(head.c.clock_at, head.c.clock_seal).where(head.c.studio == studio)
    ).one()
    at_us = None if clock_at is None else instant_us(clock_at)
    values: dict[str, object] = {}
    other: Clock = "real" if made.clock == "simulated" else "simulated"
    if seal_key is not None and sealed == clock_seal(seal_key, studio, other, at_us):
        # what it stands at is as it was sealed: its kind is what was altered
        connection.execute(
            update(studio_table).where(studio_table.c.studio == studio).values(clock=other)
        )
        done.append(f"the clock called {other} again, as it was sealed")
        return
    if sealed is not None or wrong_by_itself(made, at_us, recorded_at_us) is not None:
        at_us = (recorded_at_us or made.made_at_us) if made.clock == "simulated" else None
        values["clock_at"] = None if at_us is None else instant(at_us)
        stands = "nowhere, being real" if at_us is None else f"at {format_instant(at_us)}"
        done.append(f"the clock put {stands}, where the record ends ({wrong.what})")
    else:
        done.append(f"the clock sealed as it stands ({wrong.what})")
    values["clock_seal"] = clock_seal(seal_key, studio, made.clock, at_us)
    connection.execute(update(head).where(head.c.studio == studio).values(values))


def _clear(connection: Connection, studio: str, done: list[str]) -> None:
    """Remove what the service makes again by itself."""
    for table, what in ((snapshot, "snapshots"), (trail, "rows of the trail")):
        gone = connection.execute(delete(table).where(table.c.studio == studio)).rowcount
        if gone:
            done.append(f"{gone} {what} cleared, for the service to make again")
    connection.execute(delete(projection).where(projection.c.studio == studio))


def kept_checkpoints(connection: Connection, studio: str) -> list[Checkpoint]:
    """The checkpoints that are kept of a studio, by size. Raises MendingError."""
    query = select(checkpoint.c.text).where(checkpoint.c.studio == studio)
    texts = connection.execute(query.order_by(checkpoint.c.size)).scalars()
    try:
        return [read_checkpoint(note) for note in texts]
    except NoteError as error:
        raise MendingError(
            f"{studio}: a checkpoint that is kept of it cannot be read: {error}; restore a backup"
        ) from error


def _mend_rows(connection: Connection, studio: str, wrong: _Wrong, done: list[str]) -> None:
    if not (wrong.hashes or wrong.columns or wrong.contents):
        return
    # none but the owner may; the lock that this takes keeps everybody else off meanwhile
    connection.execute(text(_FREE))
    if wrong.hashes:
        _write(connection, studio, [(at, {"nodes": nodes}) for at, nodes in wrong.hashes])
        done.append(f"hashes of the tree written anew beside {_places(wrong.hashes)}")
    if wrong.columns:
        _write(connection, studio, [(at, _values(columns)) for at, columns in wrong.columns])
        done.append(f"columns written anew beside {_places(wrong.columns)}")
    if wrong.contents:
        _write(connection, studio, [(at, {"content_hash": one}) for at, one in wrong.contents])
        done.append(f"content hashes written anew beside {_places(wrong.contents)}")
    connection.execute(text(_GUARD))


def _write(
    connection: Connection, studio: str, rows: Sequence[tuple[int, dict[str, object]]]
) -> None:
    query = (
        update(event)
        .where(event.c.studio == studio, event.c.position == bindparam("at"))
        .values({name: bindparam(f"new_{name}") for name in rows[0][1]})
    )
    named = [
        {"at": at, **{f"new_{name}": value for name, value in values.items()}}
        for at, values in rows
    ]
    connection.execute(query, named)


def _values(columns: Columns) -> dict[str, object]:
    values = columns._asdict()
    return {
        name.removesuffix("_us"): instant(value) if name.endswith("_us") else value
        for name, value in values.items()
    }


def _places(rows: Sequence[tuple[int, object]]) -> str:
    first = rows[0][0]
    if len(rows) == 1:
        return f"event {first}"
    return f"{len(rows)} events from {first} to {rows[-1][0]}"


def _mend_head(connection: Connection, studio: str, record: Record, done: list[str]) -> None:
    wrong = [finding for finding in record.findings if finding.kind is Kind.HEAD]
    if not wrong:
        return
    values: dict[str, object] = {"position": record.size, "frontier": pack(record.frontier)}
    if record.recorded_at_us:
        values["recorded_at"] = instant(record.recorded_at_us)
    connection.execute(update(head).where(head.c.studio == studio).values(values))
    done.append(
        f"the head put at event {record.size} with the frontier of its rows ({wrong[0].what})"
    )
