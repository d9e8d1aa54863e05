"""Databases for tests: each is a clone of one that was migrated once a session.

A test runs on the embedded server; what lies in `ON_BOTH` on a server in a container as well, and
that is skipped where no container engine answers. Both keep their data in memory, where there is a
disk of that kind. Who asks for `database` may do anything to it, and it is dropped. An `engine`
alone acts as the service, which may change no more than rows: its database is emptied, which takes
a tenth of the time, and lent to another test.
"""

import os
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn
from uuid import uuid4

import pytest
from sqlalchemy import Engine, create_engine, delete, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import InvalidRequestError
from sqlalchemy.pool import StaticPool
from testcontainers.community.postgres import PostgresContainer
from xdist.remote import Producer
from xdist.scheduler import LoadFileScheduling

from service.log.embedded import ensure_running
from service.log.engine import service_engine
from service.log.migrate import migrate
from service.log.schema import metadata
from service.settings import Settings
from tests.engine import require_engine
from tests.properties import register_profiles
from tests.serving import data_folder, memory_disk

# before numba is loaded: kernels of these processes check each access to an array
os.environ["NUMBA_BOUNDSCHECK"] = "1"
register_profiles()

TEMPLATE = "template_migrated"
TESTS = Path(__file__).parent
_REFUSING = text("SELECT pg_get_functiondef('refuse_rewriting'::regproc)")
_LENIENT = (
    "CREATE OR REPLACE FUNCTION refuse_rewriting() RETURNS trigger LANGUAGE plpgsql "
    "AS 'BEGIN RETURN NULL; END'"
)
_END_OTHERS = (
    "SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity WHERE pid <> pg_backend_pid() "
    "AND datname = current_database() AND backend_type = 'client backend'"
)
ON_BOTH = (
    *("log", "checking", "feeds", "intake", "projections"),
    *("web/test_extremes.py", "web/nouns/test_events.py", "web/nouns/test_forgotten.py"),
)
"""What the second server must agree with: all that has SQL of its own, and every address once."""
SEASON = ("seed", "production/test_snapshot.py")
"""What asks for all of the demo's log, which takes long to make: one process does it for them."""
FIRST = ("docker", "test_readme.py", "seed", "benchmarks", "test_memory.py", "crash", "outside")
"""What takes longest begins first, or it would be waited for at the end."""


@dataclass(frozen=True)
class Database:
    """A database of this test alone, migrated, with no studio in it."""

    owner_url: str
    service_url: str


@dataclass(frozen=True)
class Server:
    """A running server with the template in it, and databases that are empty again."""

    admin: Engine
    owner_url: str
    service_url: str
    emptied: "list[Emptied]" = field(default_factory=list)

    def database_named(self, name: str) -> Database:
        return Database(_at(self.owner_url, name), _at(self.service_url, name))

    def make(self, name: str, template: str = "template1") -> None:
        with self.admin.connect() as connection:
            # what else there is writes every page to the log first
            connection.execute(
                text(f"CREATE DATABASE {name} TEMPLATE {template} STRATEGY FILE_COPY")
            )

    def drop(self, name: str) -> None:
        with self.admin.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))

    @contextmanager
    def lent(self) -> Iterator[Database]:
        """A database without a studio for somebody who changes no more than rows."""
        if not self.emptied:
            name = f"lent_{uuid4().hex}"
            self.make(name, TEMPLATE)
            self.emptied.append(Emptied(self.database_named(name)))
        lent = self.emptied.pop()
        try:
            yield lent.database
            lent.empty()
        except BaseException:
            lent.leave()
            raise
        self.emptied.append(lent)


class Emptied:
    """A database without a studio, and how it becomes so again."""

    def __init__(self, database: Database) -> None:
        self.database = database
        # tests end connections: this one too
        self._owner = create_engine(
            database.owner_url,
            isolation_level="AUTOCOMMIT",
            pool_size=1,
            pool_pre_ping=True,
            connect_args={"options": "-c lock_timeout=10s"},
        )
        with self._owner.connect() as connection:
            refusing = connection.execute(_REFUSING).scalar_one()
        rows = [str(delete(table)) for table in reversed(metadata.sorted_tables)]
        # what is recorded stays as it is, even for the owner
        self._statements = "; ".join((_END_OTHERS, _LENIENT, *rows, refusing.replace("%", "%%")))

    def empty(self) -> None:
        """Remove the rows of all tables, once nobody else is connected any more."""
        with self._owner.connect() as connection:
            connection.exec_driver_sql(self._statements)

    def leave(self) -> None:
        """Close its connection."""
        self._owner.dispose()


@pytest.fixture(scope="session")
def embedded() -> Iterator[Server]:
    """The embedded server, brought up once for all tests of a process."""
    with data_folder(memory_disk()) as data:
        url = ensure_running(data, durable=False)
        yield from _with_template(url, url)


