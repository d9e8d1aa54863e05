"""Statements that a connection prepares once, and libpq then runs in one round trip each.

What every request and every commit does must cost little. Through the driver's cursors a statement
takes ten times the processor time that it takes here, much of it holding up the other threads.
Values go and come in PostgreSQL's binary format, as `wire` makes and reads them.
"""

from dataclasses import dataclass
from typing import Any

from psycopg import errors
from psycopg.pq import DiagnosticField, ExecStatus, Format, TransactionStatus
from psycopg.pq.abc import PGconn, PGresult
from sqlalchemy import Connection

from service.log.engine import driver_connection

_DONE = frozenset({ExecStatus.COMMAND_OK, ExecStatus.TUPLES_OK})
_INFO = "retake-ledger-prepared"
_BEGIN = b"BEGIN ISOLATION LEVEL READ COMMITTED"


@dataclass(frozen=True, slots=True)
class Statement:
    """A statement under the name by which connections prepare it; placeholders are $1, $2."""

    name: bytes
    text: bytes


def statement(name: str, text: str) -> Statement:
    """A statement. No two have the same name."""
    return Statement(b"rl_" + name.encode(), text.encode())


def rows_of(result: PGresult) -> list[tuple[Any, ...]]:
    """The values of each row: bytes, or None for null."""
    value, columns = result.get_value, range(result.nfields)
    return [tuple([value(row, column) for column in columns]) for row in range(result.ntuples)]


def run(connection: Connection, statement: Statement, *values: bytes) -> PGresult:
    """Run a statement in the connection's transaction, which is begun if need be.

    Errors come as SQLAlchemy's and without what was passed.
    """
    if not connection.in_transaction():
        connection.begin()  # else a later commit would find nothing to commit
    with driver_connection(connection) as raw:
        libpq = raw.pgconn
        if libpq.transaction_status == TransactionStatus.IDLE:
            _checked(libpq.exec_(_BEGIN))
        return _run(connection, libpq, statement, values)


def run_alone(connection: Connection, statement: Statement, *values: bytes) -> PGresult:
    """Run a statement by itself, or in the transaction if one is open.

    For reads: neither a BEGIN nor an end of the transaction has to be sent.
    """
    with driver_connection(connection) as raw:
        return _run(connection, raw.pgconn, statement, values)


def commit(connection: Connection) -> None:
    """Commit; the connection's own commit finds nothing to do then.

    Raises InFailedSqlTransaction where a statement had failed.
    """
    with driver_connection(connection) as raw:
        libpq = raw.pgconn
        if libpq.transaction_status == TransactionStatus.IDLE:
            return
        done = _checked(libpq.exec_(b"COMMIT"))
        if done.command_status != b"COMMIT":
            raise errors.InFailedSqlTransaction("a statement had failed, so it was rolled back")


def _run(
    connection: Connection, libpq: PGconn, statement: Statement, values: tuple[bytes, ...]
) -> PGresult:
    ready: set[bytes] = connection.info.setdefault(_INFO, set())
    if statement.name not in ready:
        _checked(libpq.prepare(statement.name, statement.text))
        ready.add(statement.name)
    formats = [Format.BINARY] * len(values)
    return _checked(libpq.exec_prepared(statement.name, values, formats, Format.BINARY))


def _checked(result: PGresult) -> PGresult:
    if result.status in _DONE:
        return result
    state = result.error_field(DiagnosticField.SQLSTATE)
    if state is None:  # the server said nothing: the connection is lost
        raise errors.OperationalError(result.get_error_message())
    # the detail would repeat values
    message = result.error_field(DiagnosticField.MESSAGE_PRIMARY) or b""
    raise _kind(state.decode())(message.decode("utf-8", "replace"))


def _kind(state: str) -> type[errors.Error]:
    try:
        return errors.lookup(state)
    except KeyError:  # one of an extension
        return errors.DatabaseError
