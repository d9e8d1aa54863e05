"""Kept states and snapshots: the nearest that may be used, and when one is written."""

import logging
import threading
from collections.abc import Iterator
from dataclasses import replace

import pytest
from immutables import Map
from sqlalchemy import Connection, Engine, create_engine, text
from sqlalchemy.event import listen
from sqlalchemy.exc import ResourceClosedError

from service.kept import Keeping, KeptStates, Snapshots, load
from service.log.snapshots import latest_snapshot, write_snapshot
from service.log.studios import make_studio
from service.production.snapshot import freeze, thaw
from service.production.state import EMPTY, State
from tests.log.recording import START_US, STUDIO, record

KEY = bytes(range(32))
EVERY = 10
END = 60
KEEPING = Keeping(every=4, far_every=8, states_most=6, snapshot_every=EVERY)
NOWHERE = "postgresql+psycopg://nobody@127.0.0.1:1/none"


@pytest.fixture
def studio(engine: Engine) -> Engine:
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
        record(connection, [{} for _ in range(END)])
    return engine


@pytest.fixture
def connection(studio: Engine) -> Iterator[Connection]:
    with studio.begin() as connection:
        yield connection


@pytest.fixture
def closed(studio: Engine) -> Connection:
    """A connection by which nothing can be asked any more."""
    with studio.connect() as connection:
        pass
    return connection


def state_at(position: int) -> State:
    """A state that tells by itself at which position it was."""
    maps = {name: getattr(EMPTY, name) for name in State.__slots__}
    return State({**maps, "marks": Map({position: ("here",)})})


def write(connection: Connection, *positions: int) -> None:
    for position in positions:
        parts = freeze(state_at(position), {})
        assert write_snapshot(connection, STUDIO, position, parts, EVERY, KEY)


def spoil(connection: Connection, position: int) -> None:
    """Put other bytes into a snapshot: the service may not alter one, but make another."""
    taken = text("DELETE FROM snapshot WHERE position = :at RETURNING *")
    row = connection.execute(taken, {"at": position}).one()
    put = text(
        "INSERT INTO snapshot (studio, position, made_by, leaf, parts, digest, seal) "
        "VALUES (:studio, :at, :made_by, :leaf, ARRAY[:part, :digest], :digest, :seal)"
    )
    connection.execute(put, {**row._mapping, "at": position, "part": b"spoilt"})


def written(connection: Connection) -> list[int]:
    query = text("SELECT position FROM snapshot ORDER BY position")
    return list(connection.execute(query).scalars())


@pytest.mark.parametrize(
    ("before", "found"),
    [(61, 30), (31, 30), (30, 20), (29, 20), (21, 20), (20, 10), (11, 10), (10, 0), (1, 0)],
)
def test_the_nearest_snapshot_before_a_position(
    connection: Connection, before: int, found: int
) -> None:
    write(connection, 10, 20, 30)
    position, state = KeptStates(STUDIO, KEY, KEEPING).before(connection, before, {})
    assert position == found
    assert state == (state_at(found) if found else EMPTY)


@pytest.mark.parametrize(
    ("kept_at", "before", "found"),
    [
        (22, 31, 22),  # not much nearer, so that it is not worth the reading
        (22, 33, 30),
        (22, 22, 20),
        (32, 61, 32),  # the kept one is nearer than any snapshot
        (30, 61, 30),
    ],
)
def test_a_snapshot_is_taken_only_where_it_is_much_nearer(
    connection: Connection, kept_at: int, before: int, found: int
) -> None:
    write(connection, 10, 20, 30)
    states = KeptStates(STUDIO, KEY, KEEPING)
    own = State({name: getattr(EMPTY, name) for name in State.__slots__})
    states.keep(kept_at, own)
    position, state = states.before(connection, before, {})
    assert position == found
    assert (state is own) == (found == kept_at)


