"""Snapshots in the database: whom they serve, which are kept, and who writes them."""

import os
import re
import shutil
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path

import pytest
from sqlalchemy import Connection, Engine, insert, text
from sqlalchemy.exc import DBAPIError

import service
from service.log import schema
from service.log.snapshots import (
    KEPT,
    Snapshot,
    latest_snapshot,
    made_by,
    release_digest,
    write_snapshot,
)
from service.log.studios import make_studio
from service.proofs.seals import seal
from tests.log.recording import START_US, STUDIO, record

SERVICE = Path(service.__file__).parent
END = 40
OTHER = "south"
KEY = bytes(range(32))


@pytest.fixture
def studio(engine: Engine) -> Engine:
    """The engine of a database with two studios of so many events each."""
    with engine.begin() as connection:
        for name in (STUDIO, OTHER):
            make_studio(connection, name, "simulated", START_US)
            record(connection, [{} for _ in range(END)], studio=name)
    return engine


@pytest.fixture
def connection(studio: Engine) -> Iterator[Connection]:
    with studio.begin() as connection:
        yield connection


def made_by_another_release(connection: Connection) -> None:
    """Have all that is stored be what another release made and sealed."""
    for row in connection.execute(text("DELETE FROM snapshot RETURNING *")).all():
        values = (row.studio, row.position, "another", row.leaf, row.digest)
        sealed = seal(KEY, "snapshot", *values)
        made = {**row._mapping, "made_by": "another", "seal": sealed}
        connection.execute(insert(schema.snapshot).values(made))


def write(connection: Connection, position: int, apart: int = 1, studio: str = STUDIO) -> bool:
    return write_snapshot(connection, studio, position, [b"%d" % position], apart, KEY)


def latest(connection: Connection, until: int = END, studio: str = STUDIO) -> int:
    found = latest_snapshot(connection, studio, until, KEY)
    return 0 if found is None else found.position


def kept(connection: Connection, studio: str = STUDIO) -> list[int]:
    query = text("SELECT position FROM snapshot WHERE studio = :studio ORDER BY position")
    return list(connection.execute(query, {"studio": studio}).scalars())


def forge(connection: Connection, position: int, leaf: bytes = bytes(32)) -> None:
    """A snapshot of this release, made from another log."""
    statement = text(
        "INSERT INTO snapshot (studio, position, made_by, leaf, parts, digest, seal) "
        "VALUES (:studio, :position, :made_by, :leaf, ARRAY[:leaf], :leaf, :leaf)"
    )
    given = {"studio": STUDIO, "position": position, "made_by": made_by(), "leaf": leaf}
    connection.execute(statement, given)


def test_what_is_read_is_what_was_written(studio: Engine) -> None:
    parts = [os.urandom(300_000), b"", b"\x00\xff", b"{}"]
    with studio.begin() as connection:
        assert write_snapshot(connection, STUDIO, 7, iter(parts), 1, KEY)
    with studio.begin() as connection:
        assert latest_snapshot(connection, STUDIO, END, KEY) == Snapshot(7, parts)
        assert latest_snapshot(connection, OTHER, END, KEY) is None


def test_there_may_be_none(connection: Connection) -> None:
    assert latest_snapshot(connection, STUDIO, END, KEY) is None
    assert latest_snapshot(connection, "nowhere", END, KEY) is None


def test_the_last_one_up_to_a_position(connection: Connection) -> None:
    for position in (10, 20, 30):
        assert write(connection, position)
    assert [latest(connection, until) for until in (9, 10, 19, 20, 29, 30, END, 9999)] == [
        *(0, 10, 10, 20, 20, 30, 30, 30)
    ]


def test_only_this_releases(connection: Connection) -> None:
    assert write(connection, 10)
    made_by_another_release(connection)
    assert latest(connection) == 0
    # those of another release do not count as near, and go when this one has its own
    assert write(connection, 12, apart=20)
    assert kept(connection) == [12]
    assert latest(connection) == 12


def test_another_releases_at_the_same_position_gives_way(connection: Connection) -> None:
    """As when a studio at rest is served by a new release."""
    assert write(connection, END)
    made_by_another_release(connection)
    assert write_snapshot(connection, STUDIO, END, [b"new"], 20, KEY)
    assert latest_snapshot(connection, STUDIO, END, KEY) == Snapshot(END, [b"new"])


def test_only_of_this_very_log(connection: Connection) -> None:
    assert write(connection, 10)
    forge(connection, 20)
    forge(connection, 30)
    assert latest(connection) == 10
    # those of another log do not count as near, and go when the next is written
    assert write(connection, 30, apart=15)
    assert kept(connection) == [10, 30]
    assert latest(connection) == 30


def test_only_what_this_service_sealed(connection: Connection) -> None:
    """Neither what another key sealed, nor a seal over something else."""
    assert write(connection, 10)
    assert latest(connection) == 10
    assert latest_snapshot(connection, STUDIO, END, bytes(32)) is None
    for change in (
        "parts = ARRAY['other'::bytea]",
        "parts = ARRAY['other'::bytea], digest = 'other'",
        "position = 12, leaf = (SELECT substr(nodes, 1, 32) FROM event e "
        "WHERE e.studio = was.studio AND e.position = 12)",
        "studio = 'south', leaf = (SELECT substr(nodes, 1, 32) FROM event e "
        "WHERE e.studio = 'south' AND e.position = was.position)",
    ):
        values = dict(one.split(" = ", 1) for one in re.split(r", (?=\w+ =)", change))
        names = ("studio", "position", "made_by", "leaf", "parts", "digest", "seal")
        chosen = ", ".join(values.get(name, name) for name in names)
        with connection.begin_nested() as nested:
            was = "WITH was AS (DELETE FROM snapshot WHERE position = 10 RETURNING *) "
            put = f"INSERT INTO snapshot ({', '.join(names)}) SELECT {chosen} FROM was"  # noqa: S608  # names of ours
            connection.execute(text(was + put))
            assert latest(connection) == 0
            assert latest(connection, studio=OTHER) == 0
            nested.rollback()
    assert latest(connection) == 10
    # nor do they count as near, and they go when the next is written
    assert write(connection, 15, apart=5)
    assert kept(connection) == [10, 15]


