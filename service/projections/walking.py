"""Building the trail: minute by minute of what was recorded, in pieces with checkpoints.

Rows are stored only of minutes that are over, so that building on and building anew group alike.
"""

import time
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import NamedTuple

from sqlalchemy import Connection, Engine

from service.log.append import Head, read_head
from service.log.read import bodies
from service.planning.board import make_board
from service.planning.schedule import schedule
from service.planning.trail import Breathe, Move, Standing, Walk, begin, step
from service.production.state import EMPTY, State
from service.projections import rows
from service.projections.rows import Checkpoint
from service.studio import Studio
from service.vocabulary.event import Event, read_event
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.instants import US_PER_MIN

READ_EVENTS = 1000
PIECE_S = 1.0
SKEW_MIN = 2
"""How far a machine's clock may be behind another's that records in the same log."""


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


def walk_from(studio: Studio, at: Checkpoint, standings: Mapping[str, Standing]) -> Walk:
    """The walk at a checkpoint, its state folded and its plan made."""
    if at.position == 0:
        return begin(schedule(make_board(EMPTY), at.at_min), 0, standings)
    state = studio.as_known_at(at.position)
    return begin(studio.planned_then(state, at.at_min), at.position, standings)


def by_minute(events: Sequence[Event]) -> Iterator[tuple[int, list[Event]]]:
    """Events gathered by the minute in which they were recorded."""
    for minute, told in groupby(events, lambda event: event.recorded_us // US_PER_MIN):
        yield minute, list(told)


def states_after_strikes(studio: Studio, events: Sequence[Event]) -> dict[int, State]:
    """By position of each strike among events, what was known right after it."""
    strikes = [event.position for event in events if isinstance(event.fact, EventStruck)]
    return {position: studio.as_known_at(position) for position in strikes}


class Walker:
    """Builds the trail of one studio; used by one thread, which holds the studio's lock."""

    def __init__(self, studio: Studio, engine: Engine) -> None:
        self._studio = studio
        self._engine = engine
        self._walk: Walk | None = None

    @property
    def standings(self) -> Mapping[str, Standing]:
        """Where the rows leave each episode, as far as they were built here."""
        return {} if self._walk is None else self._walk.standings

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
            standings = rows.read_standings(connection, name) if self._elsewhere(before) else {}
        with self._engine.connect() as reading:
            head = read_head(reading, name)
        self._studio.view(head.position)  # strikes are known up to there
        bound_min = over_min(self._studio, head)
        if self._walk is None or self._elsewhere(before):
            self._walk = walk_from(self._studio, before, standings)
        moves, walk, left = self._walked(self._walk, head.position, bound_min, piece_s, breathe)
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

    def _walked(
        self, walk: Walk, until: int, bound_min: int, piece_s: float, breathe: Breathe
    ) -> tuple[list[Move], Walk, bool]:
        """Rows of the next minutes that are over, the walk behind them, and whether more are."""
        ends_s = time.monotonic() + piece_s
        moves: list[Move] = []
        while walk.position < until:
            minutes, more = self._next_minutes(walk.position, until, bound_min)
            for now_min, events in minutes:
                after_strike = states_after_strikes(self._studio, events)
                told, walk = step(walk, now_min, events, after_strike, breathe)
                moves += told
                if time.monotonic() > ends_s:
                    return moves, walk, True
            if not more:
                break
        return moves, walk, False

    def _next_minutes(
        self, after: int, until: int, bound_min: int
    ) -> tuple[list[tuple[int, list[Event]]], bool]:
        """Whole minutes that are over, behind a position, and whether there may be more."""
        events: list[Event] = []
        with self._engine.connect() as connection:
            while True:
                last = events[-1].position if events else after
                told = bodies(connection, self._studio.name, last, until, READ_EVENTS)
                events += [read_event(body) for _, body in told]
                minutes = list(by_minute(events))
                at_end = not told or told[-1][0] >= until
                if at_end or len(minutes) > 1 or minutes[0][0] >= bound_min:
                    break
        whole = minutes if at_end else minutes[:-1]
        over = [minute for minute in whole if minute[0] < bound_min]
        return over, bool(over) and not at_end and len(over) == len(whole)
