"""Prepared statements: in a transaction or alone, errors, and what a rollback leaves."""

import select
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import NoReturn

import pytest
from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import IntegrityError, InternalError, OperationalError, ProgrammingError

from service.log import wire
from service.log.engine import Patience, service_engine
from service.log.prepared import Call, Statement, rows_of, run, run_alone, run_together, statement
from tests.conftest import Database
from tests.fresh import SETTINGS
from tests.waiting import wait_until

ADD = statement("test_add", "INSERT INTO studio VALUES ($1, 'real', now())")
COUNT = statement("test_count", "SELECT count(*) FROM studio")
SLEEP = statement("test_sleep", "SELECT pg_sleep(0.3)")
LONG_SLEEP = statement("test_long_sleep", "SELECT pg_sleep(60)")
WRONG = statement("test_wrong", "SELECT nothing FROM nowhere")
ANSWER = statement("test_answer", "SELECT 42::bigint, null, 'text'")
SIZE = statement("test_size", "SELECT octet_length($1::bytea)::bigint")
HIDDEN = b"hidden-name"


def test_values_come_as_bytes_and_null_as_none(engine: Engine) -> None:
    with engine.connect() as connection:
        ((number, nothing, word),) = rows_of(run_alone(connection, ANSWER))
    assert (wire.read_whole(number), nothing, word) == (42, None, b"text")


def counted(connection: Connection) -> int:
    return wire.read_whole(rows_of(run(connection, COUNT))[0][0])


def test_a_rollback_takes_back_what_was_run(engine: Engine) -> None:
    with engine.connect() as connection:
        run(connection, ADD, b"taken-back")
        connection.rollback()
        run(connection, ADD, b"kept")
        connection.commit()
        run_together(connection, Call(ADD, (b"kept-too",)), commit=True)
        connection.rollback()
        assert counted(connection) == 2


def test_what_runs_together_is_one_transaction_and_answers_in_order(engine: Engine) -> None:
    with engine.connect() as connection:
        added, counts, answer = run_together(
            connection, Call(ADD, (b"one",)), Call(COUNT, ()), Call(ANSWER, ())
        )
        assert (added.command_tuples, wire.read_whole(rows_of(counts)[0][0])) == (1, 1)
        assert rows_of(answer)[0][2] == b"text"
        connection.rollback()
        assert counted(connection) == 0


def test_more_than_the_server_takes_at_once_runs_together(engine: Engine) -> None:
    long = b"x" * (8 << 20)
    with engine.connect() as connection:
        sizes = run_together(connection, *[Call(SIZE, (long,))] * 3)
    assert [wire.read_whole(rows_of(size)[0][0]) for size in sizes] == [len(long)] * 3


def test_of_what_runs_together_nothing_is_done_where_one_fails(engine: Engine) -> None:
    calls = (Call(ADD, (b"one",)), Call(ADD, (HIDDEN,)), Call(ADD, (HIDDEN,)), Call(COUNT, ()))
    with engine.connect() as connection:
        with pytest.raises(IntegrityError, match="studio_pk") as raised:
            run_together(connection, *calls, commit=True)
        assert HIDDEN.decode() not in str(raised.value)
        with pytest.raises(InternalError, match="aborted"):
            run(connection, COUNT)
        connection.rollback()
        assert counted(connection) == 0


def test_what_runs_alone_leaves_no_transaction_open(engine: Engine) -> None:
    with engine.connect() as connection:
        run_alone(connection, ANSWER)
        assert not connection.in_transaction()


def test_what_runs_alone_is_in_the_transaction_if_one_is_open(engine: Engine) -> None:
    with engine.connect() as connection:
        assert counted(connection) == 0
        run_alone(connection, ADD, b"taken-back")
        connection.rollback()
        assert counted(connection) == 0
        connection.rollback()
        run_alone(connection, ADD, b"kept")
        connection.rollback()
        assert counted(connection) == 1


def test_an_error_is_sqlalchemys_and_tells_no_values(engine: Engine) -> None:
    with engine.connect() as connection:
        run(connection, ADD, HIDDEN)
        with pytest.raises(IntegrityError, match="studio_pk") as raised:
            run(connection, ADD, HIDDEN)
        assert HIDDEN.decode() not in str(raised.value)
        with pytest.raises(InternalError, match="aborted"):
            run(connection, COUNT)
        with pytest.raises(InternalError, match="rolled back"):
            run_together(connection, commit=True)
        connection.rollback()
        with pytest.raises(ProgrammingError, match="nowhere"):
            run(connection, WRONG)


