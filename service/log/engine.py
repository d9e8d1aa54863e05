"""The service's connections: pooled, in UTC, and never with more rights than its role has.

The limits of statements, locks and idle transactions are the server's, and end nothing once its
host is gone. So connecting has a limit, the kernel is told when to give up a silent host, and a
connection that rested is tried with a limit of ours. A proxy that answers for a dead server is seen
by none of these while a statement runs: the client is answered after `Limits.answer_s`, and the
thread is left to the statement. `web/database_faults` has the answers.
"""

import selectors
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import psycopg
from psycopg import Connection as RawConnection
from psycopg.pq import ExecStatus
from psycopg.pq.abc import PGconn
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, InvalidatePoolError
from sqlalchemy.pool import NullPool

from service.log.embedded import EmbeddedServerError, ensure_running
from service.log.schema import SERVICE_ROLE
from service.settings import Settings

POOL_SIZE = 8
"""How many connections are kept where nothing says how many are needed."""
RECYCLED_S = 600
"""How old a connection is at most, in seconds, when it is taken from the pool.

The driver's library keeps room for the largest statement and the largest row that a connection ever
carried, until it is closed: one that sent 3 MiB of bytes keeps 8 MiB. All of them are in use in
turn, so that each is replaced.
"""

_REACHING: dict[str, int] = {
    "connect_timeout": 5,
    "keepalives_idle": 5,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 20_000,  # the only one in milliseconds
}
"""When a host is given up from which nothing comes, not even that it had what was sent.

The server's own limits end nothing once its host is gone, and TCP alone tries for a quarter of an
hour, or for ever where it waits. They say nothing about how long a statement runs, and are without
effect on the socket of a folder, but for the first.
"""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long connections are trusted and a server is waited for, in seconds."""

    rested_s_max: float = 1.0
    """A connection that rested longer, or since before another was lost, is tried before use."""
    tried_s: float = 5.0
    """How long the server has to answer such a try."""
    started_anew_s: float = 2.0
    """How long nobody tries again to start an embedded server that would not start."""
    start_waited_s: float = 20.0
    """How long a thread waits while another one tries to start it."""


USUAL_PATIENCE = Patience()


class Revival:
    """The start of an embedded server that was killed; safe to use from several threads.

    One thread at a time tries, and where it fails, none for a while: each try may take minutes, as
    on a full disk, and whoever asks meanwhile is to be told at once.
    """

    def __init__(
        self,
        folder: Path,
        patience: Patience = USUAL_PATIENCE,
        start: Callable[[Path], object] = ensure_running,
    ) -> None:
        self._folder = folder
        self._patience = patience
        self._start = start
        self._lock = threading.Lock()
        self._failed: tuple[float, EmbeddedServerError] | None = None

    def start(self) -> None:
        """Start the embedded server where it does not run; not again at once after it failed.

        Raises EmbeddedServerError.
        """
        if not self._lock.acquire(timeout=self._patience.start_waited_s):
            raise EmbeddedServerError(f"{self._folder}: the server is being started")
        try:
            anew_s = self._patience.started_anew_s
            if self._failed is not None and time.monotonic() - self._failed[0] < anew_s:
                raise self._failed[1]
            self._start(self._folder)
            self._failed = None
        except EmbeddedServerError as error:
            if self._failed is None or error is not self._failed[1]:
                self._failed = (time.monotonic(), error)
            raise
        finally:
            self._lock.release()


def service_engine(
    url: str, settings: Settings, *, bounded: bool = False, patience: Patience = USUAL_PATIENCE
) -> Engine:
    """An engine whose connections act as the service's role.

    `bounded` says that the database ends what takes longer than the settings allow: a statement, a
    wait for a lock, and a transaction that does nothing. For what answers requests; a command may
    take its time.

    That role is set whatever the login is: the owner's, on the embedded server, or one that is
    its member. READ COMMITTED, since what is read under the head's lock must be what stands
    once the lock is had. The embedded server is started again if it was killed.
    """
    engine = create_engine(
        url,
        pool_size=settings.pool_size or POOL_SIZE,
        max_overflow=settings.pool_overflow,
        pool_timeout=settings.pool_wait_s,
        pool_recycle=RECYCLED_S,
        isolation_level="READ COMMITTED",
        connect_args=connect_args_of(url),
        hide_parameters=True,  # an error that is logged must not carry what people wrote
    )

    if settings.database_url is None:
        revival = Revival(settings.data, patience)

        @event.listens_for(engine, "do_connect")
        def bring_back(dialect: Any, _record: object, where: Any, how: Any) -> object:
            try:
                return dialect.connect(*where, **how)
            except psycopg.OperationalError:
                # the embedded server was killed: nobody else starts it again
                revival.start()
                return dialect.connect(*where, **how)

    @event.listens_for(engine, "connect")
    def act_as_the_service(raw: RawConnection[Any], _record: object) -> None:
        raw.execute(f"SET ROLE {SERVICE_ROLE}")
        raw.execute("SET TIME ZONE 'UTC'")
        if bounded:
            for name, limit_s in _limits_s(settings).items():
                raw.execute(f"SET {name} = '{limit_s}s'")
        raw.commit()  # else the first rollback would take both back

    _try_what_rested(engine, patience)
    return engine


def _limits_s(settings: Settings) -> dict[str, int]:
    return {
        "statement_timeout": settings.statement_s,
        "lock_timeout": settings.lock_s,
        "idle_in_transaction_session_timeout": settings.idle_transaction_s,
    }


def owner_engine(url: str) -> Engine:
    """An engine that connects as the owner of the tables, for what the service may not do."""
    return create_engine(
        url,
        poolclass=NullPool,
        isolation_level="READ COMMITTED",
        connect_args=connect_args_of(url),
        hide_parameters=True,
    )


def connect_args_of(url: str) -> dict[str, Any]:
    """What the driver is told of each connection; what the URL says itself goes before."""
    given = make_url(url).query
    return {
        # what the driver prepares by itself it deallocates at a rollback, with what `prepared` has
        "prepare_threshold": None,
        **{name: value for name, value in _REACHING.items() if name not in given},
    }


def _try_what_rested(engine: Engine, patience: Patience) -> None:
    """Try connections before use, as the pool could by itself, but not at every request."""
    lost_at_s = time.monotonic()

    @event.listens_for(engine, "checkin")
    def lay_aside(_raw: object, record: Any) -> None:
        record.info["rests_since_s"] = time.monotonic()

    @event.listens_for(engine, "invalidate")
    def remember(_raw: object, _record: object, error: object) -> None:
        nonlocal lost_at_s
        if error is not None:  # else it was closed on purpose
            lost_at_s = time.monotonic()

    @event.listens_for(engine, "checkout")
    def try_it(raw: RawConnection[Any], record: Any, _fairy: object) -> None:
        since_s = record.info.get("rests_since_s")
        if since_s is None or since_s > max(lost_at_s, time.monotonic() - patience.rested_s_max):
            return
        if not _answers(raw.pgconn, patience.tried_s):
            raise InvalidatePoolError


def _answers(pgconn: PGconn, within_s: float) -> bool:
    """Whether the server answers an empty query, and soon: the driver would wait without end."""
    until_s = time.monotonic() + within_s
    try:
        pgconn.send_query(b"")
        while pgconn.is_busy():
            # not select.select, which takes no descriptor above 1023
            with selectors.DefaultSelector() as selector:
                selector.register(pgconn.socket, selectors.EVENT_READ)
                if not selector.select(until_s - time.monotonic()):
                    return False
            pgconn.consume_input()
        answers = [answer.status for answer in iter(pgconn.get_result, None)]
    except psycopg.OperationalError:
        return False
    return answers == [ExecStatus.EMPTY_QUERY]


@contextmanager
def driver_cursor(connection: Connection) -> Iterator[psycopg.Cursor[Any]]:
    """A cursor of the driver in the same transaction, whose values come in binary.

    For what is large: through SQLAlchemy bytes come as text of twice their length, and rows cannot
    be copied in, or read one by one as they come.
    """
    if not connection.in_transaction():
        connection.begin()  # else a later commit would find nothing to commit
    with driver_connection(connection) as raw, raw.cursor(binary=True) as cursor:
        yield cursor


@contextmanager
def driver_connection(connection: Connection) -> Iterator[RawConnection[Any]]:
    """The driver's connection. Its errors come as SQLAlchemy's; a lost one leaves the pool.

    For what SQLAlchemy has no way to do: COPY, what is large (`driver_cursor`), a password hashed
    on this side, and the statements of `prepared`, which take a tenth of the time otherwise taken.
    """
    raw = cast("RawConnection[Any]", connection.connection.driver_connection)
    try:
        yield raw
    except psycopg.Error as error:
        if raw.broken:
            connection.invalidate(error)
        raise DBAPIError.instance(
            None, None, error, psycopg.Error, dialect=connection.dialect
        ) from error
