"""Bring a database up to this release, as its owner; ends before any worker starts."""

from typing import cast

import psycopg
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util.exc import CommandError
from sqlalchemy import Connection, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from service.log.engine import driver_connection, owner_engine
from service.log.schema import SERVICE_ROLE

_LOCK = 0x5E7A4E  # any number, the same for every process that migrates
_WITH_SET_OPTION = 160000  # PostgreSQL 16 tells being a member from being able to act as one
_NO_RIGHT = "42501"
_OLDEST = 150000


class MigrationError(Exception):
    """The database could not be brought up to date; nothing in it has changed."""


def migrate(owner_url: str, service_url: str | None = None, *, oldest: int = _OLDEST) -> None:
    """Make or bring up to date the tables, the service's role and its login.

    Does nothing to a database that is up to date. Several processes may call it at once. A login
    named by `service_url` that does not exist is made with the URL's password; one that exists
    keeps its own. Everything happens in one transaction. Raises `MigrationError`, also where the
    server is of a version before `oldest`.
    """
    engine = owner_engine(owner_url)
    try:
        with engine.begin() as connection:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
            _check_server(connection, oldest)
            _ensure_role(connection)
            command.upgrade(_config(connection), "head")
            _ensure_member(connection, service_url)
    except DBAPIError as error:
        # not from the error itself, which has the statement, and a hashed password may be in that
        cause = cast("psycopg.Error", error.orig)
        raise MigrationError(f"{_shown(owner_url)}: {_explain(cause)}") from cause
    except CommandError as error:
        raise MigrationError(
            f"{_shown(owner_url)}: brought up to date by a later release than this one ({error}); "
            "run that release"
        ) from error
    finally:
        engine.dispose()


def revision_of(connection: Connection) -> str | None:
    """The last migration that a database has been through; None before the first."""
    return MigrationContext.configure(connection).get_current_revision()


def is_up_to_date(connection: Connection) -> bool:
    """Whether the database has every migration of this release."""
    return revision_of(connection) == ScriptDirectory.from_config(_config()).get_current_head()


def _shown(url: str) -> str:
    return make_url(url).render_as_string(hide_password=True)


def _explain(cause: psycopg.Error) -> str:
    message = cause.diag.message_primary or str(cause).strip()
    if cause.sqlstate != _NO_RIGHT:
        return message
    return (
        f"{message}; the owner needs CREATEROLE and CREATE on the schema, or have an administrator "
        f"make the role {SERVICE_ROLE} (NOLOGIN) and grant it to the service's login"
    )


def _check_server(connection: Connection, oldest: int) -> None:
    version = _version(connection)
    if version < oldest:
        raise MigrationError(
            f"the server is PostgreSQL {version // 10000}: version {oldest // 10000} or later "
            "is needed"
        )


def _version(connection: Connection) -> int:
    query = text("SELECT current_setting('server_version_num')::int")
    return int(connection.execute(query).scalar_one())


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", "service.log:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def _ensure_role(connection: Connection) -> None:
    """Make the group role if it is missing.

    Roles belong to the whole server, beyond the reach of this database's lock: another database
    may be making it just now.
    """
    if _role_exists(connection, SERVICE_ROLE):
        return
    connection.execute(
        text(
            f"DO $$ BEGIN CREATE ROLE {SERVICE_ROLE} NOLOGIN; "
            "EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL; END $$"
        )
    )


def _ensure_member(connection: Connection, service_url: str | None) -> None:
    """Let the service's login act as its role; without one of its own, the owner's."""
    owner = connection.execute(text("SELECT current_user")).scalar_one()
    url = make_url(service_url) if service_url is not None else None
    login = url.username if url is not None and url.username else owner
    if url is not None and login != owner:
        _ensure_login(connection, login, url.password)
    way = "SET" if _version(connection) >= _WITH_SET_OPTION else "MEMBER"
    able = connection.execute(
        text("SELECT pg_has_role(:login, :role, :way)"),
        {"login": login, "role": SERVICE_ROLE, "way": way},
    )
    if not able.scalar_one():
        connection.exec_driver_sql(f"GRANT {SERVICE_ROLE} TO {_quoted(connection, login)}")


def _ensure_login(connection: Connection, login: str, password: str | None) -> None:
    """Make the service's login if it is missing, and let it connect to this database."""
    database = connection.execute(text("SELECT current_database()")).scalar_one()
    name = _quoted(connection, login)
    if not _role_exists(connection, login):
        made = f"CREATE ROLE {name} LOGIN"
        if password:
            # Hashed on this side, so that no server log can show it; a hash has no quotes in it.
            with driver_connection(connection) as raw:
                hashed = raw.pgconn.encrypt_password(password.encode(), login.encode())
            made += f" PASSWORD '{hashed.decode()}'"
        connection.exec_driver_sql(made)
    connection.exec_driver_sql(
        f"GRANT CONNECT ON DATABASE {_quoted(connection, database)} TO {name}"
    )


def _quoted(connection: Connection, name: str) -> str:
    """A name as an identifier in SQL, which takes no parameters there."""
    return connection.dialect.identifier_preparer.quote_identifier(name)


def _role_exists(connection: Connection, role: str) -> bool:
    found = connection.execute(text("SELECT 1 FROM pg_roles WHERE rolname = :r"), {"r": role})
    return found.first() is not None
