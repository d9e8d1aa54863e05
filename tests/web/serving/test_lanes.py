"""Threads for requests: clients take turns, and nobody takes all the places."""

import asyncio
import threading
from collections.abc import Callable
from functools import partial

import pytest

from service.web.serving.lanes import Client, Lane, LaneFullError

ANSWER_S = 10.0


def alone(name: str) -> Client:
    """A client of a group of its own."""
    return Client(name, name)


def _wait(free: threading.Event) -> None:
    free.wait(ANSWER_S)


async def until(done: Callable[[], bool]) -> None:
    """Let other tasks run until a condition holds."""
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

        tasks = [asyncio.ensure_future(lane.run(first, alone("many")))]
        await until(begun.is_set)
        for name in ("many 1", "many 2", "many 3", "one 1", "one 2", "other 1"):
            call = partial(answered.append, name)
            tasks.append(asyncio.ensure_future(lane.run(call, alone(name.split()[0]))))
            await asyncio.sleep(0)
        free.set()
        await asyncio.gather(*tasks)
        lane.stop()
        return answered

    assert asyncio.run(all_of_it()) == [
        "many 1", "one 1", "other 1", "many 2", "one 2", "many 3",
    ]  # fmt: skip


def test_tokens_of_one_studio_take_its_turns() -> None:
    async def all_of_it() -> list[str]:
        lane = Lane("test", 1, 40, ANSWER_S)
        free, answered = threading.Event(), list[str]()
        tasks = [asyncio.ensure_future(lane.run(partial(_wait, free), alone("first")))]
        await asyncio.sleep(0)
        for name in ("a1", "a1", "a2", "a3", "b1", "b1"):
            call = partial(answered.append, name)
            tasks.append(asyncio.ensure_future(lane.run(call, Client(name[0], name))))
            await asyncio.sleep(0)
        free.set()
        await asyncio.gather(*tasks)
        lane.stop()
        return answered

    assert asyncio.run(all_of_it()) == ["a1", "b1", "a2", "b1", "a3", "a1"]


@pytest.mark.parametrize(
    ("clients", "taken"),
    [
        ([Client("a", "1")] * 8, 4),
        ([Client("a", str(number % 4)) for number in range(8)], 6),
        ([Client(str(number), "") for number in range(9)], 8),
    ],
)
def test_nobody_takes_all_the_places(clients: list[Client], taken: int) -> None:
    async def all_of_it() -> None:
        lane = Lane("test", 1, 8, ANSWER_S)
        free = threading.Event()
        tasks = [asyncio.ensure_future(lane.run(lambda: free.wait(ANSWER_S), alone("first")))]
        await asyncio.sleep(0)
        for client in clients[:taken]:
            tasks.append(asyncio.ensure_future(lane.run(lambda: True, client)))
            await asyncio.sleep(0)
        with pytest.raises(LaneFullError):
            await lane.run(lambda: True, clients[taken])
        free.set()
        assert await asyncio.gather(*tasks) == [True] * (taken + 1)
        assert await lane.run(lambda: True, clients[taken])
        lane.stop()

    asyncio.run(all_of_it())


def test_a_client_that_no_longer_waits_leaves_its_turn_to_others() -> None:
    async def all_of_it() -> None:
        lane = Lane("test", 1, 10, ANSWER_S)
        free = threading.Event()
        first = asyncio.ensure_future(lane.run(lambda: free.wait(ANSWER_S), alone("a")))
        await asyncio.sleep(0)
        gone = asyncio.ensure_future(lane.run(lambda: True, alone("b")))
        stays = asyncio.ensure_future(lane.run(lambda: True, alone("c")))
        await asyncio.sleep(0)
        gone.cancel()
        await asyncio.sleep(0)
        free.set()
        assert await first
        assert await stays
        assert await lane.run(lambda: True, alone("d"))
        lane.stop()

    asyncio.run(all_of_it())


@pytest.mark.parametrize(
    ("clients", "at_once"),
    [([Client("a", "1")], 6), ([Client("a", str(number)) for number in range(8)], 7)],
)
def test_nobody_takes_all_the_threads(clients: list[Client], at_once: int) -> None:
    async def all_of_it() -> None:
        lane = Lane("test", 8, 40, ANSWER_S)
        free, running = threading.Event(), list[int]()

        def held() -> None:
            running.append(1)
            free.wait(ANSWER_S)

        many = [clients[number % len(clients)] for number in range(12)]
        tasks = [asyncio.ensure_future(lane.run(held, client)) for client in many]
        await until(lambda: len(running) == at_once)
        assert await lane.run(lambda: True, alone("other"))
        assert len(running) == at_once
        free.set()
        await asyncio.gather(*tasks)
        assert len(running) == len(many)
        lane.stop()

    asyncio.run(all_of_it())
