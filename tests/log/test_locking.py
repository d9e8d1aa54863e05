"""The log locked in one round trip: what is read with it stands once the lock is had."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, text

from service.log.append import UnknownStudioError
from service.log.locking import Locked, lock_log
from service.log.tokens import issue, revoke
from tests.log.recording import STUDIO, record
from tests.waiting import wait_until

WAIT_S_MAX = 60.0


def issued(engine: Engine, name: str) -> str:
    with engine.begin() as connection:
        return issue(connection, STUDIO, name, "office", (), "/tests", datetime.now(UTC))[0]


def lock(engine: Engine, tokens: list[str], after: int = 0, rows_max: int = 10) -> Locked:
    with engine.begin() as connection:
        return lock_log(connection, STUDIO, tokens, after, rows_max)


def test_a_waiter_is_told_of_what_was_committed_while_it_waited(
    studio: Engine, server_admin: Engine
) -> None:
    kept, revoked = issued(studio, "kept"), issued(studio, "revoked")
    with studio.connect() as holder, ThreadPoolExecutor(1) as threads:
        record(holder, [{"id": "one"}, {"id": "two"}])
        waiting = threads.submit(lock, studio, [kept, revoked])
        wait_until_blocked(server_admin)
        with studio.begin() as other:
            assert revoke(other, STUDIO, revoked, datetime.now(UTC))
        assert not waiting.done()
        holder.commit()
        locked = waiting.result(timeout=WAIT_S_MAX)
    assert locked.head.position == 2
    assert locked.unrevoked == {kept}
    assert [position for position, _ in locked.rows] == [1, 2]
    assert locked.is_whole


def wait_until_blocked(server_admin: Engine) -> None:
    """Wait until a statement waits for a row that another transaction has locked."""
    query = text("SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock'")
    with server_admin.connect() as admin:
        wait_until(lambda: admin.execute(query).scalar_one() > 0, "nobody waits for the lock")


@pytest.mark.parametrize(
    ("after", "rows_max", "positions", "whole"),
    [
        (0, 10, [1, 2, 3], True),
        (1, 10, [2, 3], True),
        (3, 10, [], True),
        (0, 2, [1, 2], False),
        (0, 0, [], False),
    ],
)
def test_it_is_said_whether_all_later_events_were_read(
    studio: Engine, after: int, rows_max: int, positions: list[int], whole: bool
) -> None:
    with studio.begin() as connection:
        record(connection, [{"id": str(number)} for number in range(3)])
    locked = lock(studio, [], after, rows_max)
    assert [position for position, _ in locked.rows] == positions
    assert locked.is_whole is whole


def test_a_studio_that_was_not_made_is_said_to_be_unknown(engine: Engine) -> None:
    with engine.begin() as connection, pytest.raises(UnknownStudioError):
        lock_log(connection, "nowhere", [], 0, 10)
