"""Walking stretches of a log side by side, each in a process that knows only the state before it.

Each process takes the next stretch of whole minutes, some 5,000 events, makes state and plan at its
beginning, and takes that plan's dates for those at which the trail stands. Whoever joins the
stretches in order compares them with where the rows before really end, and has a stretch walked
again where they differ.
"""

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from itertools import islice
from multiprocessing.connection import wait
from typing import NamedTuple, TypeAlias

from sqlalchemy import Connection, Engine, select

from service.history import History
from service.log.engine import service_engine
from service.log.schema import event
from service.planning.compare.trail import DateMove, TrailEnd, begin, begin_apart, counted_on
from service.projections.rows import Checkpoint
from service.projections.walking import minutes_over, plan_at, walk_on
from service.settings import Settings
from service.studio import Studio
from service.vocabulary.instants import US_PER_MIN, instant, instant_us

STRETCH_EVENTS = 5000
"""Each begins with a plan of its own, which is little beside the walk over so many events."""


class Stretch(NamedTuple):
    """Whole minutes of a log: what follows a checkpoint, up to another one."""

    after: Checkpoint
    until: Checkpoint


class Walked(NamedTuple):
    """A stretch walked by itself: the dates it went on from, and its rows as yet uncounted."""

    dates: Mapping[str, int | None]
    moves: list[DateMove]


def stretches(
    connection: Connection,
    studio: str,
    after: Checkpoint,
    head: int,
    bound_min: int,
    stretch_events: int = STRETCH_EVENTS,
) -> Iterator[Stretch]:
    """The stretches behind a checkpoint that are over, of `stretch_events` or a few more."""
    recorded = select(event.c.position, event.c.recorded_at).where(event.c.studio == studio)
    while after.position + stretch_events <= head:
        nearly = recorded.where(event.c.position == after.position + stretch_events)
        minute = instant_us(connection.execute(nearly).one().recorded_at) // US_PER_MIN
        if minute >= bound_min:
            return
        behind = (
            recorded.where(event.c.position > after.position + stretch_events)
            .where(event.c.recorded_at >= instant((minute + 1) * US_PER_MIN))
            .order_by(event.c.position)
            .limit(1)
        )
        following = connection.execute(behind).first()
        last = head if following is None else following.position - 1
        until = after._replace(position=last, at_min=minute)
        yield Stretch(after, until)
        after = until


WalkStretch: TypeAlias = Callable[..., Walked]
"""`walk_stretch` without its first argument, which a process of a pool has by itself."""


class Walkers:
    """Processes that walk stretches of one studio's log, each by `walk`."""

    def __init__(self, pool: Executor, ahead: int, walk: WalkStretch) -> None:
        self.pool = pool
        self._ahead = ahead
        self._walk = walk

    def joined(
        self, listed: Iterable[Stretch], ends: Mapping[str, TrailEnd]
    ) -> Iterator[tuple[Stretch, list[DateMove]]]:
        """Each stretch with its rows, in order, as one walk that starts at `ends` has them.

        Raises BrokenExecutor where a process ended, for want of memory say.
        """
        coming: deque[tuple[Stretch, Future[Walked]]] = deque()
        following = iter(listed)
        while True:
            for stretch in islice(following, self._ahead - len(coming)):
                coming.append((stretch, self.pool.submit(self._walk, stretch)))
            if not coming:
                return
            stretch, walking = coming.popleft()
            walked = walking.result()
            dates = {episode: end.date_min for episode, end in ends.items()}
            if walked.dates != dates:
                # an episode whose listings were all struck has a trail, and no scene to see it by
                walked = self.pool.submit(self._walk, stretch, ends).result()
            moves, ends = counted_on(walked.moves, ends)
            yield stretch, moves


@contextmanager
def walkers(
    studio: str, engine: Engine, settings: Settings, processes: int, seal_key: bytes | None = None
) -> Iterator[Walkers]:
    """So many processes, which end with this one; they start from snapshots given the key."""
    url = engine.url.render_as_string(hide_password=False)
    pool = ProcessPoolExecutor(
        processes,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_open,
        initargs=(studio, url, settings, seal_key),
    )
    try:
        yield Walkers(pool, 2 * processes, _walk_here)
    finally:
        pool.shutdown(cancel_futures=True)


class Here(NamedTuple):
    """What a walking process works on; `past` goes on from stretch to stretch."""

    studio: Studio
    engine: Engine
    past: History

    @classmethod
    def of(cls, studio: Studio, engine: Engine) -> "Here":
        """With a fold of its own."""
        return cls(studio, engine, studio.history.apart())


_here: list[Here] = []
"""One in a process of a pool, which can be given it in no other way."""


def _open(name: str, url: str, settings: Settings, seal_key: bytes | None) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who started it ends it
    threading.Thread(target=_end_with_parent, daemon=True).start()
    engine = service_engine(url, settings)
    _here.append(Here.of(Studio(name, engine, lambda: 0, seal_key), engine))


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _walk_here(stretch: Stretch, ends: Mapping[str, TrailEnd] | None = None) -> Walked:
    return walk_stretch(_here[0], stretch, ends)


def walk_stretch(
    here: Here, stretch: Stretch, ends: Mapping[str, TrailEnd] | None = None
) -> Walked:
    """Walk one in this process, from the plan's dates or from where the trail stands."""
    studio, engine, past = here
    after, until = stretch
    planned = plan_at(studio, after, past.at)
    if ends is None:
        walk = begin_apart(planned, after.position)
    else:
        walk = begin(planned, after.position, ends)
    dates = {episode: end.date_min for episode, end in walk.ends.items()}
    minutes = minutes_over(engine, studio.name, after.position, until.position)
    moves, _, _ = walk_on(walk, minutes, past.at)
    return Walked(dates, moves)