def test_a_lost_connection_is_reported_and_the_next_one_works(
    engine: Engine, server_admin: Engine
) -> None:
    # two are in the pool, and both are lost
    with engine.connect() as one, engine.connect() as other:
        for connection in (one, other):
            run_alone(connection, ANSWER)
        pids = [c.execute(text("SELECT pg_backend_pid()")).scalar_one() for c in (one, other)]
    with server_admin.connect() as admin:
        for pid in pids:
            admin.execute(text("SELECT pg_terminate_backend(:pid, 5000)"), {"pid": pid})
    with engine.connect() as connection, pytest.raises(OperationalError):
        run_alone(connection, ANSWER)
    # nobody trusts the other one any more
    for _ in range(3):
        with engine.connect() as connection:
            assert len(rows_of(run_alone(connection, ANSWER))) == 1


def test_a_connection_that_rested_is_tried_first(database: Database, server_admin: Engine) -> None:
    engine = service_engine(database.service_url, SETTINGS, patience=Patience(rested_s_max=0.0))
    with engine.connect() as connection:
        pid = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
    with server_admin.connect() as admin:
        admin.execute(text("SELECT pg_terminate_backend(:pid, 5000)"), {"pid": pid})
    with engine.connect() as connection:
        assert len(rows_of(run_alone(connection, ANSWER))) == 1
    engine.dispose()


def run_it_together(connection: Connection, wanted: Statement) -> None:
    run_together(connection, Call(wanted, ()), Call(ANSWER, ()))


def end_backend(server_admin: Engine, pid: int) -> None:
    with server_admin.connect() as admin:
        admin.execute(text("SELECT pg_terminate_backend(:pid, 5000)"), {"pid": pid})


def test_a_connection_lost_before_several_are_sent_leaves_the_pool(
    engine: Engine, server_admin: Engine
) -> None:
    with engine.connect() as connection:
        pid = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
        run_it_together(connection, ANSWER)  # so that nothing is left to be prepared
        end_backend(server_admin, pid)
        with pytest.raises(OperationalError):
            run_it_together(connection, ANSWER)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT pg_backend_pid()")).scalar_one() != pid


def test_a_connection_lost_while_several_run_leaves_the_pool(
    engine: Engine, server_admin: Engine
) -> None:
    working = text("SELECT count(*) FROM pg_stat_activity WHERE wait_event = 'PgSleep'")
    with engine.connect() as connection, ThreadPoolExecutor(1) as threads:
        pid = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
        run_it_together(connection, ANSWER)
        waiting = threads.submit(run_it_together, connection, LONG_SLEEP)
        with server_admin.connect() as admin:

            def is_at_work() -> bool:
                assert not waiting.done()
                return bool(admin.execute(working).scalar_one())

            wait_until(is_at_work, "nothing is asked")
        end_backend(server_admin, pid)
        with pytest.raises(OperationalError):
            waiting.result(timeout=30)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT pg_backend_pid()")).scalar_one() != pid


def test_a_connection_that_was_left_before_all_was_answered_is_not_used_again(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it still has to answer must not reach who has it next."""

    class Interrupted:
        POLLIN, POLLOUT = select.POLLIN, select.POLLOUT

        def poll(self) -> NoReturn:
            raise KeyboardInterrupt

    with engine.connect() as connection:
        pid = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
        with monkeypatch.context() as patch:
            patch.setattr("service.log.prepared.select", Interrupted())
            with pytest.raises(KeyboardInterrupt):
                run_it_together(connection, SLEEP)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT pg_backend_pid()")).scalar_one() != pid
        assert counted(connection) == 0


@pytest.mark.parametrize("wait", [run_alone, run_it_together])
def test_other_threads_go_on_while_the_server_works(
    engine: Engine, wait: Callable[[Connection, Statement], object]
) -> None:
    went_on: list[float] = []
    done = threading.Event()

    def go_on() -> None:
        while not done.is_set():
            went_on.append(time.monotonic())
            time.sleep(0.001)

    with engine.connect() as connection:
        run_alone(connection, ANSWER)
        other = threading.Thread(target=go_on)
        other.start()
        began = time.monotonic()
        wait(connection, SLEEP)
        ended = time.monotonic()
        done.set()
        other.join()
    assert any(began + 0.05 < at < ended - 0.05 for at in went_on)
