"""Statements that a connection prepares once, and libpq then runs in one round trip each.

Or several in one round trip, while a lock is held that others wait for: each wait for the server
releases Python's interpreter lock, and getting that back can take longer than the server did.

What every request and every commit does must cost little. Through the driver's cursors a statement
takes ten times the processor time that it takes here, much of it holding up the other threads.
Values go and come in PostgreSQL's binary format, as `wire` makes and reads them.
"""

import select
from dataclasses import dataclass
from typing import Any, NamedTuple

from psycopg import errors
from psycopg.pq import ConnStatus, DiagnosticField, ExecStatus, Format, TransactionStatus
from psycopg.pq.abc import PGconn, PGresult
from sqlalchemy import Connection

from service.log.engine import driver_connection

_DONE = frozenset({ExecStatus.COMMAND_OK, ExecStatus.TUPLES_OK})
_INFO = "retake-ledger-prepared"
_BEGIN, _COMMIT = b"BEGIN ISOLATION LEVEL READ COMMITTED", b"COMMIT"


@dataclass(frozen=True, slots=True)
class Statement:
    """A statement under the name by which connections prepare it; placeholders are $1, $2."""

    name: bytes
    text: bytes


class Call(NamedTuple):
    """A statement with its values."""

    statement: Statement
    values: tuple[bytes, ...]


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


def run_together(connection: Connection, *calls: Call, commit: bool = False) -> list[PGresult]:
    """Run statements in one round trip in the connection's transaction, begun if need be.

    `commit` commits behind them in the same round trip; the connection's own commit finds nothing
    to do then. The error of the first that fails is raised, and what follows it is not run.
    """
    if not connection.in_transaction():
        connection.begin()  # else a later commit would find nothing to commit
    with driver_connection(connection) as raw:
        libpq = raw.pgconn
        for call in calls:
            _prepare(connection, libpq, call.statement)
        before = [_BEGIN] if libpq.transaction_status == TransactionStatus.IDLE else []
        after = [_COMMIT] if commit else []
        try:
            results = _sent_together(libpq, before, calls, after)
        except BaseException:
            connection.invalidate()  # it is lost, or may still have something to answer
            raise
        for result in results:
            _checked(result)
        if commit and results[-1].command_status != _COMMIT:
            raise errors.InFailedSqlTransaction("a statement had failed, so it was rolled back")
        return results[len(before) : len(results) - len(after)]


def _sent_together(
    libpq: PGconn, before: list[bytes], calls: tuple[Call, ...], after: list[bytes]
) -> list[PGresult]:
    """The results of what is sent in one round trip; those behind an error say so."""
    libpq.enter_pipeline_mode()
    for text in before:
        libpq.send_query_params(text, None)
    for statement, values in calls:
        formats = [Format.BINARY] * len(values)
        libpq.send_query_prepared(statement.name, values, formats, Format.BINARY)
    for text in after:
        libpq.send_query_params(text, None)
    libpq.pipeline_sync()
    results: list[PGresult] = []
    while True:
        _wait(libpq)
        result = libpq.get_result()  # None behind each statement's own
        if result is not None and result.status == ExecStatus.PIPELINE_SYNC:
            break
        if result is not None:
            results.append(result)
        elif libpq.status != ConnStatus.OK:
            raise errors.OperationalError(libpq.get_error_message())
    libpq.exit_pipeline_mode()
    return results


def _wait(libpq: PGconn) -> None:
    """Wait until there is a result.

    `get_result` waits as well, but the driver keeps the interpreter lock meanwhile.
    """
    poll = select.poll()
    while (unsent := libpq.flush()) or libpq.is_busy():
        # what is long is not taken whole, and its results may come before its end is sent
        poll.register(libpq.socket, select.POLLIN | (select.POLLOUT if unsent else 0))
        poll.poll()
        libpq.consume_input()


def _run(
    connection: Connection, libpq: PGconn, statement: Statement, values: tuple[bytes, ...]
) -> PGresult:
    _prepare(connection, libpq, statement)
    formats = [Format.BINARY] * len(values)
    return _checked(libpq.exec_prepared(statement.name, values, formats, Format.BINARY))


def _prepare(connection: Connection, libpq: PGconn, statement: Statement) -> None:
    ready: set[bytes] = connection.info.setdefault(_INFO, set())
    if statement.name not in ready:
        _checked(libpq.prepare(statement.name, statement.text))
        ready.add(statement.name)


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