def test_a_kept_state_that_is_near_saves_the_question(closed: Connection) -> None:
    states = KeptStates(STUDIO, KEY, KEEPING)
    states.keep(25, state_at(25))
    assert states.before(closed, 35, {}) == (25, state_at(25))
    with pytest.raises(ResourceClosedError):
        states.before(closed, 36, {})


def test_a_snapshot_that_was_read_is_kept_in_its_place(
    connection: Connection, closed: Connection
) -> None:
    write(connection, 10, 20, 30)
    states = KeptStates(STUDIO, KEY, KEEPING)
    states.keep(50, state_at(50))
    first = states.before(connection, 35, {})
    assert states.before(connection, 25, {}) == (20, state_at(20))
    again = states.before(closed, 36, {})
    assert again == (30, state_at(30))
    assert again[1] is first[1]
    assert states.before(closed, 30, {}) == (20, state_at(20))
    assert states.before(closed, 60, {}) == (50, state_at(50))
    states.forget_from(30)
    assert states.before(closed, 30, {}) == (20, state_at(20))


@pytest.mark.parametrize(
    ("struck", "found"),
    [
        ({}, 30),
        ({15: 18}, 30),  # it knew already
        ({15: 30}, 30),  # its own last event is the strike
        ({15: 31}, 10),  # it did not: neither did the one before it, which has event 15 in it
        ({15: 20, 25: 33}, 20),
        ({25: 33}, 20),
        ({30: 33}, 20),
        ({31: 33}, 30),
        ({20: 33}, 10),
        ({21: 33}, 20),
        ({3: 25}, 30),
        ({3: 25, 28: 40}, 0),  # the only one that knew of the first has the second in it
        ({10: 11, 25: 33}, 20),
        ({1: 33}, 0),
        ({5: 33, 25: 34}, 0),
    ],
)
def test_a_snapshot_with_an_event_struck_since_is_not_used(
    connection: Connection, struck: dict[int, int], found: int
) -> None:
    write(connection, 10, 20, 30)
    states = KeptStates(STUDIO, KEY, KEEPING)
    for _ in range(2):  # the second time from those kept
        position, state = states.before(connection, 35, struck)
        assert (position, state) == (found, state_at(found) if found else EMPTY)


def test_one_that_is_spoilt_is_passed_over(
    connection: Connection, caplog: pytest.LogCaptureFixture
) -> None:
    write(connection, 10, 20, 30)
    spoil(connection, 30)
    with caplog.at_level(logging.WARNING, "retake_ledger.snapshots"):
        assert KeptStates(STUDIO, KEY, KEEPING).before(connection, 40, {}) == (20, state_at(20))
    assert [record.getMessage() for record in caplog.records] == [
        f"snapshot of {STUDIO} at 30 passed over: "
        "these are not the parts of a snapshot as they were written"
    ]
    spoil(connection, 10)
    spoil(connection, 20)
    assert KeptStates(STUDIO, KEY, KEEPING).before(connection, 40, {}) == (0, EMPTY)
    assert load(connection, STUDIO, 40, KEY) is None


def test_the_last_one_that_can_be_read_is_loaded(connection: Connection) -> None:
    assert load(connection, STUDIO, END, KEY) is None
    parts = freeze(state_at(20), {3: 5})
    assert write_snapshot(connection, STUDIO, 20, parts, EVERY, KEY)
    write(connection, 30)
    assert load(connection, STUDIO, 29, KEY) == (20, (state_at(20), {3: 5}))
    assert load(connection, STUDIO, 30, KEY) == (30, (state_at(30), {}))
    assert load(connection, STUDIO, 19, KEY) is None
    assert load(connection, "south", END, KEY) is None
    spoil(connection, 30)
    assert load(connection, STUDIO, 30, KEY) == (20, (state_at(20), {3: 5}))


