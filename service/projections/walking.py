"""Building the trail: minute by minute of what was recorded, in pieces with checkpoints.

Rows are stored only of minutes that are over, so that building on and building anew group alike.
"""

import math
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import NamedTuple, TypeAlias

from sqlalchemy import Connection, Engine

from service.log.append import Head, read_head
from service.log.read import bodies
from service.planning.board.board import make_board
from service.planning.compare.trail import Breathe, DateMove, TrailEnd, Walk, begin, step
from service.planning.plan.schedule import Schedule, schedule
from service.production.state import EMPTY, State
from service.projections import rows
from service.projections.rows import Checkpoint
from service.studio import Studio
from service.vocabulary.calendar import NEVER
from service.vocabulary.event import Event, read_event
from service.vocabulary.instants import US_PER_MIN

READ_EVENTS = 1000
PIECE_S = 1.0
SKEW_MIN = 2
"""How far a machine's clock may be behind another's that records in the same log."""


Minute: TypeAlias = tuple[int, list[Event]]
"""A minute, and what was recorded in it."""


class Progress(NamedTuple):
    """How far a piece came: the checkpoint, the log's head, and whether nothing is left to do."""

    position: int
    head: int
    done: bool


def over_min(studio: Studio, head: Head) -> int:
    """The first minute that is not over: nothing will be recorded in an earlier one.

    A simulated clock is moved under the log's lock. Real clocks of two machines differ, so a minute
    is over a little later by one of them than by the log.
    """
    recorded_min = head.recorded_at_us // US_PER_MIN
    if head.clock_at_us is not None:
        return max(recorded_min, head.clock_at_us // US_PER_MIN)
    return max(recorded_min, studio.now_us(head) // US_PER_MIN - SKEW_MIN)


StateAt: TypeAlias = Callable[[int], State]
"""The state as it was known at a position, as a history gives it."""


def plan_at(studio: Studio, at: Checkpoint, state_at: StateAt) -> Schedule:
    """The plan of the log's state at a checkpoint, made at its minute."""
    if at.position == 0:
        return schedule(make_board(EMPTY), at.at_min)
    return studio.plans.of(state_at(at.position), at.at_min)


def walk_from(
    studio: Studio, at: Checkpoint, ends: Mapping[str, TrailEnd], state_at: StateAt
) -> Walk:
    """The walk at a checkpoint, its state folded and its plan made."""
    return begin(plan_at(studio, at, state_at), at.position, ends)


def by_minute(events: Sequence[Event]) -> Iterator[Minute]:
    """Events gathered by the minute in which they were recorded."""
    for minute, together in groupby(events, lambda event: event.recorded_us // US_PER_MIN):
        yield minute, list(together)


def minutes_over(
    engine: Engine,
    studio: str,
    after: int,
    until: int,
    bound_min: int = NEVER,
    read_events: int = READ_EVENTS,
) -> Iterator[Minute]:
    """What was recorded behind a position, by whole minutes that are over, read as it is asked for.

    `until` is the log's head or the last position of a minute. Events are read `read_events` at a
    time.
    """
    events: list[Event] = []
    while after < until:
        with engine.connect() as connection:
            stored = bodies(connection, studio, after, until, read_events)
        after = stored[-1][0] if stored else until
        events += [read_event(body) for _, body in stored]
        for minute, recorded in list(by_minute(events)):
            if minute >= bound_min:
                return
            if recorded[-1].position == after < until:
                events = recorded  # it may go on in what is not read yet
            else:
                yield minute, recorded


def walk_on(
    walk: Walk,
    minutes: Iterable[Minute],
    state_at: StateAt,
    ends_s: float = math.inf,
    breathe: Breathe = lambda: None,
) -> tuple[list[DateMove], Walk, bool]:
    """The rows of minutes, the walk behind them, and whether time ran out, which may leave some.

    States are asked for from the walk's position on, each behind the one before.
    """
    moves: list[DateMove] = []
    for now_min, events in minutes:
        moved, walk = step(walk, now_min, events, state_at, breathe)
        moves += moved
        if time.monotonic() > ends_s:
            return moves, walk, True
    return moves, walk, False


class Walker:
    """Builds the trail of one studio; used by one thread at a time, which holds its lock."""

    def __init__(self, studio: Studio, engine: Engine, read_events: int = READ_EVENTS) -> None:
        self._studio = studio
        self._engine = engine
        self._read_events = read_events
        self._walk: Walk | None = None
        # it goes on with the walk, so that behind a strike little is folded again
        self._past = studio.history.apart()

    def piece(
        self, connection: Connection, piece_s: float = PIECE_S, breathe: Breathe = lambda: None
    ) -> Progress:
        """Build on for about that many seconds, and commit rows and checkpoint together.

        Raises MovedOnError if another one builds the same, and faults of the database; what was
        committed before stands.
        """
        name = self._studio.name
        with connection.begin():
            before = rows.read_checkpoint(connection, name)
            if before.rules != rows.RULES:
                rows.clear(connection, name)
                before = rows.NOTHING
            ends = rows.read_ends(connection, name) if self._elsewhere(before) else {}
        with self._engine.connect() as reading:
            head = read_head(reading, name)
        bound_min = over_min(self._studio, head)
        if self._walk is None or self._elsewhere(before):
            self._walk = walk_from(self._studio, before, ends, self._past.at)
        minutes = minutes_over(
            self._engine, name, self._walk.position, head.position, bound_min, self._read_events
        )
        ends_s = time.monotonic() + piece_s
        moves, walk, left = walk_on(self._walk, minutes, self._past.at, ends_s, breathe)
        after = Checkpoint(walk.position, walk.now_min, rows.RULES)
        if after.position > before.position:
            self._walk = None  # until it is committed
            with connection.begin():
                rows.write(connection, name, before, after, moves)
        self._walk = walk
        return Progress(after.position, head.position, not left)

    def _elsewhere(self, at: Checkpoint) -> bool:
        walk = self._walk
        return walk is None or (walk.position, walk.now_min) != (at.position, at.at_min)
