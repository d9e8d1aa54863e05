"""The trail up to this moment: what the stored rows do not have yet, walked for a reader."""

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from sqlalchemy import Connection, Engine

from service.log.append import read_head
from service.log.read import bodies
from service.planning.compare.trail import DateMove, Walk, pass_time, step
from service.projections import rows
from service.projections.rows import Checkpoint
from service.projections.walking import by_minute, over_min, walk_from
from service.studio import Studio, View
from service.vocabulary.event import Event, read_event
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.instants import US_PER_MIN


@dataclass(frozen=True, slots=True)
class WalkLimits:
    """How much of the trail is walked within one request."""

    events_max: int = 500
    """If there are more events, the next request goes on from there."""
    walked_s_max: float = 5.0
    """What takes longer is left to the projector, once its minute is over."""
    walked_share: float = 0.2
    """The part of the time in which readers may have a studio's trail walked in this worker.

    What of it is not used is saved up, to `walked_s_max`: else readers of a busy studio would take
    a thread of the interpreter for good, and everybody else would wait for it."""
    piece_events: int = 50
    """After so many it is looked whether time is left; what was walked up to there is kept."""
    behind_events_max: int = 5000
    """Where more than that wait to be stored, no request walks at all."""


USUAL_LIMITS = WalkLimits()


class BehindError(Exception):
    """The trail is being built: how far it is, and how far the log."""

    def __init__(self, position: int, head: int) -> None:
        super().__init__(f"the trail is built up to {position} of {head}")
        self.position = position
        self.head = head


class Present(NamedTuple):
    """A view of the log, how far rows are stored, and the rows from there to this moment."""

    view: View
    stored: Checkpoint
    moves: list[DateMove]


@dataclass
class _Ahead:
    """A walk that goes on from a checkpoint, and its rows."""

    stored: Checkpoint
    walk: Walk
    moves: list[DateMove] = field(default_factory=list)


class TrailAhead:
    """What the stored rows of one studio do not have yet; safe to use from several threads."""

    def __init__(
        self,
        studio: Studio,
        engine: Engine,
        limits: WalkLimits = USUAL_LIMITS,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._studio = studio
        self._engine = engine
        self._limits = limits
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._ahead: _Ahead | None = None
        self._saved_s, self._saved_at_s = limits.walked_s_max, clock_s()

    def present(self, min_position: int = 0) -> Present:
        """The rows that are not stored yet, at `min_position` at least.

        Raises NotYetError, UnknownStudioError, and BehindError where too much is not stored yet.
        """
        with self._lock, self._engine.connect() as connection:
            stored = rows.read_checkpoint(connection, self._studio.name)
            connection.rollback()
            view = self._studio.view(max(min_position, stored.position))
            self._refuse_far(connection, stored, view)
            ahead = self._from(connection, stored)
            self._walk_on(connection, ahead, view)
            last, _ = pass_time(ahead.walk, max(ahead.walk.now_min, view.now_min))
            return Present(view, stored, [*ahead.moves, *last])

    def _refuse_far(self, connection: Connection, stored: Checkpoint, view: View) -> None:
        """Leave a long way to the projector, unless it may not go it: the minute is not over."""
        if stored.rules != rows.RULES:
            raise BehindError(0, view.position)
        if view.position - stored.position <= self._limits.behind_events_max:
            return
        name = self._studio.name
        ((_, first),) = bodies(connection, name, stored.position, stored.position + 1)
        recorded_min = read_event(first).recorded_us // US_PER_MIN
        if recorded_min < over_min(self._studio, read_head(connection, name)):
            raise BehindError(stored.position, view.position)

    def _from(self, connection: Connection, stored: Checkpoint) -> _Ahead:
        if self._ahead is None or self._ahead.stored != stored:
            # rows of later minutes may have been stored meanwhile: the next reader sees them
            standings = rows.read_standings(connection, self._studio.name)
            if rows.read_checkpoint(connection, self._studio.name) != stored:
                raise BehindError(stored.position, stored.position)
            self._ahead = _Ahead(stored, walk_from(self._studio, stored, standings))
        return self._ahead

    def _walk_on(self, connection: Connection, ahead: _Ahead, view: View) -> None:
        """Walk what was recorded since, a part of it if it is much."""
        after = ahead.walk.position
        if after >= view.position:
            return
        began_s = self._clock_s()
        self._save(began_s)
        until_s = began_s + self._saved_s
        ends_s = began_s + self._limits.walked_s_max

        def in_time() -> None:
            if self._clock_s() > ends_s:
                raise BehindError(ahead.walk.position, view.position)

        most = self._limits.events_max
        stored = bodies(connection, self._studio.name, after, view.position, most)
        connection.rollback()
        try:
            for now_min, events in by_minute([read_event(body) for _, body in stored]):
                for piece in _pieces(events, self._limits.piece_events):
                    if self._clock_s() >= until_s:
                        raise BehindError(ahead.walk.position, view.position)
                    known_at = self._studio.history.as_known_at
                    moves, ahead.walk = step(ahead.walk, now_min, piece, known_at, in_time)
                    ahead.moves += moves
        finally:
            # however long it took: a machine may stand still in the middle of it
            left_s = self._saved_s - (self._clock_s() - began_s)
            self._saved_s = max(left_s, -self._limits.walked_s_max)
        if ahead.walk.position < view.position:
            raise BehindError(ahead.walk.position, view.position)

    def _save(self, now_s: float) -> None:
        """Take what has become free since the last time to what may be walked."""
        free_s = (now_s - self._saved_at_s) * self._limits.walked_share
        self._saved_s = min(self._limits.walked_s_max, self._saved_s + free_s)
        self._saved_at_s = now_s


def _pieces(events: Sequence[Event], most: int) -> Iterator[list[Event]]:
    """Events by so many; strikes that follow each other stay together, since they are one step."""
    piece: list[Event] = []
    for event in events:
        if len(piece) >= most and not (_is_strike(piece[-1]) and _is_strike(event)):
            yield piece
            piece = []
        piece.append(event)
    if piece:
        yield piece


def _is_strike(event: Event) -> bool:
    return isinstance(event.fact, EventStruck)


class Trails:
    """The trails of this worker's studios."""

    def __init__(self, engine: Engine, limits: WalkLimits = USUAL_LIMITS) -> None:
        self._engine = engine
        self._limits = limits
        self._lock = threading.Lock()
        self._ahead: dict[Studio, TrailAhead] = {}

    def of(self, studio: Studio) -> TrailAhead:
        """What is not stored yet of a studio's trail."""
        with self._lock:
            if studio not in self._ahead:
                self._ahead[studio] = TrailAhead(studio, self._engine, self._limits)
            return self._ahead[studio]
