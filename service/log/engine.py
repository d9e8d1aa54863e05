"""The service's connections: pooled, in UTC, and never with more rights than its role has."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, cast

import psycopg
from psycopg import Connection as RawConnection
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError

from service.log.embedded import ensure_running
from service.log.schema import SERVICE_ROLE
from service.settings import Settings


def service_engine(url: str, settings: Settings) -> Engine:
    """An engine whose connections act as the service's role.

    That role is set whatever the login is: the owner's, on the embedded server, or one that is
    its member. READ COMMITTED, since what is read under the head's lock must be what stands
    once the lock is had. The embedded server is started again if it was killed.
    """
    engine = create_engine(
        url,
        pool_size=settings.pool_size,
        max_overflow=settings.pool_overflow,
        pool_timeout=settings.pool_wait_s,
        pool_pre_ping=True,
        isolation_level="READ COMMITTED",
        hide_parameters=True,  # an error that is logged must not carry what people wrote
    )

    if settings.database_url is None:

        @event.listens_for(engine, "do_connect")
        def bring_back(dialect: Any, _record: object, where: Any, how: Any) -> object:
            try:
                return dialect.connect(*where, **how)
            except psycopg.OperationalError:
                # the embedded server was killed: nobody else starts it again
                ensure_running(settings.data)
                return dialect.connect(*where, **how)

    @event.listens_for(engine, "connect")
    def act_as_the_service(raw: RawConnection[Any], _record: object) -> None:
        raw.execute(f"SET ROLE {SERVICE_ROLE}")
        raw.execute("SET TIME ZONE 'UTC'")
        raw.commit()  # else the first rollback would take both back

    return engine


@contextmanager
def raw_cursor(connection: Connection) -> Iterator[psycopg.Cursor[Any]]:
    """A binary cursor of the driver, in the same transaction: for what must be fast.

    Its errors come as SQLAlchemy's, like those of everything else.
    """
    if not connection.in_transaction():
        connection.begin()  # else a later commit would find nothing to commit
    raw = cast("RawConnection[Any]", connection.connection.driver_connection)
    try:
        with raw.cursor(binary=True) as cursor:
            yield cursor
    except psycopg.Error as error:
        if raw.broken:
            connection.invalidate(error)
        raise DBAPIError.instance(
            None, None, error, psycopg.Error, dialect=connection.dialect
        ) from error
