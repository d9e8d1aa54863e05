"""A held lock, a hanging statement, a full disk: each is reported as such, and nothing is lost."""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import psycopg
import pytest
from psycopg import errors
from sqlalchemy import Engine, exc, text

from service.log import append
from service.log.embedded import EmbeddedServerError
from service.log.engine import Patience, service_engine
from service.record import Studios
from service.settings import Settings
from service.web import observing
from service.web.serving.admission import admission
from service.web.throttle import Throttle
from tests.conftest import Database
from tests.link import link_to
from tests.web.apps import app_on

from ..paper import Paper
from ..provided import provide_with

SHORT = Settings(
    None, None, Path("/nowhere"), statement_s=2, lock_s=1, idle_transaction_s=1, pool_wait_s=1,
    pool_size=2, pool_overflow=0,
)  # fmt: skip

GIVEN_UP_S = 20


@pytest.fixture
def bounded(opened: Paper, database: Database) -> Iterator[Paper]:
    """The studio behind connections with short limits."""
    engine = service_engine(database.service_url, SHORT, bounded=True)
    opened.app = app_on(SHORT, engine, Studios(engine))
    opened.engine = engine
    yield opened
    engine.dispose()


def note(paper: Paper) -> dict[str, object]:
    return paper.event("note.given", "KESTREL-1/1", {"note": "N1", "to": "layout", "text": "Hm."})


def test_a_lock_that_is_held_does_not_hold_posts(bounded: Paper, engine: Engine) -> None:
    event = note(bounded)
    with engine.begin() as holder:
        append.lock_head(holder, "paper")
        answer = bounded.post("/events", event)
        assert bounded.problem(answer) == (503, "unavailable", [])
        assert "lock" in answer.get_json()["detail"]
        assert int(answer.headers["Retry-After"]) > 0
    assert bounded.post("/events", event).status_code == 201


def test_a_statement_is_ended(bounded: Paper) -> None:
    with (
        bounded.engine.connect() as connection,
        pytest.raises(exc.OperationalError) as raised,
    ):
        connection.execute(text("SELECT pg_sleep(30)"))
    assert isinstance(raised.value.orig, errors.QueryCanceled)


def test_an_idle_transaction_is_ended_and_lets_go(bounded: Paper, engine: Engine) -> None:
    with bounded.engine.connect() as idle:
        append.lock_head(idle, "paper")
        with engine.begin() as other:
            append.lock_head(other, "paper")  # waits until the idle one is ended
        idle.invalidate()
    assert bounded.post("/events", note(bounded)).status_code == 201


def test_a_post_says_when_all_connections_are_in_use(bounded: Paper) -> None:
    with bounded.engine.connect(), bounded.engine.connect():
        answer = bounded.post("/events", note(bounded))
        assert bounded.problem(answer) == (503, "unavailable", [])
        assert "in use" in answer.get_json()["detail"]


def test_a_database_whose_host_is_gone_is_reported_soon(opened: Paper, database: Database) -> None:
    patience = Patience(rested_s_max=0.0)
    with link_to(database.service_url) as link:
        settings = replace(SHORT, database_url=link.url)
        engine = service_engine(link.url, settings, bounded=True, patience=patience)
        opened.app = app_on(settings, engine, Studios(engine))
        assert opened.ask("/episodes").status_code == 200
        link.silent.set()
        began_s = time.monotonic()
        answer = opened.ask("/episodes")
        assert opened.problem(answer) == (503, "unavailable", [])
        assert time.monotonic() - began_s < GIVEN_UP_S
        link.silent.clear()
        assert opened.ask("/episodes").status_code == 200
        engine.dispose()


def _filled(bounded: Paper, monkeypatch: pytest.MonkeyPatch) -> dict[str, object]:
    """A post for which the disk had no room."""

    def full(*_: object, **_more: object) -> None:
        raise exc.OperationalError("COMMIT", {}, errors.DiskFull("no space left on device"))

    event = note(bounded)
    with monkeypatch.context() as patch:
        patch.setattr("service.log.chain.append_rows", full)
        answer = bounded.post("/events", event)
    assert bounded.problem(answer) == (503, "unavailable", [])
    assert "disk" in answer.get_json()["detail"]
    return event


def test_a_full_disk_is_reported_until_something_is_recorded(
    bounded: Paper, monkeypatch: pytest.MonkeyPatch
) -> None:
    event = _filled(bounded, monkeypatch)
    client = bounded.app.test_client()
    ready = client.get("/ready")
    assert bounded.problem(ready) == (503, "unavailable", [])
    assert "disk" in ready.get_json()["detail"]
    assert int(ready.headers["Retry-After"]) == observing.FULL_S
    assert bounded.ask("/episodes").status_code == 200
    assert bounded.post("/events", event).status_code == 201
    assert client.get("/ready").status_code == 200


def test_a_full_disk_is_reported_only_for_a_while_where_nobody_posts(
    bounded: Paper, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Clients that go by readiness would otherwise never send the post that finds room again."""
    provide_with(bounded.app, disk_full_s=1)
    _filled(bounded, monkeypatch)
    client = bounded.app.test_client()
    assert client.get("/ready").status_code == 503
    time.sleep(1.1)
    assert client.get("/ready").status_code == 200


def test_a_clock_that_is_set_back_does_not_prolong_a_full_disk(
    bounded: Paper, monkeypatch: pytest.MonkeyPatch
) -> None:
    event = _filled(bounded, monkeypatch)
    before_s = time.time() - 3600
    with monkeypatch.context() as patch:
        patch.setattr(time, "time", lambda: before_s)
        assert bounded.post("/events", event).status_code == 201
        assert bounded.app.test_client().get("/ready").status_code == 200


def test_no_message_of_a_driver_reaches_a_client(
    bounded: Paper, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lost(*_: object) -> None:
        raise exc.OperationalError(
            "x", {}, psycopg.OperationalError("host db.example user ledger-login")
        )

    monkeypatch.setattr("service.history.lock_log", lost)
    answer = bounded.post("/events", note(bounded))
    assert bounded.problem(answer) == (503, "unavailable", [])
    assert "ledger-login" not in answer.get_data(as_text=True)


@pytest.mark.parametrize(
    "fault",
    [
        exc.OperationalError("x", {}, psycopg.OperationalError("host db.example")),
        exc.TimeoutError("host db.example"),
        EmbeddedServerError("host db.example"),
    ],
)
def test_a_token_that_cannot_be_looked_up_is_answered_with_503(
    bounded: Paper, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    def lost(*_: object) -> None:
        raise fault

    monkeypatch.setattr("service.log.tokens.find", lost)
    answer = bounded.ask("/clock", "producer")
    assert bounded.problem(answer) == (503, "unavailable", [])
    # and before a large body is whole
    refused = admission(bounded.app, Throttle(requests_max=9, wrong_max=9))
    problem = refused("Bearer unseen", "192.0.2.1")
    assert problem is not None
    assert (problem.status, problem.name) == (503, "unavailable")
    assert int(problem.headers["Retry-After"]) > 0
    assert "db.example" not in problem.detail
