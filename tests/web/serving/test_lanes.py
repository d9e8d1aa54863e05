"""Threads for requests: clients take turns, and nobody takes all the places."""

import asyncio
import threading
from collections.abc import Callable

import pytest

from service.web.serving.lanes import Lane, LaneFullError

ANSWER_S = 10.0


async def until(done: Callable[[], bool]) -> None:
    """Let others run until something is so."""
    async with asyncio.timeout(ANSWER_S):
        while not done():
            await asyncio.sleep(0.001)


def test_clients_take_turns() -> None:
    async def all_of_it() -> list[str]:
        lane = Lane("test", 1, 20, ANSWER_S)
        free, begun, answered = threading.Event(), threading.Event(), list[str]()

        def first() -> None:
            begun.set()
            free.wait(ANSWER_S)

        asked = [asyncio.ensure_future(lane.run(first, b"many"))]
        await until(begun.is_set)
        for name, client in (("m1", b"many"), ("m2", b"many"), ("m3", b"many"), ("o1", b"one"),
                             ("o2", b"one"), ("x", b"other")):  # fmt: skip
            call = lambda name=name: answered.append(name)  # noqa: E731  # bound at once
            asked.append(asyncio.ensure_future(lane.run(call, client)))
            await asyncio.sleep(0)
        free.set()
        await asyncio.gather(*asked)
        lane.stop()
        return answered

    assert asyncio.run(all_of_it()) == ["m1", "o1", "x", "m2", "o2", "m3"]


def test_one_client_takes_half_the_places_at_most() -> None:
    async def all_of_it() -> None:
        lane = Lane("test", 1, 4, ANSWER_S)
        free = threading.Event()
        asked = [asyncio.ensure_future(lane.run(lambda: free.wait(ANSWER_S), b"many"))]
        for _ in range(3):
            asked.append(asyncio.ensure_future(lane.run(lambda: True, b"many")))
            await asyncio.sleep(0)
        with pytest.raises(LaneFullError):
            await lane.run(lambda: True, b"many")
        asked.append(asyncio.ensure_future(lane.run(lambda: True, b"one")))
        await asyncio.sleep(0)
        with pytest.raises(LaneFullError):
            await lane.run(lambda: True, b"another")  # all places are taken
        free.set()
        assert await asyncio.gather(*asked) == [True] * 5
        assert await lane.run(lambda: True, b"another")
        lane.stop()

    asyncio.run(all_of_it())


def test_who_does_not_wait_any_more_leaves_the_turn_to_others() -> None:
    async def all_of_it() -> None:
        lane = Lane("test", 1, 10, ANSWER_S)
        free = threading.Event()
        first = asyncio.ensure_future(lane.run(lambda: free.wait(ANSWER_S), b"a"))
        await asyncio.sleep(0)
        gone = asyncio.ensure_future(lane.run(lambda: True, b"b"))
        stays = asyncio.ensure_future(lane.run(lambda: True, b"c"))
        await asyncio.sleep(0)
        gone.cancel()
        await asyncio.sleep(0)
        free.set()
        assert await first
        assert await stays
        assert await lane.run(lambda: True, b"d")
        lane.stop()

    asyncio.run(all_of_it())


def test_one_client_leaves_threads_to_others() -> None:
    async def all_of_it() -> None:
        lane = Lane("test", 4, 20, ANSWER_S)
        free, running = threading.Event(), list[int]()

        def held() -> None:
            running.append(1)
            free.wait(ANSWER_S)

        asked = [asyncio.ensure_future(lane.run(held, b"many")) for _ in range(6)]
        await until(lambda: len(running) == 3)
        assert await lane.run(lambda: True, b"one")
        assert len(running) == 3
        free.set()
        await asyncio.gather(*asked)
        assert len(running) == 6
        lane.stop()

    asyncio.run(all_of_it())