def test_one_of_a_position_that_the_log_does_not_have_serves_nobody(
    connection: Connection,
) -> None:
    forge(connection, END + 1)
    assert latest(connection, END + 5) == 0
    assert not write(connection, END + 1)
    assert not write(connection, 0)
    assert write(connection, END)
    assert kept(connection) == [END]


def test_they_lie_apart(connection: Connection) -> None:
    assert write(connection, 10, apart=5)
    assert [write(connection, position, apart=5) for position in (10, 3, 11, 14)] == [False] * 4
    assert kept(connection) == [10]
    assert write(connection, 15, apart=5)
    assert kept(connection) == [10, 15]


def test_the_newest_stay(connection: Connection) -> None:
    positions = range(5, END + 1, 5)
    for position in positions:
        assert write(connection, position, apart=5)
        assert kept(connection)[-1] == position
    assert kept(connection) == list(positions)[-KEPT:]
    # a forged one is not one of them
    forge(connection, 39)
    with connection.begin_nested():
        record(connection, [{}] * 5)
    assert write(connection, END + 5, apart=5)
    assert kept(connection) == [END - 5, END, END + 5]


def test_other_studios_are_left_alone(connection: Connection) -> None:
    for position in (10, 20, 30):
        assert write(connection, position, studio=OTHER)
    made_by_another_release(connection)
    assert write(connection, 35, apart=40)
    assert kept(connection, OTHER) == [10, 20, 30]
    assert latest(connection) == 35


def encoded(part: bytes) -> bytes:
    raise AssertionError("encoded for nothing")


def never() -> Iterator[bytes]:
    """Parts that must not be asked for."""
    return map(encoded, [b""])


def test_of_two_that_write_at_once_one_does(studio: Engine) -> None:
    with studio.connect() as one, studio.connect() as other:
        other.execute(text("SET LOCAL lock_timeout = '2s'"))
        assert write(one, 20)
        assert not write_snapshot(other, STUDIO, 21, never(), 1, KEY)
        # another studio's does not wait either
        assert write(other, 20, studio=OTHER)
        one.commit()
        # the lock went with the transaction, and what it wrote is seen
        assert not write_snapshot(other, STUDIO, 24, never(), 5, KEY)
        assert write(other, 25, apart=5)
        other.commit()
    with studio.begin() as connection:
        assert kept(connection) == [20, 25]
        assert kept(connection, OTHER) == [20]


def test_one_that_fails_leaves_nothing_and_is_in_nobodys_way(studio: Engine) -> None:
    with studio.begin() as connection:
        assert write(connection, 10)
    with pytest.raises(AssertionError, match="for nothing"), studio.begin() as connection:
        write_snapshot(connection, STUDIO, 20, never(), 1, KEY)
    with studio.begin() as connection:
        assert kept(connection) == [10]
        assert write(connection, 20)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE snapshot SET parts = '{}'",
        "UPDATE snapshot SET position = 1",
        "TRUNCATE snapshot",
        "ALTER TABLE snapshot ADD COLUMN more text",
        "DROP TABLE snapshot",
    ],
)
def test_the_service_may_not(studio: Engine, statement: str) -> None:
    with studio.begin() as connection:
        assert write(connection, 10)
    with studio.begin() as connection, pytest.raises(DBAPIError, match=r"denied|must be owner"):
        connection.execute(text(statement))


def test_the_service_may_insert_select_and_delete(connection: Connection) -> None:
    assert write(connection, 10)
    forge(connection, 11)
    assert kept(connection) == [10, 11]
    assert connection.execute(text("DELETE FROM snapshot")).rowcount == 2


def test_parts_are_stored_as_they_are(connection: Connection) -> None:
    query = text(
        "SELECT attname, attstorage::text FROM pg_attribute "
        "WHERE attrelid = 'snapshot'::regclass AND attname IN ('parts', 'leaf')"
    )
    # PostgreSQL, pg_attribute: e is EXTERNAL (out of line, not compressed), x is EXTENDED
    assert {tuple(row) for row in connection.execute(query)} == {("parts", "e"), ("leaf", "x")}


@pytest.fixture
def source(tmp_path: Path) -> Path:
    """A copy of the core's source text, to be changed."""
    for folder in ("vocabulary", "production"):
        ignored = shutil.ignore_patterns("__pycache__")
        shutil.copytree(SERVICE / folder, tmp_path / folder, ignore=ignored)
    return tmp_path


def test_another_release_is_one_with_another_core(source: Path) -> None:
    here = release_digest(source)
    assert here == made_by()  # wherever it lies
    (source / "production" / "nouns" / "more.py").write_text("# more\n")
    more = release_digest(source)
    (source / "production" / "nouns" / "more.py").unlink()
    assert release_digest(source) == here
    rules = source / "vocabulary" / "calendar.py"
    rules.write_text(rules.read_text() + "\n")
    assert len({here, more, release_digest(source)}) == 3


@pytest.mark.parametrize("package", ["msgspec", "tzdata"])
def test_another_release_is_one_with_another(package: str) -> None:
    """Packing, and the time zones by which work that was taken back had been counted."""

    def version_of(name: str) -> str:
        return "2099.1" if name == package else version(name)

    assert release_digest(SERVICE) == made_by()
    assert release_digest(SERVICE, version_of) != made_by()
