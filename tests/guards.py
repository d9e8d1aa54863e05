"""What keeps the record as it is, and how the owner of the tables gets past it."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, NullPool, create_engine, text

from tests.conftest import Database


@contextmanager
def without_guard(database: Database) -> Iterator[Connection]:
    """A transaction of the owner in which events can be altered."""
    with create_engine(database.owner_url, poolclass=NullPool).begin() as owner:
        owner.execute(text("ALTER TABLE event DISABLE TRIGGER event_stays"))
        yield owner
        owner.execute(text("ALTER TABLE event ENABLE ALWAYS TRIGGER event_stays"))


def alter(database: Database, statement: str) -> None:
    """Do what the owner can do in spite of the guard; the statement must alter a row."""
    with without_guard(database) as owner:
        assert owner.execute(text(statement)).rowcount
