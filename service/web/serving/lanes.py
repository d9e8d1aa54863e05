"""Threads for requests, in lanes: costly requests wait for one another alone."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

_Result = TypeVar("_Result")


class LaneFullError(RuntimeError):
    """More requests wait for a thread of the lane than may."""


class Lane:
    """Some threads, and a bounded number of requests that wait for one."""

    def __init__(self, name: str, threads: int, waiting_max: int) -> None:
        self._executor = ThreadPoolExecutor(threads, thread_name_prefix=name)
        self._pending_max = threads + waiting_max
        self._pending = 0

    async def run(self, call: Callable[[], _Result]) -> _Result:
        """The result of a call made on a thread. Raises `LaneFullError` where too many wait."""
        if self._pending >= self._pending_max:
            raise LaneFullError
        return await self.run_on(call)

    async def run_on(self, call: Callable[[], _Result]) -> _Result:
        """The same of what belongs to a request that was let in before."""
        self._pending += 1
        future = asyncio.get_running_loop().run_in_executor(self._executor, call)
        future.add_done_callback(self._done)
        return await future

    def _done(self, _: object) -> None:
        self._pending -= 1

    def stop(self) -> None:
        """Begin nothing more; what runs is left to end."""
        self._executor.shutdown(wait=False, cancel_futures=True)


class Lanes(NamedTuple):
    """The lanes of a worker.

    `probe` is for what tells whether the service lives, `costly` for routes that say of themselves
    that they are, `usual` for posts and all else.
    """

    usual: Lane
    costly: Lane
    probe: Lane

    @classmethod
    def of(cls, threads: int, waiting_max: int) -> "Lanes":
        """Lanes with so many threads for the usual requests, and a quarter of that for costly."""
        return cls(
            Lane("usual", threads, waiting_max),
            Lane("costly", max(1, threads // 4), waiting_max),
            Lane("probe", 1, waiting_max),
        )

    def stop(self) -> None:
        """Begin nothing more on any."""
        for lane in self:
            lane.stop()
