"""The thread that keeps trails built: several workers, one at a time, whatever they meet."""

import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, func, insert, literal, select, text, update
from sqlalchemy.engine import make_url
from sqlalchemy.exc import OperationalError

from service.history import History
from service.log import schema
from service.log.schema import projection, trail
from service.log.studios import make_studio
from service.planning.compare.trail import DateMove
from service.projections import rows
from service.projections.projector import Pace, Projector, unbuilt
from service.settings import Settings
from service.studio import Studio
from service.web.serving import projector_of
from tests import recording
from tests.conftest import Database
from tests.projections.logs import NAME, LogEntry, entries_at_random, is_free, record
from tests.projections.test_walking import over, stored, wanted
from tests.waiting import wait_until

SOON = Pace(poll_s=0.02)


def projector_on(engine: Engine, pace: Pace = SOON) -> Projector:
    studios: dict[str, Studio] = {}
    return Projector(
        lambda name: studios.setdefault(name, Studio(name, engine, lambda: 0)), engine, pace
    )


class BrokenHistory(History):
    """One that cannot be folded."""

    def apart(self) -> History:
        raise ZeroDivisionError


class HeldHistory(History):
    """One that is folded once it is let go."""

    def __init__(self, name: str, engine: Engine) -> None:
        super().__init__(name, engine)
        self.begun, self.let_go = threading.Event(), threading.Event()

    def apart(self) -> History:
        self.begun.set()
        assert self.let_go.wait(20)
        return super().apart()


def studio_with(history: History, engine: Engine) -> Studio:
    studio = Studio(history.name, engine, lambda: 0)
    studio.history = history
    return studio


@contextmanager
def running(*projectors: Projector) -> Iterator[None]:
    for one in projectors:
        one.start()
    try:
        yield
    finally:
        for one in projectors:
            one.stop()


