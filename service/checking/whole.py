"""All that is stored of a studio, held against its record folded anew.

`record` reads the rows once, in one REPEATABLE READ transaction: bytes against leaves and hashes,
columns against the bytes, personal text against commitments, the head, checkpoints. `clock` checks
kind, seal and the last `recordedat`. `folds` folds without snapshots, compares each snapshot's
state, and builds the trail anew beside its stored rows. Nothing is folded where bytes differ. What
cannot be found: a record with its hashes and checkpoints made anew together with the keys (keep a
checkpoint elsewhere), tokens, titles, and an earlier clock put back with its own seal.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, Engine, select

from service.checking.clock import check_clock
from service.checking.findings import Finding, Kind
from service.checking.folds import check_snapshots, check_trail
from service.checking.record import check_record
from service.keys import Keys
from service.log.checkpoints import read_signed
from service.log.schema import checkpoint
from service.log.studios import StudioRecord
from service.proofs.checkpoints import Checkpoint, read_checkpoint
from service.proofs.notes import ED25519, Key, NoteError, signers
from service.settings import Settings
from service.studio import Studio

UNFOLDED = frozenset({Kind.RECORD, Kind.UNKNOWN})
"""Where one of these was found, nothing is folded: it would be another record, or none."""


class Means(NamedTuple):
    """What a check works with: keys (None where there are none) and how many processes."""

    settings: Settings
    keys: Keys | None
    seal_key: bytes | None
    processes: int


class Checked(NamedTuple):
    """What a check came to: how many events, the findings by position, checkpoints that agree."""

    size: int
    findings: list[Finding]
    checkpoints: int
    folded: bool


def check_studio(
    engine: Engine,
    studio: StudioRecord,
    means: Means,
    checkpoints: Sequence[Checkpoint] = (),
    passed: Callable[[str, int], None] = lambda what, position: None,
) -> Checked:
    """Hold everything that is stored of a studio against its record, the first of each kind.

    `checkpoints` are those kept elsewhere; those kept in the database are added. `passed` is told
    what is looked at and how far it has come.
    """
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection:
        own, unsigned = _own_checkpoints(connection, studio.studio, means.keys)
        held = [*checkpoints, *own]
        record = check_record(
            connection, studio.studio, held, lambda position: passed("record", position)
        )
        clock = check_clock(connection, studio, record.recorded_at_us, means.seal_key)
    findings = [*record.findings, *(one for one in (unsigned, clock) if one is not None)]
    folded = not any(finding.kind in UNFOLDED for finding in findings)
    if folded:
        cold = Studio(studio.studio, engine, lambda: 0)  # without the key, so without snapshots
        for found in (
            check_snapshots(engine, cold, means.seal_key),
            check_trail(
                engine,
                cold,
                means.settings,
                means.processes,
                lambda position: passed("trail", position),
            ),
        ):
            findings += [] if found is None else [found]
    findings.sort(key=lambda finding: finding.position)
    return Checked(record.size, findings, len(held), folded)


def _own_checkpoints(
    connection: Connection, studio: str, keys: Keys | None
) -> tuple[list[Checkpoint], Finding | None]:
    """The checkpoints that are kept of a studio, and the first that none of the own keys signed."""
    query = select(checkpoint.c.size).where(checkpoint.c.studio == studio).distinct()
    sizes = list(connection.execute(query.order_by(checkpoint.c.size)).scalars())
    found, unsigned = [], None
    for size in sizes:
        try:
            kept = [(one, read_checkpoint(one.note.text))
                    for one in read_signed(connection, studio, [size])]  # fmt: skip
        except NoteError as error:
            what = f"the checkpoint of {size} kept here cannot be read: {error}"
            unsigned = unsigned or Finding(Kind.CHECKPOINT, size, what)
            continue
        for signed, own in kept:
            found.append(own)
            if keys is None or unsigned is not None:
                continue
            keys_known = tuple(Key(own.origin, ED25519, one) for one in (keys.public, *keys.past))
            if not signers(signed.note, keys_known):
                what = f"the checkpoint of {size} kept here is signed by none of the keys here"
                unsigned = Finding(Kind.CHECKPOINT, size, what)
    return found, unsigned
