"""Databases that are made for one run on a server that is up, apart from the fixtures of tests."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Engine, create_engine, text
from sqlalchemy.engine import make_url
from sqlalchemy.pool import NullPool

from service.log.engine import service_engine
from service.log.migrate import migrate
from service.settings import Settings

SETTINGS = Settings.from_environment({"HOME": "/"})


@contextmanager
def fresh_database(url: str, name: str) -> Iterator[tuple[Engine, str]]:
    """A migrated database of the server that `url` leads to, as an engine and a URL of its own.

    It is dropped at the end.
    """
    admin = create_engine(url, isolation_level="AUTOCOMMIT", poolclass=NullPool)
    with admin.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    own_url = make_url(url).set(database=name).render_as_string(hide_password=False)
    migrate(own_url)
    engine = service_engine(own_url, SETTINGS)
    try:
        yield engine, own_url
    finally:
        engine.dispose()
        with admin.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