def test_several_workers_build_what_one_would(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(5)
    with running(*(projector_on(engine) for _ in range(3))):
        first = 0
        for until in (20, 27, 41, len(entries)):
            record(engine, entries[first:until])
            first = until
            time.sleep(0.1)
        wait_until(lambda: stored(engine) == wanted(over(entries)))


def test_nothing_is_left_to_build_where_no_minute_is_over(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(1)
    record(engine, entries)
    one = projector_on(engine)
    assert one.build_on()
    wait_until(lambda: not one.build_on())
    assert stored(engine) == wanted(over(entries))
    with engine.connect() as connection:
        (left,) = unbuilt(connection)
    assert left == (NAME, entries[-1][0].recorded_us // 60_000_000)


def test_a_studio_without_events_has_nothing_to_build(engine: Engine) -> None:
    recording.make(engine)
    assert not projector_on(engine).build_on()


def copy_as(engine: Engine, name: str, entries: Sequence[LogEntry]) -> None:
    """Another studio with the same record."""
    with engine.begin() as connection:
        make_studio(connection, name, "simulated", entries[0][0].recorded_us)
        columns = [column for column in schema.event.c if column.name != "studio"]
        copied = select(literal(name), *columns).where(schema.event.c.studio == NAME)
        connection.execute(
            insert(schema.event).from_select(["studio", *(one.name for one in columns)], copied)
        )
        standing = [column for column in schema.head.c if column.name != "studio"]
        last = connection.execute(select(*standing).where(schema.head.c.studio == NAME)).one()
        connection.execute(
            update(schema.head).where(schema.head.c.studio == name).values(**last._asdict())
        )


def test_one_studio_that_cannot_be_built_does_not_keep_others_waiting(
    engine: Engine, caplog: pytest.LogCaptureFixture
) -> None:
    recording.make(engine)
    entries = entries_at_random(2)
    record(engine, entries)
    copy_as(engine, "a-broken-one", entries)
    studios = {
        NAME: Studio(NAME, engine, lambda: 0),
        "a-broken-one": studio_with(BrokenHistory("a-broken-one", engine), engine),
    }
    one = Projector(studios.__getitem__, engine, SOON)
    with running(one):
        wait_until(lambda: stored(engine) == wanted(over(entries)))
    assert sum("cannot be built" in line.message for line in caplog.records) == 1
    wait_until(lambda: is_free(engine, "a-broken-one"))


def test_a_studio_that_cannot_be_built_is_let_alone_by_a_thread_that_found_it_before(
    engine: Engine, caplog: pytest.LogCaptureFixture
) -> None:
    recording.make(engine)
    record(engine, entries_at_random(2))
    studio = studio_with(BrokenHistory(NAME, engine), engine)
    found, let_go = threading.Event(), threading.Event()

    def studio_of(_: str) -> Studio:
        if threading.current_thread() is slow:
            found.set()
            assert let_go.wait(20)
        return studio

    one = Projector(studio_of, engine, SOON)
    slow = threading.Thread(target=one.build_on)
    slow.start()
    assert found.wait(20)
    one.build_on()
    let_go.set()
    slow.join()
    assert sum("cannot be built" in line.message for line in caplog.records) == 1


def test_it_goes_on_when_its_connections_are_lost(
    engine: Engine, database: Database, server_admin: Engine
) -> None:
    pace = replace(SOON, piece_s=0.001)
    recording.make(engine)
    entries = entries_at_random(3)
    record(engine, entries)
    lost = text("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = :name")
    name = make_url(database.owner_url).database
    with running(projector_on(engine, pace), projector_on(engine, pace)):
        for _ in range(5):
            time.sleep(0.05)
            with server_admin.connect() as connection:
                connection.execute(lost, {"name": name})
        wait_until(lambda: _stored_or_none(engine) == wanted(over(entries)))


def _stored_or_none(engine: Engine) -> list[DateMove] | None:
    try:
        return stored(engine)
    except OperationalError:  # by a connection that was lost
        return None


def test_it_ends_in_the_middle_of_a_piece(engine: Engine) -> None:
    recording.make(engine)
    record(engine, entries_at_random(3))
    held = HeldHistory(NAME, engine)
    studio = studio_with(held, engine)
    one = Projector(lambda _: studio, engine, SOON)
    one.start()
    assert held.begun.wait(20)
    one.stop(within_s=0)
    held.let_go.set()
    one.stop()
    with engine.connect() as connection:
        assert connection.scalar(select(func.count()).select_from(trail)) == 0
    wait_until(lambda: is_free(engine, NAME))


def test_one_studio_whose_minute_takes_long_does_not_keep_others_waiting(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(2)
    record(engine, entries)
    copy_as(engine, "a-slow-one", entries)
    slow = HeldHistory("a-slow-one", engine)
    studios = {NAME: Studio(NAME, engine, lambda: 0), slow.name: studio_with(slow, engine)}
    with running(Projector(studios.__getitem__, engine, SOON)):
        assert slow.begun.wait(20)
        wait_until(lambda: stored(engine) == wanted(over(entries)))
        slow.let_go.set()


def test_a_studio_with_nothing_to_build_takes_no_turn(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(2)
    record(engine, entries)
    copy_as(engine, "another", entries)
    one = projector_on(engine, replace(SOON, piece_s=0.0, poll_s=3600.0))
    with engine.begin() as connection:
        built = projection.insert().values(
            studio="another", name=rows.NAME, rules=rows.RULES,
            position=entries[-1][0].position - 1, at_min=0,
        )  # fmt: skip
        connection.execute(built)
    turns = 0
    while one.build_on():
        turns += 1
    assert turns > 1
    assert stored(engine) == wanted(over(entries))


def test_those_who_wait_take_turns(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(2)
    record(engine, entries)
    names = [NAME, "a-second", "a-third"]
    for name in names[1:]:
        copy_as(engine, name, entries)
    taken: list[str] = []

    def studio_of(name: str) -> Studio:
        return Studio(name, engine, lambda: 0)

    class Noting(Projector):
        def _build(self, name: str) -> bool:
            taken.append(name)
            return super()._build(name)

    one = Noting(studio_of, engine, replace(SOON, piece_s=0.0))
    for _ in range(6):
        assert one.build_on()
    assert taken[:3] == taken[3:]
    assert sorted(taken[:3]) == sorted(names)


class BrokenPlans(Projector):
    """One that finds out nothing at first."""

    asked = 0

    def _is_due(self, *asked: Any) -> bool:
        self.asked += 1
        if self.asked <= 3:
            raise ZeroDivisionError
        return super()._is_due(*asked)


def test_a_thread_goes_on_after_a_fault_of_ours(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(2)
    record(engine, entries)
    one = BrokenPlans(lambda _: Studio(NAME, engine, lambda: 0), engine, replace(SOON, threads=1))
    with running(one):
        wait_until(lambda: stored(engine) == wanted(over(entries)))


def test_it_builds_with_as_few_connections_as_may_be_set(
    engine: Engine, database: Database, tmp_path: Path
) -> None:
    recording.make(engine)
    entries = entries_at_random(2)
    record(engine, entries)
    settings = Settings.from_environment({"RETAKE_LEDGER_DATA": str(tmp_path)})
    few = replace(settings, pool_size=1, pool_overflow=0)
    one = projector_of(few, database.service_url)
    with running(one):
        wait_until(lambda: stored(engine) == wanted(over(entries)))
    one._engine.dispose()
