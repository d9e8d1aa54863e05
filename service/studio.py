"""A studio in a worker: its history, the plans made of it, and its time."""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from typing import NamedTuple

from sqlalchemy import Connection, Engine

from service.history import History
from service.kept import USUAL, Keeping
from service.log.append import Head, read_head
from service.log.locking import Locked
from service.planning.board.board import advance
from service.planning.compare.impact import Impact, compare
from service.planning.plan.schedule import Schedule, schedule
from service.plans import Plans
from service.production.state import State
from service.vocabulary.event import Event
from service.vocabulary.instants import US_PER_MIN

KEPT_IMPACTS = 64
WAIT_S_MAX = 2.0
WAIT_STEP_S = 0.02


class NotYetError(Exception):
    """The log has not reached the position that a read asks for."""

    def __init__(self, position: int, head: int) -> None:
        super().__init__(f"the log is at {head}, not yet at {position}")
        self.position = position
        self.head = head


class View(NamedTuple):
    """What is known of a studio at a position, and the studio's time."""

    position: int
    now_us: int
    state: State

    @property
    def now_min(self) -> int:
        """The moment plans are made at: UTC minutes, floored."""
        return self.now_us // US_PER_MIN


class Studio:
    """One studio in this worker; safe to use from several threads.

    `clock_us` is the machine's time, in microseconds since the epoch, which a studio with a
    simulated clock does not ask for.
    """

    def __init__(
        self,
        name: str,
        engine: Engine,
        clock_us: Callable[[], int],
        seal_key: bytes | None = None,
        keeping: Keeping = USUAL,
    ) -> None:
        self.name = name
        self.history = History(name, engine, seal_key, keeping)
        self.plans = Plans()
        self._engine = engine
        self._clock_us = clock_us
        self._lock = threading.Lock()
        self._impacts: OrderedDict[int, Impact] = OrderedDict()

    def view(self, min_position: int = 0, wait_s: float = WAIT_S_MAX) -> View:
        """The state caught up with the log, at `min_position` at least.

        Waits so many seconds for it. Raises NotYetError, and UnknownStudioError.
        """
        deadline = time.monotonic() + wait_s
        while True:
            with self._engine.connect() as connection:
                head = read_head(connection, self.name)
                if head.position >= min_position:
                    return self.caught_up(connection, head)
            if time.monotonic() >= deadline:
                raise NotYetError(min_position, head.position)
            time.sleep(WAIT_STEP_S)

    def now_us(self, head: Head) -> int:
        """The studio's time: its simulated clock, or the real one, never behind the log."""
        if head.clock_at_us is not None:
            return head.clock_at_us
        return max(self._clock_us(), head.recorded_at_us)

    def caught_up(self, connection: Connection, head: Head, locked: Locked | None = None) -> View:
        """The view at a head that this connection can see."""
        reached, state = self.history.caught_up(connection, head, locked)
        return View(reached.position, self.now_us(reached), state)

    def planned(self, view: View) -> Schedule:
        """The plan of a view, made once for a position and minute. Raises PlanError."""
        return self.plans.at_head(view.state, view.position, view.now_min)

    def branched(self, view: View, state: State) -> Schedule:
        """The plan of a state that branches off a view, at the same moment. Raises PlanError."""
        return schedule(advance(self.planned(view).board, state), view.now_min)

    def impact_of(self, event: Event) -> Impact:
        """The impact of a recorded event: the log with it and the log just before it.

        Both plans are made at the event's `recordedat`. The answer never changes, so it is kept.
        """
        impact = self._impacts.get(event.position)
        if impact is None:
            before = self.history.as_known_at(event.position - 1)
            after = self.history.as_known_at(event.position)
            now_min = event.recorded_us // US_PER_MIN
            was = self.plans.of(before, now_min)
            impact = compare(was, schedule(advance(was.board, after), now_min))
            with self._lock:
                self._impacts[event.position] = impact
                while len(self._impacts) > KEPT_IMPACTS:
                    self._impacts.popitem(last=False)
        return impact
