"""What is answered where the database cannot do what a request needs."""

import logging
from typing import NamedTuple

import psycopg
from flask import Flask, g
from psycopg import errors
from sqlalchemy import exc

from service.log.server_programs import EmbeddedServerError
from service.web import observing
from service.web.problems import Problem

_log = logging.getLogger("retake_ledger.web")

NOTHING_RECORDED = (
    "Nothing of this request was recorded. It can be sent again: an event is recorded once."
)
POST_AGAIN = "What was posted can be posted again."


class Said(NamedTuple):
    """What is told of a fault: what it is, when to come again, and what of the request itself."""

    what: str
    retry_s: int
    request: str = NOTHING_RECORDED


DISK_FULL = Said("The disk of the database is full.", observing.FULL_S)
_BUSY = Said("All connections to the database are in use.", 2)
# a connection that was lost may have been lost after a commit: nothing is said of that then
_CANNOT = Said("The database cannot be reached.", 5, POST_AGAIN)
_FAULTS_OF: tuple[tuple[type[Exception], Said], ...] = (
    (exc.TimeoutError, _BUSY),
    (errors.DiskFull, DISK_FULL),
    (errors.LockNotAvailable, Said("Another transaction has held a lock for too long.", 5)),
    (errors.QueryCanceled, Said("The database took too long for a statement.", 10)),
    (
        errors.IdleInTransactionSessionTimeout,
        Said("The service left the database waiting for too long.", 5),
    ),
    (
        EmbeddedServerError,
        Said("The database cannot be reached: it ended, and does not start.", 30, POST_AGAIN),
    ),
)


FAULTS = (
    exc.OperationalError,
    exc.InterfaceError,
    exc.InternalError,
    exc.TimeoutError,
    psycopg.OperationalError,
    EmbeddedServerError,
)
"""What is raised where the database cannot do what is asked of it, or cannot be had."""


def install(app: Flask) -> None:
    """Let an app answer what the database cannot do with 503, and remember a full disk."""
    for fault in FAULTS:
        app.register_error_handler(fault, lambda error: problem_of(error).respond())


def problem_of(error: Exception) -> Problem:
    """What is answered to a fault of the database; it is logged, and a full disk remembered."""
    fault = log_and_say(error)
    if is_full(error):
        with observing.counting():
            observing.metrics().disk_full.happens()
    headers = {"Retry-After": str(fault.retry_s)}
    return Problem("unavailable", f"{fault.what} {fault.request}", headers=headers)


def log_and_say(error: Exception) -> Said:
    """What a client is told of a fault of the database.

    What the driver says may name hosts and users, so it goes to the log alone.
    """
    _log.error("the database failed a request", exc_info=error, extra={"trace": g.get("trace")})
    cause = _cause(error)
    return next((fault for type_, fault in _FAULTS_OF if isinstance(cause, type_)), _CANNOT)


def is_full(error: Exception) -> bool:
    """Whether a fault is that the database has no room to write."""
    return isinstance(_cause(error), errors.DiskFull)


def _cause(error: Exception) -> BaseException:
    return error.orig if isinstance(error, exc.DBAPIError) and error.orig else error