def test_without_the_key_of_seals_there_are_none(studio: Engine, connection: Connection) -> None:
    write(connection, 10)
    assert load(connection, STUDIO, END, None) is None
    assert KeptStates(STUDIO, None, KEEPING).before(connection, 40, {}) == (0, EMPTY)
    snapshots = Snapshots(STUDIO, studio, None, EVERY)
    snapshots.passed(30, state_at(30), {})
    snapshots.wait()
    assert written(connection) == [10]


@pytest.mark.parametrize("end", [40, 400, 4000])
def test_the_farther_behind_the_head_the_fewer_states_are_kept(
    connection: Connection, end: int
) -> None:
    states = KeptStates("nowhere", None, replace(KEEPING, states_most=12))  # without snapshots
    for position in range(1, end + 1):
        states.passed(position, state_at(position))
    found = []
    for before in range(1, end + 1):
        position, state = states.before(connection, before, {})
        assert state == (state_at(position) if position else EMPTY)
        found.append(position)
        # what is folded for it beside what a strike there folds anew anyhow
        assert before - position <= 4 + (end - position) * 2 / 3
    assert min(before - position for before, position in enumerate(found, 1)) == 1
    assert min(end // 4, 12) - 1 <= len(set(found)) <= 12
    assert end - found[-1] <= 4
    states.forget_from(end // 2)
    assert states.before(connection, end + 1, {})[0] in range(end // 4 - 4, end // 2)


def test_one_is_written_when_it_is_due(studio: Engine, connection: Connection) -> None:
    snapshots = Snapshots(STUDIO, studio, KEY, EVERY)
    due = []
    for position in (1, 9, 10, 15, 19, 20, 21, 29, 45, 46, 54, 55):
        snapshots.passed(position, state_at(position), {2: 4})
        snapshots.wait()
        if position in written(connection):
            due.append(position)
    assert due == [10, 20, 45, 55]
    found = latest_snapshot(connection, STUDIO, END, KEY)
    assert found is not None
    assert found.position == 55
    assert thaw(found.parts) == (state_at(55), {2: 4})


def test_a_worker_that_started_from_one_waits_from_there(
    studio: Engine, connection: Connection
) -> None:
    snapshots = Snapshots(STUDIO, studio, KEY, EVERY)
    snapshots.started_at(30)
    for position in (31, 39, 40):
        snapshots.passed(position, state_at(position), {})
        snapshots.wait()
    assert written(connection) == [40]


def test_of_two_workers_the_second_finds_it_written(studio: Engine, connection: Connection) -> None:
    one, other = Snapshots(STUDIO, studio, KEY, EVERY), Snapshots(STUDIO, studio, KEY, EVERY)
    for position, snapshots in ((10, one), (14, other), (20, one), (24, other), (34, other)):
        snapshots.passed(position, state_at(position), {})
        snapshots.wait()
    assert written(connection) == [10, 20, 34]


def test_they_are_written_one_at_a_time_of_what_was_then(
    studio: Engine, connection: Connection
) -> None:
    go_on, begun = threading.Event(), threading.Semaphore(0)

    def slowly(*args: object) -> bool:
        begun.release()
        assert go_on.wait(60)
        return write_snapshot(*args)  # type: ignore[arg-type]  # passed on as they come

    snapshots = Snapshots(STUDIO, studio, KEY, EVERY, slowly)
    struck = {2: 4}
    snapshots.passed(10, state_at(10), struck)
    assert begun.acquire(timeout=60)
    struck[3] = 11
    snapshots.passed(20, state_at(20), struck)  # due, but the first is being written
    assert not begun.acquire(blocking=False)
    assert written(connection) == []
    go_on.set()
    snapshots.wait()
    assert load(connection, STUDIO, END, KEY) == (10, (state_at(10), {2: 4}))
    snapshots.passed(21, state_at(21), struck)
    snapshots.wait()
    assert load(connection, STUDIO, END, KEY) == (21, (state_at(21), {2: 4, 3: 11}))


def test_no_connection_is_kept_that_wrote_one(studio: Engine, connection: Connection) -> None:
    closed: list[object] = []
    listen(studio, "close", lambda raw, _: closed.append(raw))
    one, other = Snapshots(STUDIO, studio, KEY, EVERY), Snapshots(STUDIO, studio, KEY, EVERY)
    for count, position in enumerate((10, 20, 30), 1):
        for snapshots in (one, other):  # the second finds it written
            snapshots.passed(position, state_at(position), {})
            snapshots.wait()
        assert len(closed) == count
    assert written(connection) == [10, 20, 30]


def logged(caplog: pytest.LogCaptureFixture) -> list[tuple[str, str, str]]:
    """What was logged: name, level, and the beginning of the text."""
    return [
        (record.name, record.levelname, record.getMessage().split(":")[0])
        for record in caplog.records
    ]


NOT_WRITTEN = ("retake_ledger.snapshots", "WARNING")


def test_one_that_cannot_be_written_is_logged_and_done_without(
    caplog: pytest.LogCaptureFixture,
) -> None:
    engine = create_engine(NOWHERE)
    snapshots = Snapshots(STUDIO, engine, KEY, EVERY)
    for position in (10, 11, 19, 20):
        snapshots.passed(position, state_at(position), {})
        snapshots.wait()
    engine.dispose()
    assert logged(caplog) == [
        (*NOT_WRITTEN, f"snapshot of {STUDIO} at {position} not written") for position in (10, 20)
    ]


def test_after_one_that_could_not_be_written_the_next_is(
    studio: Engine,
    connection: Connection,
    server_admin: Engine,
    caplog: pytest.LogCaptureFixture,
) -> None:
    lost = text("SELECT pg_terminate_backend(:process, 5000)")

    def cut_off(connection: Connection, name: str, position: int, *args: object) -> bool:
        process = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
        if position == 10:
            with server_admin.connect() as admin:
                admin.execute(lost, {"process": process})
        return write_snapshot(connection, name, position, *args)  # type: ignore[arg-type]  # passed on

    snapshots = Snapshots(STUDIO, studio, KEY, EVERY, cut_off)
    snapshots.passed(10, state_at(10), {})
    snapshots.wait()
    assert logged(caplog) == [(*NOT_WRITTEN, f"snapshot of {STUDIO} at 10 not written")]
    for position in (19, 20):
        snapshots.passed(position, state_at(position), {})
        snapshots.wait()
    assert written(connection) == [20]
    assert len(caplog.records) == 1


def test_a_worker_without_a_thread_to_spare_goes_on(
    studio: Engine,
    connection: Connection,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    def no_more(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    snapshots = Snapshots(STUDIO, studio, KEY, EVERY)
    with monkeypatch.context() as patched:
        patched.setattr(threading.Thread, "start", no_more)
        snapshots.passed(10, state_at(10), {})
        snapshots.wait()
    assert logged(caplog) == [(*NOT_WRITTEN, f"snapshot of {STUDIO} at 10 not written")]
    snapshots.passed(20, state_at(20), {})
    snapshots.wait()
    assert written(connection) == [20]


def test_a_fault_of_ours_is_loud_and_harms_nobody(
    studio: Engine, connection: Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A state that cannot be frozen: the thread ends with a traceback, the worker goes on."""
    heard: list[threading.ExceptHookArgs] = []
    monkeypatch.setattr(threading, "excepthook", heard.append)
    maps = {name: getattr(EMPTY, name) for name in State.__slots__}
    snapshots = Snapshots(STUDIO, studio, KEY, EVERY)
    snapshots.passed(10, State({**maps, "units": Map({"layout": object()})}), {})
    snapshots.wait()
    assert [fault.exc_type for fault in heard] == [NotImplementedError]
    snapshots.passed(20, state_at(20), {})
    snapshots.wait()
    assert written(connection) == [20]
