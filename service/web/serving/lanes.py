"""Threads for requests, in lanes: costly requests wait for one another alone."""

import asyncio
from collections import Counter, OrderedDict, deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

from service.web.serving.limits import Limits

_Result = TypeVar("_Result")

TOO_LONG = (
    "This took too long, and what became of it is not known yet. Send it again after a while: "
    "what was recorded is recognised, and recorded once."
)
NOT_READY = "The database has not answered in time: see the service's own log."


_READY_THREADS = 1


def costly_threads(threads: int) -> int:
    """How many threads answer costly requests beside so many for the usual ones."""
    return max(1, threads // 4)


def threads_at_the_database(threads: int) -> int:
    """How many threads may ask the database at a time, with so many for usual requests."""
    return threads + costly_threads(threads) + _READY_THREADS


class LaneFullError(RuntimeError):
    """More requests wait for a thread of the lane than may."""


class Lane:
    """Some threads, and a bounded number of requests that wait for one; of one event loop.

    A request is answered within `answer_s`, and else told `too_long`. Clients take turns: of those
    that wait, each has one request answered before any has its next, so that whoever sends many
    waits for them alone. Half the waiting places are one client's at most, and where there are
    four threads or more, three quarters of them.
    """

    def __init__(self, name: str, threads: int, waiting_max: int, answer_s: float,
                 too_long: str = TOO_LONG) -> None:  # fmt: skip
        self.threads = threads
        self.answer_s = answer_s
        self.too_long = too_long
        self._executor = ThreadPoolExecutor(threads, thread_name_prefix=name)
        self._waiting_max = waiting_max
        self._waiting: OrderedDict[bytes, deque[asyncio.Future[None]]] = OrderedDict()
        self._waiting_in_all = 0
        self._running: Counter[bytes] = Counter()
        self._share = threads - threads // 4

    async def run(self, call: Callable[[], _Result], client: bytes = b"") -> _Result:
        """The result of a call made on a thread, for a client by what it shows.

        Raises `LaneFullError` where too many wait.
        """
        await self._turn(client)
        future = asyncio.get_running_loop().run_in_executor(self._executor, call)
        future.add_done_callback(lambda _: self._pass_on(client))
        return await future

    async def run_on(self, call: Callable[[], _Result]) -> _Result:
        """The same of what belongs to a request that was let in before."""
        return await asyncio.get_running_loop().run_in_executor(self._executor, call)

    async def _turn(self, client: bytes) -> None:
        """Wait until it is this client's turn, and a thread is free."""
        if self._may_begin(client):
            self._running[client] += 1
            return
        own = self._waiting.get(client, ())
        if self._waiting_in_all >= self._waiting_max or len(own) > self._waiting_max // 2:
            raise LaneFullError
        turn: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._waiting.setdefault(client, deque()).append(turn)
        self._waiting_in_all += 1
        try:
            await turn
        except asyncio.CancelledError:
            if not turn.cancelled():
                self._pass_on(client)  # it had come meanwhile
            raise

    def _may_begin(self, client: bytes) -> bool:
        return self._running.total() < self.threads and self._running[client] < self._share

    def _pass_on(self, ended: bytes) -> None:
        """Give the thread of a call that has ended to the next client that may have one."""
        self._running[ended] -= 1
        self._running += Counter()  # drops those at zero
        for client in [*self._waiting]:
            turns = self._waiting[client]
            while turns and self._may_begin(client):
                self._waiting_in_all -= 1
                turn = turns.popleft()
                if not turn.done():
                    self._running[client] += 1
                    turn.set_result(None)
                    self._waiting.move_to_end(client)
                    break
            if not turns:
                del self._waiting[client]

    def stop(self) -> None:
        """Begin nothing more; what runs is left to end."""
        self._executor.shutdown(wait=False, cancel_futures=True)


class Lanes(NamedTuple):
    """The lanes of a worker.

    `probe` is for what tells how the service does without asking the database, `ready` for what
    asks whether that answers, and so may wait; `costly` for routes that say of themselves that
    they are, `usual` for posts and all else.
    """

    usual: Lane
    costly: Lane
    probe: Lane
    ready: Lane

    @classmethod
    def of(cls, threads: int, limits: Limits) -> "Lanes":
        """Lanes with so many threads for the usual requests, and a quarter of that for costly."""
        waiting_max, answer_s = limits.waiting_max, limits.answer_s
        return cls(
            Lane("usual", threads, waiting_max, answer_s),
            Lane("costly", costly_threads(threads), waiting_max, answer_s),
            Lane("probe", 1, waiting_max, answer_s),
            Lane("ready", _READY_THREADS, waiting_max, limits.ready_s, NOT_READY),
        )

    def stop(self) -> None:
        """Begin nothing more on any."""
        for lane in self:
            lane.stop()
