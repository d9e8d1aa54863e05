"""Building a studio's trail anew from its log, with a progress bar."""

import time
from typing import NamedTuple

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from sqlalchemy import Connection, Engine

from service.projections import rows
from service.projections.walking import Walker
from service.record import Studios

SPEED_OF_S = 60.0
"""The time left is told from the speed of the last minute: later states are larger."""


class Rebuilt(NamedTuple):
    """What was built: rows, up to which position of the log's, and in what time."""

    rows: int
    position: int
    head: int
    took_s: float


def rebuild(engine: Engine, studio: str, console: Console | None = None) -> Rebuilt:
    """Clear a studio's trail and build it again, in pieces that each are committed.

    Waits for whoever builds it now. Ended in the middle, the rest is built by a service or by
    another run.
    """
    began_s = time.monotonic()
    with engine.connect() as connection:
        rows.wait_for_lock(connection, studio)
        try:
            with connection.begin():
                rows.clear(connection, studio)
            made = _build(engine, connection, studio, console or Console(stderr=True))
        except BaseException:
            connection.invalidate()  # the session's lock ends with it
            raise
        rows.unlock(connection, studio)
    return made._replace(took_s=time.monotonic() - began_s)


def _build(engine: Engine, connection: Connection, studio: str, console: Console) -> Rebuilt:
    warm = Studios(engine).of(studio).warm
    walker = Walker(warm, engine)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]} events/s"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
        console=console,
        speed_estimate_period=SPEED_OF_S,
    ) as progress:
        task = progress.add_task("building the trail", total=warm.view().position, rate="")
        while True:
            done = walker.piece(connection)
            speed = progress.tasks[0].speed
            progress.update(
                task,
                completed=done.position,
                total=done.head,
                rate="" if speed is None else f"{speed:,.0f}",
            )
            if done.done:
                break
    count = sum(standing.rows for standing in walker.standings.values())
    return Rebuilt(count, done.position, done.head, 0.0)
