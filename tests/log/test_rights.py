"""What a login can do beyond the service's work, with real roles."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest
from click.testing import CliRunner
from sqlalchemy import Engine, create_engine, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from service.cli import main
from service.log import tokens
from service.log.rights import (
    MAY_DELETE,
    MAY_UPDATE,
    TooManyRightsError,
    refuse_too_many_rights,
    rights_too_many,
)
from service.log.schema import metadata
from tests.conftest import Database
from tests.serving import free_port

Login = Callable[..., str]


@pytest.fixture
def login(database: Database) -> Iterator[Login]:
    """Makes a login that is a member of the service's role, and executes statements about it."""
    owner = create_engine(database.owner_url, poolclass=NullPool)
    made: list[str] = []

    def make(*more: str) -> str:
        name = f"login_{uuid4().hex}"
        made.append(name)
        with owner.begin() as connection:
            connection.execute(text(f"CREATE ROLE {name} LOGIN PASSWORD 'moon'"))
            connection.execute(text(f"GRANT retake_ledger_service TO {name}"))
            for statement in more:
                connection.execute(text(statement.format(login=name)))
        url = make_url(database.owner_url).set(username=name, password="moon")
        return url.render_as_string(hide_password=False)

    yield make
    with owner.begin() as connection:
        for name in reversed(made):
            connection.execute(text(f"REASSIGN OWNED BY {name} TO CURRENT_USER"))
            connection.execute(text(f"DROP OWNED BY {name}"))
            connection.execute(text(f"DROP ROLE {name}"))


def test_a_login_of_the_service_alone_has_no_right_too_many(login: Login) -> None:
    url = login()
    assert rights_too_many(url) == []
    refuse_too_many_rights(url)


@pytest.mark.parametrize(
    ("statement", "right"),
    [
        ("ALTER ROLE {login} SUPERUSER", "is a superuser"),
        ("GRANT UPDATE ON event TO {login}", "may UPDATE event"),
        ("GRANT UPDATE (body) ON event TO {login}", "may UPDATE event (body)"),
        ("GRANT UPDATE ON studio TO {login}", "may UPDATE studio"),
        ("GRANT UPDATE ON head TO {login}", "may UPDATE head"),
        ("GRANT UPDATE (studio) ON head TO {login}", "may UPDATE head (studio)"),
        ("GRANT DELETE ON head TO {login}", "may DELETE head"),
        ("GRANT UPDATE (role) ON token TO {login}", "may UPDATE token (role)"),
        ("GRANT DELETE ON token TO {login}", "may DELETE token"),
        ("GRANT UPDATE ON trail TO {login}", "may UPDATE trail"),
        ("GRANT UPDATE (seal) ON snapshot TO {login}", "may UPDATE snapshot (seal)"),
        ("GRANT INSERT ON alembic_version TO {login}", "may INSERT alembic_version"),
        ("ALTER TABLE token OWNER TO {login}", "owns the table token"),
        ("GRANT DELETE ON event TO {login}", "may DELETE event"),
        ("GRANT TRUNCATE ON event TO {login}", "may TRUNCATE event"),
        ("GRANT TRIGGER ON event TO {login}", "may TRIGGER event"),
        ("GRANT DELETE ON personal TO {login}", "may DELETE personal"),
        ("GRANT UPDATE ON checkpoint TO {login}", "may UPDATE checkpoint"),
        ("GRANT TRUNCATE ON cosignature TO {login}", "may TRUNCATE cosignature"),
        ("ALTER TABLE personal OWNER TO {login}", "owns the table personal"),
        ("ALTER SCHEMA public OWNER TO {login}", "owns the schema public"),
        ("ALTER FUNCTION refuse_rewriting() OWNER TO {login}", "owns the function refuse_rewr"),
        ("GRANT pg_write_all_data TO {login}", "may UPDATE event"),
        ("GRANT pg_execute_server_program TO {login}", "may act as pg_execute_server_program"),
    ],
)
def test_a_right_too_many_is_named(login: Login, statement: str, right: str) -> None:
    url = login(statement)
    assert any(found.startswith(right) for found in rights_too_many(url))
    with pytest.raises(TooManyRightsError, match="RETAKE_LEDGER_OWNER_DATABASE_URL") as refused:
        refuse_too_many_rights(url)
    assert "moon@" not in str(refused.value)


READ, ADD = {"SELECT"}, {"SELECT", "INSERT"}
RIGHTS: dict[str, set[str]] = {
    "alembic_version": READ,
    "checkpoint": ADD,
    "cosignature": ADD,
    "event": ADD,
    "head": ADD
    | {
        *("UPDATE position", "UPDATE recorded_at", "UPDATE frontier"),
        *("UPDATE clock_at", "UPDATE clock_seal"),
    },
    "personal": ADD,
    "projection": ADD | {"DELETE", "UPDATE position", "UPDATE at_min", "UPDATE rules"},
    "snapshot": ADD | {"DELETE"},
    "studio": ADD,
    "token": ADD | {"UPDATE revoked_at"},
    "trail": ADD | {"DELETE"},
}
"""All that the service may do, table by table; a column is named where it is not the whole row."""


