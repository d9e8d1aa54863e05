"""Threads that keep the trails built; of all threads and processes one at a time builds one.

Nothing wakes them after a commit: rows are stored only of minutes that are over, and readers walk
what is missing by themselves. The threads look every few seconds.
"""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from sqlalchemy import Connection, Engine, select
from sqlalchemy.exc import SQLAlchemyError

from service.log.append import UnknownStudioError, read_head
from service.log.schema import event, head, projection
from service.log.server_programs import EmbeddedServerError
from service.projections import rows
from service.projections.rows import MovedOnError
from service.projections.walking import Walker, over_min
from service.studio import NotYetError, Studio
from service.vocabulary.instants import US_PER_MIN, instant_us


@dataclass(frozen=True, slots=True)
class Pace:
    """How a projector spends its time, in seconds, and with how many threads."""

    poll_s: float = 3.0
    """How often it looks for something to build while there is nothing."""
    piece_s: float = 0.5
    """How long it builds before it commits."""
    rest_s: float = 30.0
    """How long a studio is let alone whose trail could not be built."""
    threads: int = 4
    """How many trails are built side by side: a minute of one may take long."""


USUAL_PACE = Pace()

_log = logging.getLogger("retake_ledger.projections")


class _Ended(BaseException):
    """The process ends: leave the piece, which was not committed."""


class Unbuilt(NamedTuple):
    """A studio with events that its trail lacks, and the minute of the first of them."""

    studio: str
    first_min: int


def unbuilt(connection: Connection) -> list[Unbuilt]:
    """Studios with events that their trail lacks, or whose trail was built by other rules."""
    built = (projection.c.studio == head.c.studio) & (projection.c.name == rows.NAME)
    query = (
        select(head.c.studio, event.c.recorded_at)
        .select_from(head.outerjoin(projection, built))
        .join(event, event.c.studio == head.c.studio)
        .where(
            ((projection.c.rules == rows.RULES) & (event.c.position == projection.c.position + 1))
            | ((projection.c.rules.is_distinct_from(rows.RULES)) & (event.c.position == 1))
        )
        .order_by(head.c.studio)
    )
    found = connection.execute(query)
    return [Unbuilt(name, instant_us(at) // US_PER_MIN) for name, at in found]


class Projector:
    """Builds the trails of all studios."""

    def __init__(
        self, studio_of: Callable[[str], Studio], engine: Engine, pace: Pace = USUAL_PACE
    ) -> None:
        self._studio_of = studio_of
        self._engine = engine
        self._pace = pace
        self._walkers: dict[str, Walker] = {}
        self._rests_until_s: dict[str, float] = {}
        self._lock = threading.Lock()
        self._building: set[str] = set()
        self._begun_s: dict[str, float] = {}
        self._ending = threading.Event()
        self._threads = [
            threading.Thread(target=self._run, name=f"projector-{number}", daemon=True)
            for number in range(pace.threads)
        ]

    def start(self) -> None:
        """Start the threads."""
        for thread in self._threads:
            thread.start()

    def stop(self, within_s: float = 10.0) -> None:
        """End; what is not committed is left to the next one."""
        self._ending.set()
        ends_s = time.monotonic() + within_s
        for thread in self._threads:
            if thread.is_alive():
                thread.join(max(0.0, ends_s - time.monotonic()))

    def _run(self) -> None:
        while not self._ending.is_set():
            worked = False
            try:
                worked = self.build_on()
            except _Ended:
                return
            except (SQLAlchemyError, EmbeddedServerError) as error:
                _log.warning("trails cannot be built for the moment: %s", error)
            except Exception:  # a fault of ours: the thread goes on all the same
                _log.exception("trails cannot be built for the moment")
            if not worked:
                self._ending.wait(self._pace.poll_s)

    def build_on(self) -> bool:
        """Build a piece of one trail that lacks minutes that are over; whether there was one.

        It is the one whose turn was longest ago, of those that no other thread builds.
        """
        with self._engine.connect() as connection:
            found = [one.studio for one in unbuilt(connection) if self._is_due(connection, one)]
        with self._lock:
            # another thread may have built or failed on one of them since it was found
            free = [name for name in found if name not in self._building and not self._rests(name)]
            if not free:
                return False
            name = min(free, key=lambda studio: self._begun_s.get(studio, 0.0))
            self._building.add(name)
            self._begun_s[name] = time.monotonic()
        try:
            if not self._build(name):
                self._rest(name, self._pace.poll_s)
            return True
        finally:
            with self._lock:
                self._building.remove(name)

    def _is_due(self, connection: Connection, found: Unbuilt) -> bool:
        """Whether a studio has a minute that is over, and is not to be let alone as yet."""
        if self._rests(found.studio):
            return False
        head = read_head(connection, found.studio)
        return found.first_min < over_min(self._studio_of(found.studio), head)

    def _rests(self, name: str) -> bool:
        return time.monotonic() < self._rests_until_s.get(name, 0.0)

    def _rest(self, name: str, seconds: float) -> None:
        self._rests_until_s[name] = time.monotonic() + seconds

    def _build(self, name: str) -> bool:
        """Build a piece; False where another process does, or it cannot be had now.

        True as well after a fault of ours, for which the studio is let alone for a while.
        """
        connection = self._engine.connect()
        try:
            if not rows.try_lock(connection, name):
                return False
            if name not in self._walkers:
                self._walkers[name] = Walker(self._studio_of(name), self._engine)
            self._walkers[name].piece(connection, self._pace.piece_s, self._end_if_told)
            rows.unlock(connection, name)
        except BaseException as error:
            # a lock of the session ends with it
            connection.invalidate()
            if isinstance(error, MovedOnError | NotYetError | UnknownStudioError):
                return False
            theirs = isinstance(error, SQLAlchemyError | EmbeddedServerError)
            if theirs or not isinstance(error, Exception):
                raise
            # a fault of ours: the trail of another studio can still be built
            _log.exception("the trail of %s cannot be built", name)
            self._rest(name, self._pace.rest_s)
        finally:
            connection.close()
        return True

    def _end_if_told(self) -> None:
        if self._ending.is_set():
            raise _Ended