@pytest.fixture(scope="session")
def container() -> Iterator[Server]:
    """A server in a container, likewise."""
    require_engine()
    container = PostgresContainer(
        "postgres:15", username="owner", password="owner-secret", dbname="ledger", driver="psycopg"
    )
    container.with_command("-c fsync=off -c max_connections=200")
    container.with_tmpfs_mount("/var/lib/postgresql/data")
    with container:
        url = make_url(container.get_connection_url())
        service = url.set(username="desk_service", password="service-secret")
        yield from _with_template(
            url.render_as_string(hide_password=False),
            service.render_as_string(hide_password=False),
        )


def _with_template(owner_url: str, service_url: str) -> Iterator[Server]:
    admin = create_engine(owner_url, isolation_level="AUTOCOMMIT", poolclass=StaticPool)
    server = Server(admin, owner_url, service_url)
    server.make(TEMPLATE)
    template = server.database_named(TEMPLATE)
    migrate(template.owner_url, template.service_url)
    yield server
    for lent in server.emptied:
        lent.leave()
    admin.dispose()


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Have a test that needs a server run on the one, or on both."""
    if "server" in metafunc.fixturenames:
        file = metafunc.definition.path.relative_to(TESTS)
        on_both = any(file.is_relative_to(place) for place in ON_BOTH)
        servers = ["embedded", "container"] if on_both else ["embedded"]
        metafunc.parametrize("server", servers, indirect=True)


def pytest_xdist_auto_num_workers() -> int:
    """One process more than there are cores: a third of their time tests wait for something."""
    cores = len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1
    return int(os.environ.get("PYTEST_XDIST_AUTO_NUM_WORKERS", cores + 1))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put what takes longest in front; files stay together.

    Raises `pytest.UsageError` where two tests have one name: xdist would run one of them alone.
    """
    named = Counter(item.nodeid for item in items)
    twice = sorted(name for name, count in named.items() if count > 1)
    if twice:
        raise pytest.UsageError(f"several tests are named {twice[0]}; give each a name of its own")
    items.sort(key=lambda item: _turn(item.path.relative_to(TESTS)))


def _turn(file: Path) -> int:
    found = (turn for turn, place in enumerate(FIRST) if file.is_relative_to(place))
    return next(found, len(FIRST))


class Together(LoadFileScheduling):  # type: ignore[misc]  # xdist ships no types for it
    """Gives each file to a process, all of `SEASON` to one, and each benchmark to any one."""

    def _split_scope(self, nodeid: str) -> str:
        file = (TESTS.parent / nodeid.partition("::")[0]).relative_to(TESTS)
        if any(file.is_relative_to(place) for place in SEASON):
            return "season"
        return nodeid if file.is_relative_to("benchmarks") else super()._split_scope(nodeid)


def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> Together | None:
    """Distribute tests so that what is dear is made once, unless asked for another way."""
    return Together(config, log) if config.getvalue("dist") == "loadfile" else None


# not a parameter of the session: a server would be started anew whenever it changes, twice a file
@pytest.fixture
def server(request: pytest.FixtureRequest) -> Server:
    """Each server in turn."""
    running: Server = request.getfixturevalue(request.param)
    return running


@pytest.fixture
def server_admin(server: Server) -> Engine:
    """An engine of the server's owner, in its maintenance database, each statement by itself."""
    return server.admin


@pytest.fixture
def database(server: Server) -> Iterator[Database]:
    """A fresh database: the owner's URL and the service's."""
    name = f"test_{uuid4().hex}"
    server.make(name, TEMPLATE)
    yield server.database_named(name)
    server.drop(name)


@pytest.fixture
def empty_database(server: Server) -> Iterator[Database]:
    """One that was never migrated."""
    name = f"test_{uuid4().hex}"
    server.make(name)
    yield server.database_named(name)
    server.drop(name)


@pytest.fixture
def engine(request: pytest.FixtureRequest, server: Server) -> Iterator[Engine]:
    """The service's engine on a database without a studio: the test's own where it has one."""
    if "database" in request.fixturenames:
        yield from _engine_on(request.getfixturevalue("database"))
    else:
        with server.lent() as lent:
            yield from _engine_on(lent)


def _engine_on(database: Database) -> Iterator[Engine]:
    engine = service_engine(database.service_url, Settings.from_environment({"HOME": "/"}))
    yield engine
    engine.dialect.connect = _refuse  # type: ignore[method-assign]  # for this engine alone
    engine.dispose()


def _refuse(*_: object, **__: object) -> NoReturn:
    """Keep threads that a test has left behind out of the next one's database."""
    raise InvalidRequestError("the test is over")


def _at(url: str, database: str) -> str:
    return make_url(url).set(database=database).render_as_string(hide_password=False)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say why tests were skipped, once for each reason."""
    skipped = terminalreporter.stats.get("skipped", [])
    reasons = Counter(report.longrepr[2].removeprefix("Skipped: ") for report in skipped)
    for reason, count in sorted(reasons.items()):
        terminalreporter.write_line(f"skipped {count}: {reason}")