def test_the_service_may_do_this_and_nothing_else(database: Database) -> None:
    query = text(
        """
        SELECT c.relname, right_ FROM pg_class c,
            unnest(ARRAY['SELECT', 'INSERT', 'UPDATE', 'DELETE', 'TRUNCATE', 'REFERENCES',
                         'TRIGGER']) right_
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p', 'v', 'm', 'S')
        AND has_table_privilege('retake_ledger_service', c.oid, right_)
        UNION ALL
        SELECT c.relname, right_ || ' ' || a.attname
        FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0,
            unnest(ARRAY['SELECT', 'INSERT', 'UPDATE', 'REFERENCES']) right_
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p', 'v', 'm')
        AND NOT a.attisdropped
        AND has_column_privilege('retake_ledger_service', c.oid, a.attnum, right_)
        AND NOT has_table_privilege('retake_ledger_service', c.oid, right_)
        """
    )
    engine = create_engine(database.owner_url, poolclass=NullPool)
    found: dict[str, set[str]] = {}
    with engine.connect() as connection:
        for table, right in connection.execute(query):
            found.setdefault(table, set()).add(right)
    assert found == RIGHTS
    assert {table for table in found if table != "alembic_version"} == set(metadata.tables)


def test_what_the_check_at_start_lets_pass_is_just_that() -> None:
    written = {
        table: {right.removeprefix("UPDATE ") for right in rights if right.startswith("UPDATE ")}
        for table, rights in RIGHTS.items()
    }
    assert {table: set(columns) for table, columns in MAY_UPDATE.items()} == {
        table: columns for table, columns in written.items() if columns
    }
    assert {table for table, rights in RIGHTS.items() if "DELETE" in rights} == MAY_DELETE


def test_a_token_stays_revoked(engine: Engine) -> None:
    with engine.begin() as connection:
        issued = datetime.now(UTC)
        token_id, secret = tokens.issue(connection, "paper", "a", "auditor", [], "/audit", issued)
        assert tokens.revoke(connection, "paper", token_id, issued)
    for value in ("NULL", "now()"):
        with engine.begin() as connection, pytest.raises(DBAPIError, match="revoked for good"):
            connection.execute(text(f"UPDATE token SET revoked_at = {value}"))  # noqa: S608  # ours
    with engine.connect() as connection:
        assert tokens.find(connection, secret) is None


def test_what_a_login_could_become_counts_although_it_does_not_inherit(login: Login) -> None:
    behind = make_url(login("GRANT DELETE ON event TO {login}")).username
    url = login("ALTER ROLE {login} NOINHERIT", f"GRANT {behind} TO {{login}}")
    assert rights_too_many(url) == ["may DELETE event"]


def test_the_owner_is_refused(database: Database) -> None:
    assert rights_too_many(database.owner_url)


def test_the_service_does_not_start_with_rights_too_many(
    login: Login, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    served: list[str] = []
    monkeypatch.setattr("service.web.serving.serve", lambda _, url, *__: served.append(url))
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path))
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", "")  # the command sets it; it ends with the test
    # as users say it; the port and folder are the embedded server's where it is that one
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", login("GRANT DELETE ON event TO {login}"))
    result = CliRunner().invoke(main, ["serve", "--port", str(free_port())])
    assert result.exit_code == 1
    assert "may DELETE event" in result.output
    assert "RETAKE_LEDGER_MORE_RIGHTS=yes" in result.output
    assert served == []
    monkeypatch.setenv("RETAKE_LEDGER_MORE_RIGHTS", "yes")
    assert CliRunner().invoke(main, ["serve", "--port", str(free_port())]).exit_code == 0
    monkeypatch.setenv("RETAKE_LEDGER_MORE_RIGHTS", "")
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", login())
    assert CliRunner().invoke(main, ["serve", "--port", str(free_port())]).exit_code == 0
    assert len(served) == 2
    monkeypatch.setenv("RETAKE_LEDGER_MORE_RIGHTS", "sure")
    assert "set yes or no" in CliRunner().invoke(main, ["serve", "--port", str(free_port())]).output


def test_the_service_does_not_start_with_a_key_that_others_can_read(
    login: Login, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    served: list[str] = []
    monkeypatch.setattr("service.web.serving.serve", lambda _, url, *__: served.append(url))
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", "")
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", login())
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path))
    assert CliRunner().invoke(main, ["serve", "--port", str(free_port())]).exit_code == 0
    keys = sorted(tmp_path.iterdir())
    assert [key.name for key in keys] == ["checkpoint-0001.pem", "seals.key"]
    for key in keys:
        key.chmod(0o640)
        result = CliRunner().invoke(main, ["serve", "--port", str(free_port())])
        assert (result.exit_code, len(served)) == (1, 1)
        assert f"Error: others may read the key {key}: run chmod 600" in result.output
        key.chmod(0o600)
    assert CliRunner().invoke(main, ["serve", "--port", str(free_port())]).exit_code == 0
