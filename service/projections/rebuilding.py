"""Building a studio's trail anew from its log, with a progress bar."""

import os
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from itertools import chain
from typing import NamedTuple, TypeAlias

from rich import progress as bars
from rich.console import Console
from sqlalchemy import Connection, Engine

from service.log.append import read_head
from service.projections import rows
from service.projections.stretches import STRETCH_EVENTS, Walkers, stretches, walkers
from service.projections.walking import Progress, Walker, over_min
from service.record import Studios
from service.settings import Settings
from service.studio import Studio

STRETCHES_LEAST = 2
"""For fewer a process is not worth its start, which takes some seconds."""
SPEED_OF_S = 60.0
"""The time left is told from the speed of the last minute: later states are larger."""


class Rebuilt(NamedTuple):
    """What was built: rows, up to which position of the log's, and in what time."""

    rows: int
    position: int
    head: int
    took_s: float


StartWalkers: TypeAlias = Callable[..., AbstractContextManager[Walkers]]
"""What `walkers` does: start so many processes that walk stretches of a studio's log."""


class SideBySide(NamedTuple):
    """How a long log is walked: by how many processes, in what stretches, and their start."""

    processes: int
    stretch_events: int
    start: Callable[[int], AbstractContextManager[Walkers]]


def rebuild(
    engine: Engine,
    studio: str,
    settings: Settings,
    console: Console | None = None,
    processes: int | None = None,
    seal_key: bytes | None = None,
    *,
    stretch_events: int = STRETCH_EVENTS,
    start: StartWalkers = walkers,
) -> Rebuilt:
    """Clear a studio's trail and build it again, in pieces that each are committed.

    A long log is walked by several processes, as many as there are cores unless said, in stretches
    of `stretch_events` or a few more. Waits for whoever builds it now. Ended in the middle, the
    rest is built by a service or by another run. With the key of seals it starts from snapshots.
    Raises BrokenExecutor where one of the processes ended by itself.
    """
    began_s = time.monotonic()
    side_by_side = SideBySide(
        processes or cores(),
        stretch_events,
        lambda count: start(studio, engine, settings, count, seal_key),
    )
    with engine.connect() as connection:
        rows.wait_for_lock(connection, studio)
        try:
            with connection.begin():
                rows.clear(connection, studio)
            made = _build(
                engine, connection, Studios(engine, seal_key=seal_key).of(studio).warm,
                side_by_side, console or Console(stderr=True),
            )  # fmt: skip
        except BaseException:
            connection.invalidate()  # the session's lock ends with it
            raise
        rows.unlock(connection, studio)
    return made._replace(took_s=time.monotonic() - began_s)


def cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _build(
    engine: Engine,
    connection: Connection,
    studio: Studio,
    side_by_side: SideBySide,
    console: Console,
) -> Rebuilt:
    done = Progress(0, studio.view().position, done=False)
    with _bar(console) as bar:
        task = bar.add_task("building the trail", total=done.head, rate="")
        for done in chain(
            _in_stretches(engine, connection, studio, side_by_side),
            _to_the_end(engine, connection, studio),
        ):
            speed = bar.tasks[0].speed
            rate = "" if speed is None else f"{speed:,.0f}"
            bar.update(task, completed=done.position, total=done.head, rate=rate)
    with connection.begin():
        ends = rows.read_ends(connection, studio.name)
    count = sum(end.rows for end in ends.values())
    return Rebuilt(count, done.position, done.head, 0.0)


def _in_stretches(
    engine: Engine, connection: Connection, studio: Studio, side_by_side: SideBySide
) -> Iterator[Progress]:
    """Build whole stretches of what is over, if there are enough to be worth the processes."""
    with engine.connect() as reading:
        head = read_head(reading, studio.name)
        bound_min = over_min(studio, head)
        length = side_by_side.stretch_events
        listed = list(
            stretches(reading, studio.name, rows.NOTHING, head.position, bound_min, length)
        )
    processes = min(side_by_side.processes, len(listed) // STRETCHES_LEAST)
    if processes < 2:
        return
    studio.history.snapshots.wait()  # they start from it
    with side_by_side.start(processes) as walking:
        for stretch, moves in walking.joined(listed, {}):
            with connection.begin():
                rows.write(connection, studio.name, stretch.after, stretch.until, moves)
            yield Progress(stretch.until.position, head.position, done=False)


def _to_the_end(engine: Engine, connection: Connection, studio: Studio) -> Iterator[Progress]:
    """Build what is left, from the checkpoint on."""
    walker, done = Walker(studio, engine), False
    while not done:
        progress = walker.piece(connection)
        yield progress
        done = progress.done


def _bar(console: Console) -> bars.Progress:
    return bars.Progress(
        bars.TextColumn("{task.description}"),
        bars.BarColumn(),
        bars.MofNCompleteColumn(),
        bars.TextColumn("{task.fields[rate]} events/s"),
        bars.TimeElapsedColumn(),
        bars.TextColumn("left"),
        bars.TimeRemainingColumn(),
        console=console,
        speed_estimate_period=SPEED_OF_S,
    )
