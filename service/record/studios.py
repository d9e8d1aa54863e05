"""The studios of a worker: each with its warm state and its write path."""

import threading
import time
from collections.abc import Callable

from sqlalchemy import Engine

from service.kept import USUAL, Keeping
from service.record.recorder import Recorder
from service.studio import WAIT_S_MAX, Studio, View


class OpenStudio:
    """One studio in this worker: its warm state and its write path."""

    def __init__(
        self,
        name: str,
        engine: Engine,
        clock_us: Callable[[], int],
        seal_key: bytes | None = None,
        keeping: Keeping = USUAL,
    ) -> None:
        self.warm = Studio(name, engine, clock_us, seal_key, keeping)
        self.recorder = Recorder(self.warm, engine)

    def view(self, min_position: int = 0, wait_s: float = WAIT_S_MAX) -> View:
        """Its state, caught up to a position at least. Raises NotYetError after so long."""
        return self.warm.view(min_position, wait_s)


def real_clock_us() -> int:
    """The machine's clock, microseconds since the epoch."""
    return time.time_ns() // 1000


class Studios:
    """The studios of this worker, opened when first asked for.

    Without the key of seals they neither use snapshots nor write any.
    """

    def __init__(
        self,
        engine: Engine,
        clock_us: Callable[[], int] = real_clock_us,
        seal_key: bytes | None = None,
        keeping: Keeping = USUAL,
    ) -> None:
        self._engine = engine
        self._seal_key = seal_key
        self._keeping = keeping
        self._clock_us = clock_us
        self._open: dict[str, OpenStudio] = {}
        self._lock = threading.Lock()

    def of(self, name: str) -> OpenStudio:
        """The studio of that name; that it exists is found out when it is read."""
        with self._lock:
            found = self._open.get(name)
            if found is None:
                found = self._open[name] = OpenStudio(
                    name, self._engine, self._clock_us, self._seal_key, self._keeping
                )
            return found

    def unplanned(self) -> int:
        """Of how many studios no plan could be made when one was last asked for."""
        with self._lock:
            return sum(studio.warm.plans.fault is not None for studio in self._open.values())
