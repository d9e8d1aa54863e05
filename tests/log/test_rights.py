"""What a login can do beyond the service's work, with real roles."""

from collections.abc import Callable, Iterator
from uuid import uuid4

import pytest
from click.testing import CliRunner
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url
from sqlalchemy.pool import NullPool

from service.cli import main
from service.log.rights import TooManyRightsError, refuse_too_many_rights, rights_too_many
from tests.conftest import Database

Login = Callable[..., str]


@pytest.fixture
def login(database: Database) -> Iterator[Login]:
    """Makes a login that is a member of the service's role, then what else is said of it."""
    owner = create_engine(database.owner_url, poolclass=NullPool)
    made: list[str] = []

    def make(*more: str) -> str:
        name = f"login_{uuid4().hex}"
        made.append(name)
        with owner.begin() as connection:
            connection.execute(text(f"CREATE ROLE {name} LOGIN PASSWORD 'told'"))
            connection.execute(text(f"GRANT retake_ledger_service TO {name}"))
            for statement in more:
                connection.execute(text(statement.format(login=name)))
        url = make_url(database.owner_url).set(username=name, password="told")
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
        ("GRANT UPDATE (body) ON event TO {login}", "may UPDATE event"),
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
    assert any(told.startswith(right) for told in rights_too_many(url))
    with pytest.raises(TooManyRightsError, match="RETAKE_LEDGER_OWNER_DATABASE_URL") as refused:
        refuse_too_many_rights(url)
    assert "told@" not in str(refused.value)


def test_what_a_login_could_become_counts_although_it_does_not_inherit(login: Login) -> None:
    behind = make_url(login("GRANT DELETE ON event TO {login}")).username
    url = login("ALTER ROLE {login} NOINHERIT", f"GRANT {behind} TO {{login}}")
    assert rights_too_many(url) == ["may DELETE event"]


def test_the_owner_is_refused(database: Database) -> None:
    assert rights_too_many(database.owner_url)


def test_the_service_does_not_start_with_rights_too_many(
    login: Login, monkeypatch: pytest.MonkeyPatch
) -> None:
    served: list[str] = []
    monkeypatch.setattr("service.web.serving.serve", lambda _, url, __: served.append(url))
    monkeypatch.setattr("service.cli.ensure_keys", lambda _: None)
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", "")  # the command sets it; it ends with the test
    # as users say it; the port and folder are the embedded server's where it is that one
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", login("GRANT DELETE ON event TO {login}"))
    told = CliRunner().invoke(main, ["serve"])
    assert told.exit_code == 1
    assert "may DELETE event" in told.output
    assert "RETAKE_LEDGER_MORE_RIGHTS=yes" in told.output
    assert served == []
    monkeypatch.setenv("RETAKE_LEDGER_MORE_RIGHTS", "yes")
    assert CliRunner().invoke(main, ["serve"]).exit_code == 0
    monkeypatch.setenv("RETAKE_LEDGER_MORE_RIGHTS", "")
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", login())
    assert CliRunner().invoke(main, ["serve"]).exit_code == 0
    assert len(served) == 2
    monkeypatch.setenv("RETAKE_LEDGER_MORE_RIGHTS", "sure")
    assert "set yes or no" in CliRunner().invoke(main, ["serve"]).output
