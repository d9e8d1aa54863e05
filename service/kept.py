"""The states a worker keeps of those it passed through, and the snapshots it starts from.

A kept state at a position is the fold of what stands up to there, by every strike known since. An
old state, or the state without an event, is then folded from the nearest one.
"""

import logging
import threading
from bisect import insort
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import msgspec
from sqlalchemy import Connection, Engine
from sqlalchemy.exc import SQLAlchemyError

from service.log.server_programs import EmbeddedServerError
from service.log.snapshots import latest_snapshot, write_snapshot
from service.production.snapshot import Thawed, freeze, thaw
from service.production.state import EMPTY, State


@dataclass(frozen=True, slots=True)
class Keeping:
    """How much of a studio's past a worker keeps, counted in events but for `states_most`.

    States are kept `every` so many, or `far_every` while the head is far; each that is old shares
    little with the others, so that their number is what bounds a worker's memory, however long it
    runs. Folding what lies between two snapshots takes a fraction of a second. `read_at_once` are
    folded while the next are read.
    """

    every: int = 512
    far_every: int = 8192
    states_most: int = 32
    snapshot_every: int = 20_000
    read_at_once: int = 5000


USUAL = Keeping()

_log = logging.getLogger("retake_ledger.snapshots")


class KeptStates:
    """Kept states of one studio, the farther behind the head the fewer; the caller holds its lock.

    Without the key of seals no snapshot is used.
    """

    def __init__(self, name: str, seal_key: bytes | None = None, keeping: Keeping = USUAL) -> None:
        self._name = name
        self._seal_key = seal_key
        self._keeping = keeping
        self._kept: list[tuple[int, State]] = [(0, EMPTY)]

    def passed(self, position: int, state: State) -> None:
        """The worker's state is at a position now: keep it if it is far enough from the last."""
        if position - self._kept[-1][0] >= self._keeping.every:
            self._kept.append((position, state))
            self._thin_out()

    def keep(self, position: int, state: State) -> None:
        """Keep a state, wherever its position lies among the others."""
        insort(self._kept, (position, state), key=lambda kept: kept[0])
        self._thin_out()

    def forget_from(self, position: int) -> None:
        """An event at a position was struck: what was folded from it on does not hold any more."""
        self._kept = [kept for kept in self._kept if kept[0] < position]

    def before(
        self, connection: Connection, position: int, struck: Mapping[int, int]
    ) -> tuple[int, State]:
        """The last kept state before a position, or a snapshot where that is much nearer.

        `struck` are the events struck so far, with the positions of their strikes.
        """
        found = self.nearest(position)
        nearer = self.nearer_snapshot(connection, position, found[0], struck)
        if nearer is None:
            return found
        self.keep(*nearer)
        return nearer

    def nearest(self, position: int) -> tuple[int, State]:
        """The last kept state before a position, and where it is."""
        return next(kept for kept in reversed(self._kept) if kept[0] < position)

    def nearer_snapshot(
        self, connection: Connection, position: int, than: int, struck: Mapping[int, int]
    ) -> tuple[int, State] | None:
        """A snapshot before a position that is much nearer than `than`; None without one.

        Nothing is kept of it, and the studio's lock is not needed: it may take a second.
        """
        until = position - 1
        while until - than >= self._keeping.snapshot_every:
            snapshot = load(connection, self._name, until, self._seal_key)
            if snapshot is None or snapshot[0] <= than:
                return None
            at, thawed = snapshot
            # an event in it that was struck since must not come back with it
            undone = [event_at for event_at, by in struck.items() if event_at <= at < by]
            if not undone:
                return at, thawed.state
            until = min(undone) - 1
        return None

    def _thin_out(self) -> None:
        """Drop the state that is missed least.

        To have it again costs the fold from the one before it. Whoever goes back so far folds all
        that follows anew, so that a gap counts as its part of the way to the head.
        """
        while len(self._kept) > self._keeping.states_most:
            at = [position for position, _ in self._kept]
            parts = [
                (after - before) / (at[-1] - before)
                for before, after in zip(at[:-2], at[2:], strict=True)
            ]
            del self._kept[1 + parts.index(min(parts))]


def load(
    connection: Connection, studio: str, until: int, seal_key: bytes | None
) -> tuple[int, Thawed] | None:
    """Position and content of the last snapshot at or before a position; None without one.

    Without the key of seals nobody can tell whether the service wrote it, so there is none.
    One that cannot be read is passed over: the log is folded from the one before it, or from
    nothing.
    """
    if seal_key is None:
        return None
    while (snapshot := latest_snapshot(connection, studio, until, seal_key)) is not None:
        try:
            return snapshot.position, thaw(snapshot.parts)
        except msgspec.MsgspecError as error:
            _log.warning("snapshot of %s at %d passed over: %s", studio, snapshot.position, error)
            until = snapshot.position - 1
    return None


class Snapshots:
    """Writes a studio's snapshots beside the worker's own work, one at a time.

    One that cannot be written is told in the log and done without: the next is due soon enough.
    Without the key of seals none is written.
    """

    def __init__(
        self,
        name: str,
        engine: Engine,
        seal_key: bytes | None,
        every: int = USUAL.snapshot_every,
        write: Callable[..., bool] = write_snapshot,
    ) -> None:
        self._name = name
        self._engine = engine
        self._seal_key = seal_key
        self._every = every
        self._write_snapshot = write
        self._last = 0
        self._writing: threading.Thread | None = None

    def started_at(self, position: int) -> None:
        """The worker started from a snapshot at a position."""
        self._last = position

    def passed(self, position: int, state: State, struck: Mapping[int, int]) -> None:
        """The worker's state is at a position now: write a snapshot of it if one is due."""
        if self._seal_key is None or position - self._last < self._every:
            return
        if self._writing and self._writing.is_alive():
            return
        self._last = position
        writing = threading.Thread(
            target=self._write, args=(position, state, dict(struck), self._seal_key), daemon=True
        )
        try:
            writing.start()
        except RuntimeError as error:  # there are too many threads, or the worker is going down
            self._tell(position, error)
        else:
            self._writing = writing

    def wait(self) -> None:
        """Wait until no snapshot is being written."""
        if self._writing is not None:
            self._writing.join()

    def _write(self, position: int, state: State, struck: dict[int, int], seal_key: bytes) -> None:
        parts = freeze(state, struck)
        try:
            with self._engine.connect() as connection:
                large = True
                try:
                    with connection.begin():
                        large = self._write_snapshot(
                            connection, self._name, position, parts, self._every, seal_key
                        )
                finally:
                    if large:  # the connection would keep room for that statement
                        connection.invalidate()
        except (SQLAlchemyError, EmbeddedServerError) as error:
            self._tell(position, error)

    def _tell(self, position: int, error: Exception) -> None:
        _log.warning("snapshot of %s at %d not written: %s", self._name, position, error)
