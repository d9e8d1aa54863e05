"""A thread that keeps the trails built; of several processes with one, one at a time builds one.

Nothing wakes it after a commit: rows are stored only of minutes that are over, and readers walk
what is missing by themselves. It looks every few seconds.
"""

import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
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
    """How a projector spends its time, in seconds."""

    poll_s: float = 3.0
    """How often it looks for something to build while there is nothing."""
    piece_s: float = 0.5
    """How long it builds before it commits."""
    rest_s: float = 30.0
    """How long a studio is let alone whose trail could not be built."""
    at_once: int = 4
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
        self._pool = ThreadPoolExecutor(pace.at_once, thread_name_prefix="trail")
        self._building: dict[str, Future[bool]] = {}
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="projector", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, within_s: float = 10.0) -> None:
        """End; what is not committed is left to the next one."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(within_s)

    def _run(self) -> None:
        while not self._ending.is_set():
            worked = False
            try:
                worked = self.build_on()
            except _Ended:
                break
            except (SQLAlchemyError, EmbeddedServerError) as error:
                _log.warning("trails cannot be built for the moment: %s", error)
            if not worked:
                self._ending.wait(self._pace.poll_s)
        self._pool.shutdown()

    def build_on(self) -> bool:
        """Have a piece built of every trail that lacks minutes that are over; whether one is.

        It comes back when the first is built, and within `poll_s`: the others go on meanwhile.
        """
        with self._engine.connect() as connection:
            found = unbuilt(connection)
        for studio, first_min in found:
            rests = time.monotonic() < self._rests_until_s.get(studio, 0)
            if studio not in self._building and not rests:
                self._building[studio] = self._pool.submit(self._build, studio, first_min)
        wait(self._building.values(), self._pace.poll_s, FIRST_COMPLETED)
        ended = [self._building.pop(name) for name, one in [*self._building.items()] if one.done()]
        worked = [one.result() for one in ended]
        return any(worked) if ended else bool(self._building)

    def _build(self, name: str, first_min: int) -> bool:
        studio = self._studio_of(name)
        connection = self._engine.connect()
        try:
            if first_min >= over_min(studio, read_head(connection, name)):
                return False
            connection.rollback()
            if not rows.try_lock(connection, name):
                return False
            walker = self._walkers.setdefault(name, Walker(studio, self._engine))
            walker.piece(connection, self._pace.piece_s, self._end_if_told)
            rows.unlock(connection, name)
        except BaseException as error:
            # a lock of the session ends with it
            connection.invalidate()
            if isinstance(error, MovedOnError | NotYetError | UnknownStudioError):
                return False
            if not isinstance(error, Exception) or isinstance(error, SQLAlchemyError):
                raise
            # a fault of ours: the trail of another studio can still be built
            _log.exception("the trail of %s cannot be built", name)
            self._rests_until_s[name] = time.monotonic() + self._pace.rest_s
            return False
        finally:
            connection.close()
        return True

    def _end_if_told(self) -> None:
        if self._ending.is_set():
            raise _Ended
