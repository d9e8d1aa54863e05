"""Bring a database up to this release, as its owner; ends before any worker starts."""

from typing import cast

import psycopg
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from psycopg import sql
from sqlalchemy import Connection, create_engine, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import OperationalError, ProgrammingError
from sqlalchemy.pool import NullPool

from service.log.engine import raw_cursor
from service.log.schema import SERVICE_ROLE

_LOCK = 0x5E7A4E  # any number, the same for every process that migrates
_WITH_SET_OPTION = 160000  # PostgreSQL 16 tells being a member from being able to act as one

_NO_RIGHT = "42501"


class MigrationError(Exception):
    """The database could not be brought up to date; nothing in it has changed."""


def migrate(owner_url: str, service_url: str | None = None) -> None:
    """Make or bring up to date the tables, the service's role and its login.

    Does nothing to a database that is up to date. Several processes may call it at once. A login
    named by `service_url` that does not exist is made with the URL's password; one that exists
    keeps its own. Everything happens in one transaction. Raises `MigrationError`.
    """
    engine = create_engine(owner_url, poolclass=NullPool)
    try:
        with engine.begin() as connection:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
            _ensure_role(connection)
            command.upgrade(_config(connection), "head")
            _ensure_membership(connection)
            if service_url is not None:
                _ensure_login(connection, make_url(service_url))
    except (OperationalError, ProgrammingError) as error:
        where = make_url(owner_url).render_as_string(hide_password=True)
        cause = cast("psycopg.Error", error.orig)
        said = cause.diag.message_primary or str(cause).strip()
        remedy = ""
        if cause.sqlstate == _NO_RIGHT:
            remedy = (
                "; the owner needs CREATEROLE and CREATE on the schema, or have an administrator "
                f"make the role {SERVICE_ROLE} (NOLOGIN) and the service's login first"
            )
        raise MigrationError(f"{where}: {said}{remedy}") from error
    finally:
        engine.dispose()


def is_up_to_date(connection: Connection) -> bool:
    """Whether the database has every migration of this release."""
    made = MigrationContext.configure(connection).get_current_revision()
    return made == ScriptDirectory.from_config(_config()).get_current_head()


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


def _ensure_membership(connection: Connection) -> None:
    """Let the owner act as the service, where both use one login."""
    version = connection.execute(text("SELECT current_setting('server_version_num')::int"))
    way = "SET" if version.scalar_one() >= _WITH_SET_OPTION else "MEMBER"
    able = connection.execute(
        text("SELECT pg_has_role(current_user, :role, :way)"), {"role": SERVICE_ROLE, "way": way}
    )
    if not able.scalar_one():
        connection.execute(text(f"GRANT {SERVICE_ROLE} TO CURRENT_USER"))


def _ensure_login(connection: Connection, url: URL) -> None:
    login = url.username
    if login is None or login == connection.execute(text("SELECT current_user")).scalar_one():
        return
    database = connection.execute(text("SELECT current_database()")).scalar_one()
    name, group = sql.Identifier(login), sql.Identifier(SERVICE_ROLE)
    exists = _role_exists(connection, login)
    with raw_cursor(connection) as cursor:
        if not exists:
            made = sql.SQL("CREATE ROLE {} LOGIN").format(name)
            if url.password:
                # Hashed on this side, so that no server log can show it.
                crypt = cursor.connection.pgconn.encrypt_password
                hashed = crypt(url.password.encode(), login.encode())
                made += sql.SQL(" PASSWORD {}").format(sql.Literal(hashed.decode()))
            cursor.execute(made)
        connect = sql.SQL("GRANT CONNECT ON DATABASE {} TO {}")
        cursor.execute(connect.format(sql.Identifier(database), name))
        cursor.execute(sql.SQL("GRANT {} TO {}").format(group, name))


def _role_exists(connection: Connection, role: str) -> bool:
    found = connection.execute(text("SELECT 1 FROM pg_roles WHERE rolname = :r"), {"r": role})
    return found.first() is not None
