"""Which client a request counts for, by what the worker knows of its token."""

import asyncio
from collections.abc import Iterator

import pytest
from sqlalchemy import event

from service.web.serving.admission import client_finder
from service.web.serving.lanes import Client, Lane
from service.web.throttle import Throttle
from tests.web.paper import Paper

ADDRESS = "192.0.2.1"
WRONG_MAX = 3


@pytest.fixture
def throttle() -> Throttle:
    return Throttle(requests_max=1000, wrong_max=WRONG_MAX)


@pytest.fixture
def lane() -> Iterator[Lane]:
    made = Lane("tokens", 1, 10, 10.0)
    yield made
    made.stop()


def test_tokens_of_one_studio_are_one_group(paper: Paper, throttle: Throttle, lane: Lane) -> None:
    async def all_of_it() -> list[Client]:
        client_of = client_finder(paper.app, throttle, lane)
        shown = [f"Bearer {paper.secrets[who]}" for who in ("office", "supervisor", "office")]
        return [await client_of(one, ADDRESS) for one in shown]

    looked_up: list[object] = []
    event.listen(paper.engine, "checkout", lambda *_: looked_up.append(1))
    office, supervisor, again = asyncio.run(all_of_it())
    assert office.group == supervisor.group == "paper"
    assert office != supervisor
    assert (again, len(looked_up)) == (office, 2)


def test_requests_without_a_known_token_count_by_address(
    paper: Paper, throttle: Throttle, lane: Lane
) -> None:
    async def all_of_it() -> None:
        client_of = client_finder(paper.app, throttle, lane)
        for shown in (None, "", "Bearer wrong", "Basic eDp5", "Bearer \udc80"):
            assert await client_of(shown, ADDRESS) == Client(ADDRESS, shown or "")

    asyncio.run(all_of_it())


def test_no_token_is_looked_up_for_an_address_that_showed_many_wrong_ones(
    paper: Paper, throttle: Throttle, lane: Lane
) -> None:
    shown = f"Bearer {paper.secrets['office']}"
    with paper.app.app_context():
        for _ in range(WRONG_MAX):
            throttle.refused("Bearer wrong", ADDRESS)
    client_of = client_finder(paper.app, throttle, lane)
    assert asyncio.run(client_of(shown, ADDRESS)) == Client(ADDRESS, shown)
    assert asyncio.run(client_of(shown, "192.0.2.2")).group == "paper"
