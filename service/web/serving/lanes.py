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


_READY_THREADS = _TOKENS_THREADS = 1


def costly_threads(threads: int) -> int:
    """How many threads answer costly requests beside so many for the usual ones."""
    return max(1, threads // 4)


def threads_at_the_database(threads: int) -> int:
    """How many threads may ask the database at a time, with so many for usual requests."""
    return threads + costly_threads(threads) + _READY_THREADS + _TOKENS_THREADS


class LaneFullError(RuntimeError):
    """More requests wait for a thread of the lane than may."""


class Client(NamedTuple):
    """Whose request it is.

    `group` is the studio whose clients share a lane with those of others, or an address where the
    studio is not known; `shown` tells the clients of a group apart.
    """

    group: str
    shown: str


NOBODY = Client("", "")


class Lane:
    """Some threads, and a bounded number of requests that wait for one; of one event loop.

    Who has no answer after `answer_s` is to be told `too_long`. Groups take turns, and in
    each its clients: of those that wait, each has one request answered before any has its next, so
    that whoever sends many waits for them alone. Half the waiting places are one client's at most
    and three quarters one group's. Where there are four threads or more, one client has three
    quarters of them at most, and one group all but one. `by_studio` says whether it is worth
    finding out which studio a client is of, which may take as long as an answer does here.
    """

    def __init__(self, name: str, threads: int, waiting_max: int, answer_s: float,
                 too_long: str = TOO_LONG, by_studio: bool = True) -> None:  # fmt: skip
        self.threads = threads
        self.by_studio = by_studio
        self.answer_s = answer_s
        self.too_long = too_long
        self._executor = ThreadPoolExecutor(threads, thread_name_prefix=name)
        self._waiting_max = waiting_max
        self._waiting: OrderedDict[str, _Turns] = OrderedDict()
        self._running: Counter[Client] = Counter()
        self._client_threads = threads - threads // 4
        self._group_threads = threads - min(1, threads // 4)

    async def run(self, call: Callable[[], _Result], client: Client = NOBODY) -> _Result:
        """The result of a call made on a thread, for a client.

        Raises `LaneFullError` where too many wait.
        """
        await self._turn(client)
        future = asyncio.get_running_loop().run_in_executor(self._executor, call)
        future.add_done_callback(lambda _: self._pass_on(client))
        return await future

    async def run_on(self, call: Callable[[], _Result]) -> _Result:
        """The same of what belongs to a request that was let in before."""
        return await asyncio.get_running_loop().run_in_executor(self._executor, call)

    async def _turn(self, client: Client) -> None:
        """Wait until it is this client's turn, and a thread is free."""
        if self._may_begin(client):
            self._running[client] += 1
            return
        if not self._has_place(client):
            raise LaneFullError
        turn: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        of_group = self._waiting.setdefault(client.group, OrderedDict())
        of_group.setdefault(client, deque()).append(turn)
        try:
            await turn
        except asyncio.CancelledError:
            if not turn.cancelled():
                self._pass_on(client)  # it had come meanwhile
            raise

    def _may_begin(self, client: Client) -> bool:
        running = self._running
        return (
            running.total() < self.threads
            and running[client] < self._client_threads
            and sum(number for other, number in running.items() if other.group == client.group)
            < self._group_threads
        )

    def _has_place(self, client: Client) -> bool:
        in_group: _Turns = self._waiting.get(client.group, OrderedDict())
        return (
            sum(_places(turns) for turns in self._waiting.values()) < self._waiting_max
            and _places(in_group) < self._waiting_max * 3 // 4
            and len(in_group.get(client, ())) < self._waiting_max // 2
        )

    def _pass_on(self, ended: Client) -> None:
        """Give the thread of a call that has ended to the next client that may have one."""
        self._running[ended] -= 1
        self._running += Counter()  # drops those at zero
        for group in [*self._waiting]:
            if self._running.total() >= self.threads:
                return
            if self._begin_one(self._waiting[group]):
                self._waiting.move_to_end(group)
            if not self._waiting[group]:
                del self._waiting[group]

    def _begin_one(self, turns_of: "_Turns") -> bool:
        """Let the next client of a group begin that may, if there is one."""
        for client in [*turns_of]:
            turns = turns_of[client]
            begun = False
            while turns and not begun and self._may_begin(client):
                turn = turns.popleft()
                if not turn.done():
                    self._running[client] += 1
                    turn.set_result(None)
                    turns_of.move_to_end(client)
                    begun = True
            if not turns:
                del turns_of[client]
            if begun:
                return True
        return False

    def stop(self) -> None:
        """Begin nothing more; what runs may go on until the process ends."""
        self._executor.shutdown(wait=False, cancel_futures=True)


# the requests of a group that wait, by client
_Turns = OrderedDict[Client, deque[asyncio.Future[None]]]


def _places(turns_of: _Turns) -> int:
    return sum(map(len, turns_of.values()))


class Lanes(NamedTuple):
    """The lanes of a worker.

    `probe` is for what tells how the service does without asking the database, `ready` for what
    asks whether that answers, and so may wait; `tokens` for looking up those that the worker has
    not seen; `costly` for routes that say of themselves that they are, `usual` for posts and all
    else.
    """

    usual: Lane
    costly: Lane
    probe: Lane
    ready: Lane
    tokens: Lane

    @classmethod
    def of(cls, threads: int, limits: Limits) -> "Lanes":
        """Lanes with so many threads for the usual requests, and a quarter of that for costly."""
        waiting_max, answer_s = limits.waiting_max, limits.answer_s
        return cls(
            Lane("usual", threads, waiting_max, answer_s),
            Lane("costly", costly_threads(threads), waiting_max, answer_s),
            Lane("probe", 1, waiting_max, answer_s, by_studio=False),
            Lane("ready", _READY_THREADS, waiting_max, limits.ready_s, NOT_READY, by_studio=False),
            Lane("tokens", _TOKENS_THREADS, waiting_max, answer_s, by_studio=False),
        )

    def stop(self) -> None:
        """Begin nothing more on any."""
        for lane in self:
            lane.stop()
