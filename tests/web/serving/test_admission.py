"""Whose request it is, while the database does not answer."""

import asyncio
import threading
import time
from typing import Any

import pytest
from flask import Flask
from sqlalchemy.exc import OperationalError

from service.log.tokens import Token, hashed
from service.web.services import Services, provide
from service.web.serving.admission import client_finder
from service.web.serving.lanes import Client, Lane
from service.web.throttle import Throttle

SHOWN = "rl_seen-before"
SEEN = Token("t-1", "lantern", "office", "office", (), "/office")


class Hung:
    """An engine whose database does not answer until it is let go."""

    def __init__(self) -> None:
        self.let_go = threading.Event()

    def connect(self) -> None:
        self.let_go.wait(20)
        raise OperationalError("", None, ConnectionError("it is gone"))


@pytest.fixture
def hung() -> Hung:
    return Hung()


@pytest.fixture
def app(hung: Hung) -> Flask:
    made = Flask("small")
    given: Any = Services(None, hung, None, None, tokens_seen={hashed(SHOWN): SEEN})  # type: ignore[arg-type]  # the rest is not asked for
    provide(made, given)
    return made


def test_a_token_that_cannot_be_looked_up_is_waited_for_a_moment(app: Flask, hung: Hung) -> None:
    throttle = Throttle(requests_max=100, wrong_max=100)

    async def find() -> tuple[list[Client], float, Client]:
        lane = Lane("tokens", 1, 4, 1.0)
        client_of = client_finder(app, throttle, lane, found_s=0.1)
        began_s = time.monotonic()
        # more than may wait, and more than one thread looks up
        strangers = await asyncio.gather(
            *(client_of(f"Bearer rl_unseen-{number}", "192.0.2.7") for number in range(8))
        )
        took_s = time.monotonic() - began_s
        seen = await client_of(f"Bearer {SHOWN}", "192.0.2.7")
        hung.let_go.set()
        lane.stop()
        return strangers, took_s, seen

    strangers, took_s, seen = asyncio.run(find())
    assert {client.group for client in strangers} == {"192.0.2.7"}
    assert took_s < 5
    assert seen == Client("lantern", "t-1")
