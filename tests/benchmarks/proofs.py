"""What the tree costs: appending with and without it in pairs, proofs, and looking through."""

import statistics
import tempfile
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from random import Random

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine

from service.feeds.exports import CHECKPOINT, export
from service.intake.exported import read_record, read_signed_checkpoint
from service.log.append import Row, append_rows, lock_head
from service.log.studios import make_studio
from service.log.tree import read_proof, read_root
from service.proofs.examining import examine
from service.proofs.paths import consistency, inclusion
from service.proofs.tree import HASH_BYTES, append, leaf_hash
from tests.benchmarks.figures import Figure, Size, no_collector, took_s
from tests.benchmarks.replay import database

EVENTS = 1_000_000
AT_ONCE = 500
BODY_BYTES = 600
PROOFS = 200
START_US = 1_900_000_000_000_000
WITH, WITHOUT = "with-tree", "without-tree"
BEHIND = "z"
"""The last studio's rows go to the end of every index, which is cheaper: neither may be it."""


def measure(size: Size) -> list[Figure]:
    """Rates in events a second, waits in milliseconds."""
    count = size.of(EVENTS, AT_ONCE)
    with database() as (engine, _):
        with engine.begin() as connection:
            for studio in (WITH, WITHOUT, BEHIND):
                make_studio(connection, studio, "simulated", START_US)
        append_batch(engine, BEHIND, 1, tree=True)
        with no_collector():
            with_s, without_s = appended_s(engine, count)
            inclusion_ms, consistency_ms = proofs_ms(engine, count)
            export_s, verify_s = looked_through_s(engine)
    return [
        Figure("appended with the tree", count / with_s, "events/s", without_s / with_s,
               "without it, batch by batch in turn"),
        Figure("inclusion proof, median", statistics.median(inclusion_ms), "ms"),
        Figure("inclusion proof, longest", max(inclusion_ms), "ms"),
        Figure("consistency proof, median", statistics.median(consistency_ms), "ms"),
        Figure("exported", count / export_s, "events/s"),
        Figure("export verified", count / verify_s, "events/s", export_s / verify_s, "its export"),
    ]  # fmt: skip


def rows(
    first: int, tree: bool, frontier: tuple[bytes, ...]
) -> tuple[list[Row], tuple[bytes, ...]]:
    """Rows of events of the usual length, and the frontier behind them."""
    made = []
    for position in range(first, first + AT_ONCE):
        body = f'{{"position":{position},"said":"{"x" * BODY_BYTES}"}}'.encode()
        if tree:
            nodes, frontier = append(frontier, position - 1, leaf_hash(body))
        else:
            nodes = bytes(HASH_BYTES)
        at_us = START_US + position
        made.append(
            Row(
                position=position,
                source="/desks/layout",
                id=f"event-{position}",
                type="hand-off.made",
                subject="OWL-101/42",
                department="layout",
                time_at_us=at_us,
                recorded_at_us=at_us,
                poster="layout",
                content_hash=bytes(HASH_BYTES),
                body=body,
                nodes=nodes,
                salt=None,
                personal=None,
            )
        )
    return made, frontier


def append_batch(engine: Engine, studio: str, first: int, *, tree: bool) -> None:
    """Append rows from a position on, in a transaction of their own."""
    with engine.begin() as connection:
        head = lock_head(connection, studio)
        made, frontier = rows(first, tree, head.frontier)
        after = head._replace(
            position=first + AT_ONCE - 1,
            recorded_at_us=made[-1].recorded_at_us,
            frontier=frontier,
        )
        append_rows(connection, studio, made, after)


def appended_s(engine: Engine, count: int) -> tuple[float, float]:
    """Seconds that so many events took with the tree, and without it."""
    took = {WITH: 0.0, WITHOUT: 0.0}
    for first in range(1, count + 1, AT_ONCE):
        for studio in (WITH, WITHOUT) if first % (2 * AT_ONCE) == 1 else (WITHOUT, WITH):
            one = partial(append_batch, engine, studio, first, tree=studio == WITH)
            took[studio] += took_s(one)
    return took[WITH], took[WITHOUT]


def proofs_ms(engine: Engine, count: int) -> tuple[list[float], list[float]]:
    """Milliseconds of proofs of events, and of sizes, at random."""
    random = Random(9162)
    drawn = [random.randrange(count) for _ in range(PROOFS)]
    with engine.connect() as connection:

        def prove_inclusion(leaf: int) -> None:
            read_proof(connection, WITH, inclusion(leaf, count))
            read_root(connection, WITH, count)

        def prove_consistency(old: int) -> None:
            read_proof(connection, WITH, consistency(old + 1, count))
            read_root(connection, WITH, old + 1)
            read_root(connection, WITH, count)

        return (
            [1000 * took_s(partial(prove_inclusion, leaf)) for leaf in drawn],
            [1000 * took_s(partial(prove_consistency, old)) for old in drawn],
        )


def looked_through_s(engine: Engine) -> tuple[float, float]:
    """Seconds of an export, and of looking through it against its checkpoint."""
    secret = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))

    def write(folder: Path) -> Iterator[tuple[int, int]]:
        return export(engine, WITH, folder, "owl.example/with", secret, personal=False)

    with tempfile.TemporaryDirectory(prefix="rl-") as name:
        folder = Path(name) / "out"
        export_s = took_s(lambda: list(write(folder)))
        began = time.perf_counter()
        checkpoint = read_signed_checkpoint(folder / CHECKPOINT, ())
        examined = examine(read_record(folder), [checkpoint])
        verify_s = time.perf_counter() - began
    if examined.difference is not None:
        raise AssertionError(examined.difference)
    return export_s, verify_s
