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
    """How much of the trails is walked for readers."""

    events_max: int = 500
    """Within one request; if there are more events, the next request goes on from there."""
    walked_s_max: float = 5.0
    """Within one request. A piece that takes longer is given up, and left to the projector.

    Of the share of time below, as much is saved up at most, or owed."""
    walked_share: float = 0.2
    """The part of the time in which a worker may walk the trail of a studio for readers.

    Else those of a busy studio would take the interpreter for good, and everybody else would wait
    for it."""
    piece_events: int = 50
    """After so many it is looked whether time is left; what was walked up to there is kept."""
    behind_events_max: int = 5000
    """Where more than that wait to be stored, no request walks at all."""


USUAL_LIMITS = WalkLimits()
RETRY_S = 2.0


class BehindError(Exception):
    """The trail is being built: how far it is, how far the log, and when to ask again."""

    def __init__(self, position: int, head: int, retry_s: float = RETRY_S) -> None:
        super().__init__(f"the trail is built up to {position} of {head}")
        self.position = position
        self.head = head
        self.retry_s = retry_s


class Present(NamedTuple):
    """A view of the log, how far rows are stored, and the rows from there to this moment."""

    view: View
    stored: Checkpoint
    moves: list[DateMove]


class ReaderTime:
    """How long a studio's trail may still be walked for readers in this worker.

    It grows as time passes, by `walked_share` of that, and shrinks by what is used. Each studio has
    its own, so that readers of one keep nobody from another's trail.
    """

    def __init__(self, limits: WalkLimits, clock_s: Callable[[], float]) -> None:
        self._limits = limits
        self._clock_s = clock_s
        self._left_s, self._grown_at_s = limits.walked_s_max, clock_s()

    def left_s(self) -> float:
        """How long it may be; what was used before it was there is a negative number."""
        now_s = self._clock_s()
        grown_s = (now_s - self._grown_at_s) * self._limits.walked_share
        self._left_s = min(self._limits.walked_s_max, self._left_s + grown_s)
        self._grown_at_s = now_s
        return self._left_s

    def use(self, used_s: float) -> None:
        """Take off what was used, however long: a machine may stand still in the middle of it."""
        self._left_s = max(self._left_s - used_s, -self._limits.walked_s_max)


@dataclass
class _Ahead:
    """A walk that goes on from a checkpoint, and its rows.

    `passed` are rows of the time alone that passes from there to a minute; `passed_at` says from
    which position and to which minute.
    """

    stored: Checkpoint
    walk: Walk
    moves: list[DateMove] = field(default_factory=list)
    passed_at: tuple[int, int] | None = None
    passed: list[DateMove] = field(default_factory=list)


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
        self._time = ReaderTime(limits, clock_s)
        self._lock = threading.Lock()
        self._ahead: _Ahead | None = None

    def present(self, min_position: int = 0) -> Present:
        """The rows that are not stored yet, at `min_position` at least.

        Raises NotYetError, UnknownStudioError, and BehindError where too much is not stored yet or
        readers have used up their time.
        """
        with self._lock, self._engine.connect() as connection:
            stored = rows.read_checkpoint(connection, self._studio.name)
            connection.rollback()
            view = self._studio.view(max(min_position, stored.position))
            ahead = self._ahead
            if ahead is None or ahead.stored != stored or not _is_at(ahead, view):
                self._refuse_far(connection, stored, view)
                ahead = self._walked(connection, stored, view)
            return Present(view, stored, [*ahead.moves, *ahead.passed])

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

    def _walked(self, connection: Connection, stored: Checkpoint, view: View) -> _Ahead:
        """A walk to the view, as far as there is time for it."""
        left_s = self._time.left_s()
        if left_s <= 0:
            known = self._ahead
            so_far = stored if known is None or known.stored != stored else known.walk
            raise BehindError(so_far.position, view.position, -left_s / self._limits.walked_share)
        began_s = self._clock_s()
        try:
            ahead = self._from(connection, stored)
            self._walk_on(connection, ahead, view, began_s + left_s)
            _pass_time(ahead, view)
        finally:
            self._time.use(self._clock_s() - began_s)
        return ahead

    def _from(self, connection: Connection, stored: Checkpoint) -> _Ahead:
        if self._ahead is None or self._ahead.stored != stored:
            # rows of later minutes may have been stored meanwhile: the next reader sees them
            ends = rows.read_ends(connection, self._studio.name)
            if rows.read_checkpoint(connection, self._studio.name) != stored:
                raise BehindError(stored.position, stored.position)
            known_at = self._studio.history.as_known_at
            self._ahead = _Ahead(stored, walk_from(self._studio, stored, ends, known_at))
        return self._ahead

    def _walk_on(self, connection: Connection, ahead: _Ahead, view: View, until_s: float) -> None:
        """Walk what was recorded since: a piece at least, and more as long as there is time."""
        after = ahead.walk.position
        if after >= view.position:
            return
        recorded = self._recorded(connection, after, view.position)
        connection.rollback()
        ends_s = self._clock_s() + self._limits.walked_s_max

        def in_time() -> None:
            if self._clock_s() > ends_s:
                raise BehindError(ahead.walk.position, view.position)

        for now_min, events in by_minute(recorded):
            for piece in _pieces(events, self._limits.piece_events):
                if ahead.walk.position > after and self._clock_s() >= until_s:
                    raise BehindError(ahead.walk.position, view.position)
                known_at = self._studio.history.as_known_at
                moves, ahead.walk = step(ahead.walk, now_min, piece, known_at, in_time)
                ahead.moves += moves
        if ahead.walk.position < view.position:
            raise BehindError(ahead.walk.position, view.position)

    def _recorded(self, connection: Connection, after: int, until: int) -> list[Event]:
        """`events_max` events behind a position, or more where those would end with a strike.

        It may be one of a batch, and between two of those the state is none that anybody knew.
        Raises BehindError where there is no end of strikes.
        """
        events: list[Event] = []
        last = after
        while not events or (last < until and _is_strike(events[-1])):
            if len(events) > self._limits.behind_events_max:
                raise BehindError(after, until)
            stored = bodies(connection, self._studio.name, last, until, self._limits.events_max)
            events += [read_event(body) for _, body in stored]
            last = events[-1].position
        return events


def _is_at(ahead: _Ahead, view: View) -> bool:
    return ahead.walk.position >= view.position and ahead.passed_at == _passes(ahead, view)


def _passes(ahead: _Ahead, view: View) -> tuple[int, int]:
    return ahead.walk.position, max(ahead.walk.now_min, view.now_min)


def _pass_time(ahead: _Ahead, view: View) -> None:
    """Have time alone pass from the walk to the view's minute.

    The walk stays where it is: how its rows are grouped must not depend on when readers ask.
    """
    passes = _passes(ahead, view)
    ahead.passed, _ = pass_time(ahead.walk, passes[1])
    ahead.passed_at = passes


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
