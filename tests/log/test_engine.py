"""Connections: how long they are waited for and kept."""

import socket
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import InvalidRequestError

from service.log.embedded import EmbeddedServerError
from service.log.engine import RECYCLED_S, Patience, Revival, owner_engine, service_engine
from service.settings import Settings
from tests.conftest import Database, Server, _engine_on
from tests.fresh import SETTINGS
from tests.link import link_to

GIVEN_UP_S = 30


def configured(url: str) -> Settings:
    """The settings of an installation with a server of its own: nobody starts it again."""
    return replace(SETTINGS, database_url=url)


@contextmanager
def disposed(engine: Engine) -> Iterator[Engine]:
    try:
        yield engine
    finally:
        engine.dispose()


def _option(engine: Engine, name: int) -> int:
    """An option of TCP on a connection's socket, as the kernel has it."""
    with engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        with socket.socket(fileno=socket.dup(raw.fileno())) as used:
            return used.getsockopt(socket.IPPROTO_TCP, name)


@pytest.mark.parametrize("whose", ["service", "owner"])
def test_the_kernel_gives_a_host_up_that_is_gone(database: Database, whose: str) -> None:
    """What was sent, and what is waited for, both end by the kernel's own account."""
    with (
        link_to(database.owner_url) as link,
        disposed(
            service_engine(link.url, configured(link.url))
            if whose == "service"
            else owner_engine(link.url)
        ) as engine,
    ):
        idle = "TCP_KEEPALIVE" if sys.platform == "darwin" else "TCP_KEEPIDLE"
        waited_s = _option(engine, getattr(socket, idle))
        waited_s += _option(engine, socket.TCP_KEEPCNT) * _option(engine, socket.TCP_KEEPINTVL)
        assert waited_s <= GIVEN_UP_S
        if sys.platform == "linux":
            assert 0 < _option(engine, socket.TCP_USER_TIMEOUT) <= GIVEN_UP_S * 1000


def test_a_url_may_say_otherwise(database: Database) -> None:
    with link_to(database.service_url) as link:
        url = f"{link.url}?keepalives_count=7"
        with disposed(service_engine(url, configured(url))) as engine:
            assert _option(engine, socket.TCP_KEEPCNT) == 7


def test_a_server_that_would_not_start_is_not_tried_by_all(tmp_path: Path) -> None:
    """Each try may take minutes, as on a full disk, and a request's thread with it."""
    tries: list[Path] = []
    trying, go_on = threading.Event(), threading.Event()

    def start(folder: Path) -> str:
        tries.append(folder)
        trying.set()
        assert go_on.wait(10)
        raise EmbeddedServerError("no room")

    revival = Revival(tmp_path, Patience(start_waited_s=0.1), start)
    messages: list[str] = []

    def ask() -> None:
        with pytest.raises(EmbeddedServerError) as raised:
            revival.start()
        messages.append(str(raised.value))

    first = threading.Thread(target=ask)
    first.start()
    assert trying.wait(10)
    ask()
    assert "is being started" in messages[0]
    go_on.set()
    first.join()
    ask()
    assert messages[1:] == ["no room", "no room"]
    assert len(tries) == 1


def test_a_server_that_would_not_start_is_tried_again_later(tmp_path: Path) -> None:
    tries: list[Path] = []

    def start(folder: Path) -> None:
        tries.append(folder)
        if len(tries) == 1:
            raise EmbeddedServerError("no room")

    revival = Revival(tmp_path, Patience(started_anew_s=0.0), start)
    with pytest.raises(EmbeddedServerError, match="no room"):
        revival.start()
    revival.start()
    revival.start()
    assert len(tries) == 3


def test_no_thread_of_a_test_that_is_over_reaches_the_next_ones_database(server: Server) -> None:
    with server.lent() as database:
        lending = _engine_on(database)
        engine = next(lending)
        with engine.connect():
            pass
        assert list(lending) == []
        with pytest.raises(InvalidRequestError, match="the test is over"), engine.connect():
            pass


def _backend_pid(connection: Connection) -> int:
    found: int = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
    return found


def test_connections_are_used_again_in_turn_and_not_for_ever(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    with engine.connect() as one, engine.connect() as other:
        first, second = _backend_pid(one), _backend_pid(other)
    for pid in (second, first, second):
        with engine.connect() as again:
            assert _backend_pid(again) == pid
    now_s = time.time()
    monkeypatch.setattr(time, "time", lambda: now_s + RECYCLED_S + 1)
    with engine.connect() as one, engine.connect() as other:
        assert not {_backend_pid(one), _backend_pid(other)} & {first, second}
